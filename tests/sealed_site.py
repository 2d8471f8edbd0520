"""A site on disk as a relay leaves it: journal with its sums, secrets, recordings of two audiences, expedition file."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, reduce
from pathlib import Path
from shutil import copytree

from dives import SECOND, SECRETS, SIGNER, decided, dive_rows, in_order
from expeditions import RIGHT
from relay.core.decision import Target
from relay.core.model import Row
from relay.core.pipeline import Due, Pipeline
from relay.shell.plan.expedition import Expedition, parse_expedition
from relay.shell.record.journal import LAST, JournalFile, Minute
from relay.shell.record.secrets_file import MARK, fingerprint, write_secrets
from relay.shell.released.outlet import Outlet
from sealed_dives import BOILER

_TEXT = (
    ('delay = "45 min"\nextra = "10 min"\ntick = "15 s"', 'delay = "20 s"\nextra = "4 s"\ntick = "4 s"'),
    ('name = "family"\ndelay = "20 min"', 'name = "family"\ndelay = "30 s"\nextra = "0 s"\ntick = "4 s"'),
    ('quiet_ends_after = "10 min"', 'quiet_ends_after = "1 min"'),
)
TEXT = reduce(lambda text, change: text.replace(*change), _TEXT, RIGHT)
SECONDS = 200
END_US = (SECONDS + 300) * SECOND


@dataclass(frozen=True, slots=True)
class Site:
    """Where a site lies, and the rows of its journal."""

    folder: Path
    rows: tuple[Row, ...]

    @property
    def expedition(self) -> Path:
        """Its expedition file."""
        return self.folder / "EXPEDITION.toml"

    @property
    def journal(self) -> Path:
        """Its journal."""
        return self.folder / "private" / "journal.db"

    def recording(self, audience: str = "public", dive: int = 1) -> Path:
        """Return a recording of an audience."""
        return self.folder / "released" / audience / f"dive-{dive:03d}.recording"

    def read(self) -> Expedition:
        """Return the expedition."""
        return parse_expedition(self.expedition.read_text(), self.expedition)


@cache
def site_rows() -> tuple[Row, ...]:
    """Return the rows of a dive of some three minutes, with a target twice told of."""
    target = Target(name="Boiler", verdict="unchecked", vehicle="Lantern", sighting=BOILER)
    again = Target(name="Boiler", verdict="of interest")
    told = [decided(70 * SECOND, target), decided(130 * SECOND, again)]
    return tuple(in_order(dive_rows(SECONDS, start_s=31), told))


class Relay:
    """A relay's pipeline over the rows of a site, some at a time; it leaves on the disk what a relay leaves."""

    def __init__(self, folder: Path, rows: tuple[Row, ...] | None = None) -> None:
        expedition = parse_expedition(TEXT, folder / "EXPEDITION.toml")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "EXPEDITION.toml").write_text(TEXT)
        expedition.private.mkdir(mode=0o700)
        write_secrets(expedition.private, SECRETS)
        self.site = Site(folder, site_rows() if rows is None else rows)
        self._pipeline = Pipeline(expedition.plan, SECRETS)
        self._outlet = Outlet(expedition.released, SIGNER, lambda frame: None)
        self._file = JournalFile(expedition.private)
        self._file.commit([], {MARK: fingerprint(SECRETS)})
        self._taken = 0

    def take(self, count: int) -> None:
        """Take the next rows; what became of them is released, and minutes that are whole are noted."""
        rows = list(self.site.rows[self._taken : self._taken + count])
        self._taken += len(rows)
        self._file.commit(rows, {})
        self._release([due for row in rows for due in self._pipeline.receive(row)])

    def end(self) -> None:
        """Take the other rows, let all the time pass that anything waits for, and end."""
        while self._taken < len(self.site.rows):
            self.take(50)
        self._release(self._pipeline.advance(END_US))
        self._file.commit([], {LAST: str(END_US)})
        self._file.close()

    def _release(self, due: Iterable[Due]) -> None:
        for item in due:
            self._outlet.release(item)
        self._file.keep_minutes(Minute(*closed) for closed in self._pipeline.record.take_closed())


def make_site(folder: Path, rows: tuple[Row, ...] | None = None) -> Site:
    """Run a relay's pipeline over rows (None: those of `site_rows`), and leave what it leaves."""
    relay = Relay(folder, rows)
    relay.end()
    return relay.site


def copied(site: Site, folder: Path) -> Site:
    """Return a copy of a site, to be damaged."""
    copytree(site.folder, folder)
    return Site(folder, site.rows)
