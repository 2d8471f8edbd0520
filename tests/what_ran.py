"""Which parts a run had, in its own words, and whether what it left has them: nothing passes for being absent (R5).

A run says it once, in `ran.json` beside what it leaves (`left_behind.py`). What it names must be there and hold
something, what is there must be named. It can't name too little: the expedition file tells the feeds and whether there
is a shore, and the journal whether a feed had a socket.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from relay.core.model import RowKind

if TYPE_CHECKING:
    from left_behind import Left

RAN = "ran.json"
SHIP, SHORE, DESK = "ship", "shore", "desk"


@dataclass(frozen=True, slots=True)
class Ran:
    """What a run had.

    `clients` and `sources`: the names of the files in `receipts` and `sent`; `elsewhere`: feeds whose bytes a check of
    the run's own lays beside what was sent. `processes`: whose words are in `said`, "ship" and "shore"; none where the
    ship was held in hand, rows put into her journal without a socket. `stopped_us`: where the ship was ended before all
    that is in her journal was released, a moment (her boot time) up to which everything due must have been; else all.
    """

    clients: tuple[str, ...]
    sources: tuple[str, ...]
    processes: tuple[str, ...] = (SHIP,)
    elsewhere: tuple[str, ...] = ()
    stopped_us: int | None = None

    @classmethod
    def read(cls, folder: Path) -> "Ran":
        """Read what a run said; ValueError where it said nothing, or nothing that can be read."""
        path = folder / RAN
        if not path.exists():
            raise ValueError(f"the run doesn't say which parts it had: there is no {RAN}")
        said = json.loads(path.read_text())
        try:
            return cls(**{name: tuple(value) if isinstance(value, list) else value for name, value in said.items()})
        except (TypeError, AttributeError) as error:
            raise ValueError(f"{RAN} isn't what a run says: {error}") from error

    def write(self, folder: Path) -> None:
        """Say it."""
        (folder / RAN).write_text(json.dumps(asdict(self)))

    @property
    def by_hand(self) -> bool:
        """Whether the ship had no process of her own, and so no socket for a station."""
        return SHIP not in self.processes


def wrong_in_parts(left: "Left") -> Iterator[str]:
    """Yield what isn't there of what a run had, and what is there though it says that it had none."""
    if not left.rows:
        yield "the journal is empty"
    if not any(left.frames.values()):
        yield "the journal gives no record"
    if not left.expedition.released.is_dir():
        yield f"there is no folder {left.expedition.released.name}"
    yield from _named("receipts of a client", left.ran.clients, left.receipts)
    yield from _named("what was accepted of a source", left.ran.sources, left.sent)
    yield from _wrong_in_feeds(left)
    yield from _wrong_in_processes(left)


def _named(what: str, said: Iterable[str], there: dict[str, list[tuple[int, bytes]]]) -> Iterator[str]:
    """Yield how the files of a kind differ from those that a run names."""
    names = set(said)
    if not names:
        yield f"{what}: the run had none, so there is nothing to look at"
    yield from (f"{what} are missing: {name}" for name in sorted(names - there.keys()))
    yield from (f"{what} are there, and the run doesn't name it: {name}" for name in sorted(there.keys() - names))
    yield from (f"{what} are empty: {name}" for name in sorted(names & there.keys()) if not there[name])


def _wrong_in_feeds(left: "Left") -> Iterator[str]:
    feeds = {feed.name for feed in left.expedition.feeds}
    looked_at = {*left.ran.sources, *left.ran.elsewhere}
    yield from (f"nobody says what the feed {name} had accepted" for name in sorted(feeds - looked_at))
    yield from (f"there is no feed {name}" for name in sorted(looked_at - feeds - {DESK}))
    if left.ran.by_hand and any(row.kind is RowKind.WHOLE for row in left.rows):
        yield "the ship is said to have been held in hand, and a feed of hers had a socket"


def _wrong_in_processes(left: "Left") -> Iterator[str]:
    processes = left.ran.processes
    if (SHORE in processes) != (left.expedition.uplink is not None):
        yield "the run has a shore and its ship none to dial, or the other way round"
    if (SHORE in processes) != (left.folder / SHORE).is_dir():
        yield f"there is {'no' if SHORE in processes else 'a'} folder {SHORE}"
    said = {path.name for path in (left.folder / "said").glob("*") if path.is_file() and path.stat().st_size}
    yield from (f"nothing is left of what the {name} said" for name in processes if not _said_by(name, said))
    if left.ran.by_hand and _said_by(SHIP, said):
        yield "the ship is said to have been held in hand, and there is what a process of hers said"


def _said_by(process: str, names: set[str]) -> bool:
    return any(name.partition(".")[0] == process for name in names)
