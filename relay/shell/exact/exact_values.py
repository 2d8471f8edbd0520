"""The exact record as values: dives, legs, reports, annotations, targets, decisions, feeds and logs.

Rules: exact and private, for the ship and whom she gives it to; nothing here is input to anything released. A moment is
on the embargo clock (microseconds) and, beside it, the ship's wall clock (Unix seconds, UTC). Places are WGS84 degrees,
depths metres positive down.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from operator import attrgetter, is_not
from typing import Any, NamedTuple

import msgspec

from relay.core.model import OBSERVATION_FIELDS, Mode, Observation
from relay.core.own_time import Origin, Report
from relay.core.policy import Leg
from relay.core.target_position import Target as Placed


class Moment(NamedTuple):
    """A moment on the embargo clock, and what the ship's wall clock told then."""

    embargo_us: int
    wall_s: float


@dataclass(frozen=True, slots=True)
class Where:
    """An exact position."""

    latitude_deg: float
    longitude_deg: float
    depth_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dive:
    """A dive as the desk counts it: judged once a second from what was received, without delay.

    `first_us`: the moment of the first receipt that belongs to it, a second before it was judged to begin; `ended`
    None: under way at the journal's end. `vehicles`: those heard meanwhile, in the plan's order.
    """

    number: int
    first_us: int
    begun: Moment
    ended: Moment | None = None
    vehicles: tuple[str, ...] = ()
    begun_by: str = ""
    ended_by: str = ""

    def holds(self, embargo_us: int) -> bool:
        """Return whether what was received then belongs to this dive."""
        return self.first_us <= embargo_us and (self.ended is None or embargo_us <= self.ended.embargo_us)


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A leg of a vehicle in a dive; `ended` None: until the journal's end. `by_hand`: the operator set it."""

    dive: int
    vehicle: str
    leg: Leg
    begun: Moment
    ended: Moment | None = None
    by_hand: bool = False


class Receipt(NamedTuple):
    """How a live report came: the journal's row, its moment, its feed, and of two stations that tell the same which."""

    row: int
    moment: Moment
    feed: str
    station: str


class ExactReport(NamedTuple):
    """A report of a vehicle, all of it, with where it came from.

    `receipt` for a live one, `log` (its number) for one of a recovered log: one of the two. `values` and `kept_values`
    are those of `OBSERVED`: all that it told, and what of it stands in the exact record (`core.exact_record`), None
    where another tells the same. `counts`: it was the station's that counted (`core.stations`). `dive`: the number,
    None between dives. `own`: the vehicle's own clock told `t_s`.
    """

    number: int
    dive: int | None
    vehicle: str
    t_s: float
    own: bool
    values: tuple[Any, ...]
    kept_values: tuple[Any, ...] | None
    counts: bool
    receipt: Receipt | None
    log: int | None
    frame: bytes | None

    @property
    def latitude_deg(self) -> float | None:
        """The latitude that it told."""
        return self.values[_LATITUDE]  # type: ignore[no-any-return]

    @property
    def longitude_deg(self) -> float | None:
        """The longitude that it told."""
        return self.values[_LONGITUDE]  # type: ignore[no-any-return]

    @property
    def depth_m(self) -> float | None:
        """The depth that it told."""
        return self.values[_DEPTH]  # type: ignore[no-any-return]

    @property
    def placed(self) -> bool:
        """Whether its position stands in the exact record and counts."""
        return self.counts and self.kept_values is not None and self.kept_values[_LATITUDE] is not None

    @property
    def told(self) -> Observation:
        """All that the report told."""
        return observation_of(self.vehicle, self.values)

    @property
    def report(self) -> Report:
        """The report as it came."""
        origin = Origin.LIVE if self.log is None else Origin.LOG
        return Report(self.t_s, self.own, origin, self.told, self.frame)

    @property
    def kept(self) -> Report | None:
        """What of the report stands in the exact record."""
        if self.kept_values is None:
            return None
        whole = self.report
        if self.kept_values is self.values:
            return whole
        return whole._replace(observation=observation_of(self.vehicle, self.kept_values))


OBSERVED = OBSERVATION_FIELDS[1:]  # all but the vehicle, which stands beside them
_LATITUDE, _LONGITUDE, _DEPTH = (OBSERVED.index(name) for name in ("latitude_deg", "longitude_deg", "depth_m"))
_MODES = {mode.value: mode for mode in Mode}
observed_values: Callable[[Observation], tuple[Any, ...]] = attrgetter(*OBSERVED)


_NONE = (None,) * len(OBSERVED)
_pack = msgspec.msgpack.Encoder().encode
_unpack = msgspec.msgpack.Decoder(tuple[Any, ...]).decode


def observation_of(vehicle: str | None, values: tuple[Any, ...]) -> Observation:
    """Return an observation from the values of `OBSERVED`."""
    known = dict(zip(OBSERVED, values, strict=True))
    if known["mode"] is not None:
        known["mode"] = _MODES[known["mode"]]
    return Observation(vehicle=vehicle, **known)


def packed(values: tuple[Any, ...]) -> bytes:
    """Return the values of `OBSERVED` as they are put aside."""
    return _pack(values)


def unpacked(values: bytes) -> tuple[Any, ...]:
    """Return the values of `OBSERVED` that were put aside."""
    told: tuple[Any, ...] = _unpack(values)
    return told


def fields_told(values: tuple[Any, ...]) -> bytes:
    """Return which values of `OBSERVED` there are: an octet of 1 or 0 for each."""
    return bytes(map(is_not, values, _NONE))


def own_time_s(observation: Observation) -> float | None:
    """Return the time that an observation itself tells, by whichever clock; None: none."""
    return observation.time_of_day_s if observation.clock_s is None else observation.clock_s


class Heard(NamedTuple):
    """A live report as it is put aside, made of an observation once: few look at it again.

    `vehicle`: the name it told or its feed has; `frame`: as of `Report`; `values`, `fields`, `own_s`: what `packed`,
    `fields_told` and `own_time_s` gave; `noted`: whether it told a note.
    """

    t_s: float
    own: bool
    vehicle: str | None
    frame: bytes | None
    values: bytes
    fields: bytes
    own_s: float | None
    noted: bool

    @property
    def observation(self) -> Observation:
        """What the report told."""
        return observation_of(self.vehicle, unpacked(self.values))


def heard(report: Report) -> Heard:
    """Return a live report as it is put aside."""
    told = report.observation
    values, noted, own_s = observed_values(told), told.note is not None, own_time_s(told)
    return Heard(report.t_s, report.own, told.vehicle, report.frame, packed(values), fields_told(values), own_s, noted)


@dataclass(frozen=True, slots=True, kw_only=True)
class Annotation:
    """What somebody said at the desk, or a station's note; `where`: the vehicle then, None if that isn't known.

    `state`: told, or of one that waits for approval: waits, approved, dismissed. `still`: the digest of the picture.
    """

    row: int
    moment: Moment
    text: str
    vehicle: str | None
    who: str
    feed: str | None
    audiences: tuple[str, ...] = ()
    state: str = "told"
    still: str | None = None
    where: Where | None = None
    dive: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetSeen:
    """A decision on a target, with where it lies by the newest sighting up to then, and that sighting's row.

    `current`: no later decision names it.
    """

    row: int
    moment: Moment
    who: str
    name: str
    verdict: str
    vehicle: str | None
    placed: Placed | None
    placed_row: int | None
    current: bool = False
    dive: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """A decision as it was journalled; `what`: its word, empty for a row that is none; `text`: the row, JSON.

    `vehicle`: the one that it is about, None where it is about none.
    """

    row: int
    moment: Moment
    who: str
    what: str
    text: str
    vehicle: str | None = None
    dive: int | None = None


@dataclass(slots=True)
class FeedTold:
    """What came by a feed: `station` is the feed itself or, with the one that it stands by for, said so.

    Counts: rows of the journal, their bytes, reports of vehicles of this expedition (by the ship's own feed: of the
    ship), and what became of the rest.
    """

    name: str
    format: str
    vehicle: str | None
    station: str
    of_ship: bool
    rows: int = 0
    octets: int = 0
    reports: int = 0
    others: int = 0
    passed_over: int = 0
    rejected: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LogKept:
    """A vehicle's own log as it was imported, with its digest; times are the vehicle's own, Unix seconds."""

    number: int
    vehicle: str
    name: str
    sha256: str
    octets: int
    who: str
    imported_s: float
    first_s: float
    last_s: float
    format: str
    reports: int = field(default=0)
