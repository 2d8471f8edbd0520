"""What a run under hostile conditions leaves in a folder, for `invariants.py` to look at.

`site/`: the expedition file, with `private/` and `released/` as the relay left them (where that file has them).
`sent/SOURCE.msgpack`: what a station sent as this feed (`desk`: what the operator was told is taken) and the relay had
accepted, in its order; bytes of the feed, of the desk some that stand in the decision's row and in no other.
`receipts/KIND-NAME.msgpack`: what each client got, in its order: whole frames of the live socket. KIND is `follower`
(at the ship's own port) or `shore`; a client that left before the end is called `KIND-left-NAME`.
Both are objects `[boottime_us, bytes]`, one behind the other: CLOCK_BOOTTIME as the ship has it, before it was sent,
or when it came. `written_to_stations`: all that came back at any station; none where no feed had a socket.
`ran.json`: which of these parts the run had (`what_ran.py`). What it names and isn't there is missing.

Where there is such a thing: `shore/`, the folder of the shore's file, and with it `dialled_from_shore`, addresses to
which the shore made a connection, a line each; `said/`, what processes said (`ship` and `shore`, whatever follows a
dot), and answers over HTTP; `offsets.msgpack`, objects `[since_boottime_us, offset_us]`, embargo time less boot time,
for a ship whose boot changed meanwhile (else the journal's last says it for all of the run).
"""

import time
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from io import BytesIO
from pathlib import Path

import msgpack

from dives import run
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Plan, Policy
from relay.core.secrets import Secrets
from relay.core.wire import encode
from relay.shell.plan.expedition import Expedition, expedition_file, read_expedition
from relay.shell.record.journal import read_marks, read_rows
from relay.shell.record.secrets_file import read_secrets
from remembering_signer import RememberingSigner
from what_ran import SHORE, Ran

SENT, RECEIPTS, WRITTEN, DIALLED, SAID = "sent", "receipts", "written_to_stations", "dialled_from_shore", "said"
LEFT = "-left-"

Noted = tuple[int, bytes]
Told = tuple[int, int, str, int, int, bytes]  # instant, place in the order, audience, dive, number, frame


def boot_us() -> int:
    """Return CLOCK_BOOTTIME in microseconds."""
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000


def note(path: Path, noted: Iterable[Noted]) -> None:
    """Add objects to a file of `sent` or `receipts`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("ab") as file:
        file.writelines(msgpack.packb([at_us, data]) for at_us, data in noted)


def noted(path: Path) -> list[Noted]:
    """Return what was noted in a file; ValueError where it isn't whole."""
    data = path.read_bytes()
    unpacker = msgpack.Unpacker(BytesIO(data), max_buffer_size=len(data) + 1)
    out = [(at_us, what) for at_us, what in unpacker]
    if unpacker.tell() != len(data):
        raise ValueError(f"{path} isn't whole: its last object is cut off")
    return out


def _all_noted(folder: Path) -> dict[str, list[Noted]]:
    return {path.stem: noted(path) for path in sorted(folder.glob("*.msgpack"))}


def told_by(plan: Plan, secrets: Secrets, rows: Iterable[Row]) -> list[Told]:
    """Return all that these journal rows release, signed, in the order in which it leaves."""
    signer = RememberingSigner(secrets.signing_seed)
    out = []
    for at, due in enumerate(run(Pipeline(plan, secrets), rows)):
        record = due.record
        frame = signer.seal(record.audience, encode(record))
        out.append((due.instant_us, at, record.audience, record.dive, record.seq, frame))
    return out


@dataclass(frozen=True)
class Left:
    """What a run left, read once."""

    folder: Path
    expedition: Expedition
    secrets: Secrets
    marks: dict[str, str]
    rows: list[Row]
    sent: dict[str, list[Noted]]
    receipts: dict[str, list[Noted]]
    ran: Ran

    @classmethod
    def read(cls, folder: Path) -> "Left":
        """Read a folder; whatever can't be read is raised."""
        expedition = read_expedition(expedition_file(folder / "site"))
        journal = expedition.private / "journal.db"
        rows, marks = list(read_rows(journal)), read_marks(journal)
        secrets = read_secrets(expedition.private / "secrets.json")
        sent, receipts = _all_noted(folder / SENT), _all_noted(folder / RECEIPTS)
        return cls(folder, expedition, secrets, marks, rows, sent, receipts, Ran.read(folder))

    @property
    def plan(self) -> Plan:
        return self.expedition.plan

    @cached_property
    def policies(self) -> dict[str, Policy]:
        return {policy.audience: policy for policy in self.plan.policies}

    @cached_property
    def again(self) -> list[Told]:
        """What the journal releases when it is run again."""
        return told_by(self.plan, self.secrets, self.rows)

    @cached_property
    def frames(self) -> dict[str, list[tuple[int, bytes]]]:
        """By audience the records of all its dives in their order, as (instant, frame)."""
        out: dict[str, list[tuple[int, bytes]]] = {audience: [] for audience in self.policies}
        for instant_us, _, audience, dive, _, frame in self.again:
            if dive > 0:
                out[audience].append((instant_us, frame))
        return out

    @cached_property
    def dives(self) -> dict[str, dict[int, list[tuple[int, bytes]]]]:
        """By audience and dive its records in their order, as (instant, frame)."""
        out: dict[str, dict[int, list[tuple[int, bytes]]]] = {audience: {} for audience in self.policies}
        for instant_us, _, audience, dive, _, frame in self.again:
            if dive > 0:
                out[audience].setdefault(dive, []).append((instant_us, frame))
        return out

    def due(self, told: list[tuple[int, bytes]]) -> int:
        """Return how many of these the ship must have released: all, or those that were due when she was stopped."""
        if self.ran.stopped_us is None:
            return len(told)
        upto_us = self.embargo_us(self.ran.stopped_us)
        return sum(instant_us <= upto_us for instant_us, _ in told)

    @property
    def audiences_ashore(self) -> tuple[str, ...]:
        """Who is told ashore."""
        return () if self.expedition.uplink is None else self.expedition.uplink.audiences

    @cached_property
    def programmes(self) -> dict[bytes, int]:
        """Programmes and when they leave."""
        return {frame: instant_us for instant_us, _, _, dive, _, frame in self.again if dive == 0}

    @cached_property
    def _offsets(self) -> list[tuple[int, int]]:
        path = self.folder / "offsets.msgpack"
        return noted(path) if path.exists() else [(0, int(self.marks["clock offset_us"]))]  # type: ignore[return-value]

    def embargo_us(self, boottime_us: int) -> int:
        """Return a moment of the ship's boot time on the embargo clock."""
        return boottime_us + [offset_us for since_us, offset_us in self._offsets if since_us <= boottime_us][-1]

    @cached_property
    def recordings(self) -> dict[str, list[Path]]:
        """By audience the recordings on the ship, in their order."""
        released = self.expedition.released
        return {name: sorted((released / name).glob("dive-*.recording")) for name in self.policies}

    @cached_property
    def recordings_ashore(self) -> dict[str, list[Path]]:
        """By audience the recordings of the shore, in their order."""
        found = sorted((self.folder / SHORE).rglob("dive-*.recording"))
        return {name: [path for path in found if path.parent.name == name] for name in {p.parent.name for p in found}}
