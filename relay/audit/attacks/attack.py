"""What an attack is: what an outsider has in his hands, and what he makes of it.

Rules: an attack sees what an outsider sees, never the truth; where it has nothing to work on, it says why; what it says
of the place is a log likelihood over the cells of the case's chart, so that attacks can be taken together. A guess is
never told as if it had been read.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from relay.audit.charts.chart import Chart, Floats, Mask
from relay.core.wire import WireRecord

Progress = Callable[[str, float], None]


def quiet(doing: str, share: float) -> None:
    """Tell nobody how far an attack is (0 to 1)."""


@dataclass(frozen=True)
class Dive:
    """A recording as an outsider has it.

    `name` says which it is to the operator (the file's). `sent_s`: when each record arrived, seconds on any clock,
    where known (by record, as many); `live`: it was taken from the live page, not from the closed recording.
    """

    name: str
    header: Mapping[str, Any]
    records: tuple[WireRecord, ...]
    sent_s: tuple[float, ...] | None = None
    live: bool = False

    @property
    def audience(self) -> str:
        """The audience it was released to."""
        return str(self.header["audience"])


@dataclass(frozen=True)
class ShipTrack:
    """Where the ship was, from AIS: seconds of Unix time, degrees; all (fixes,), by time."""

    t_s: Floats
    latitude_deg: Floats
    longitude_deg: Floats


@dataclass(frozen=True)
class Wreck:
    """A known or suspected wreck of a public list; depth and length in metres where the list has them."""

    name: str
    latitude_deg: float
    longitude_deg: float
    depth_m: float | None = None
    length_m: float | None = None


@dataclass(frozen=True)
class Case:
    """All that an outsider has: recordings of one site, the chart, where it is admitted to be, and what else is public.

    `prior` (rows, columns of the chart): the declared area, or None for all of the chart. `tide_m`: the least and the
    most water level over chart datum that a dive may have had. `declination_deg` and `temperature_c`: grids (rows,
    columns) of what a published field would be there, by name, for the attack on the environment.
    """

    chart: Chart
    dives: tuple[Dive, ...]
    prior: Mask | None = None
    ship: ShipTrack | None = None
    wrecks: tuple[Wreck, ...] = ()
    tide_m: tuple[float, float] = (-2.5, 2.5)
    grids: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True)
class Finding:
    """What an attack made of a case.

    `words`: a plain sentence or two for the operator, what was found or why there was nothing to work on (`worked`).
    `log_likelihood`: over the chart's cells, or None where it says nothing of the place. `place`: the best guess where
    there is one, latitude and longitude in degrees; `outright`: it is no guess, it was told to within a cell of the
    chart. `leaks`: what should never have been there at all. `facts`: numbers for the report, with the unit in the
    name.
    """

    attack: str
    words: str
    worked: bool = True
    log_likelihood: Floats | None = None
    place: tuple[float, float] | None = None
    outright: bool = False
    leaks: tuple[str, ...] = ()
    facts: Mapping[str, float] = field(default_factory=dict)


class Attack(Protocol):
    """One way of finding the place; each lives in a file of its own."""

    @property
    def name(self) -> str:
        """What it is called, in plain words."""
        ...

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return what can be found; an attack never raises over what it is given, it says what was wrong."""
        ...
