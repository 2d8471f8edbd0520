"""Two stations that send the same vehicle: whose reports count.

Rules: the primary's while it is healthy, else the standby's, from the report that follows the last one that counted,
so no second is doubled or missing (how much later one station tells the same is learned from reports of equal values);
a note counts once, whichever station it came from; only what has been received by now is known. Two positions too far
apart are in doubt, whoever is right, until they have agreed for `AGREED_US`.

    counting   then      when a report comes and
    primary    standby   the primary is silent or frozen
    standby    primary   the primary has been healthy for `BACK_US`
    standby    primary   the standby is silent or frozen, and the primary isn't

Common practice, no source, for every limit here.
"""

from collections import deque
from collections.abc import Callable, Iterable
from operator import attrgetter
from typing import Any, NamedTuple

from relay.core.fuse import Stamped
from relay.core.geodesy import distance_m
from relay.core.model import OBSERVATION_FIELDS, Observation
from relay.core.policy import Plan

_MS = 1_000
SILENT_LEAST_US, SILENT_MOST_US, SILENT_FIRST_US = 500 * _MS, 5_000 * _MS, 1_000 * _MS
MISSING = 3
FROZEN_US, REPEATS = 750 * _MS, 5
BACK_US, AGREED_US = 10_000 * _MS, 5_000 * _MS
SAME_NOTE_US = 30_000 * _MS
WAITING_LIMIT = 4_096
_GAPS, _BURSTS = 16, 3
_REMEMBERED = 128
PRIMARY, STANDBY = 0, 1


class Pulse:
    """How one station has been reporting one vehicle.

    What beats is a report with a position, once there was one; else any report. Silent is three missing beats, as far
    apart as they lately were: the third longest of the last sixteen gaps, so that bursts of sentences and two hiccups
    mislead nobody.
    """

    def __init__(self) -> None:
        self.last_us: int | None = None
        self.since_us = 0
        self.position: tuple[float, float] | None = None
        self.first_us: dict[tuple[Any, ...], int] = {}
        self._told: tuple[Any, ...] | None = None
        self._repeats = 0
        self._changed_us: deque[int] = deque([0], maxlen=3)
        self._gaps: deque[int] = deque(maxlen=_GAPS)

    def hear(self, said: Observation, at_us: int) -> None:
        """Take the next report."""
        placed = said.latitude_deg is not None and said.longitude_deg is not None
        if self.position is not None and not placed:
            return
        if placed:
            self.position = (said.latitude_deg or 0.0, said.longitude_deg or 0.0)
        if self.last_us is not None and not self.silent(at_us):
            self._gaps.append(at_us - self.last_us)
        else:
            self.since_us = at_us
        self.last_us = at_us
        self._compare(_values(said), at_us)

    def _compare(self, told: tuple[Any, ...], at_us: int) -> None:
        if told == self._told:
            self._repeats += 1
            return
        if self._repeats >= REPEATS:
            self.since_us = at_us
        self._told, self._repeats = told, 0
        self.first_us[told] = at_us
        if len(self.first_us) > _REMEMBERED:
            del self.first_us[next(iter(self.first_us))]
        self._changed_us.append(at_us)

    def silent(self, at_us: int) -> bool:
        """Return whether too long has passed since the last beat."""
        return self.last_us is None or at_us - self.last_us > self._limit_us()

    def lag_us(self, other: "Pulse") -> int | None:
        """Return how much later than the other's the last report came, if it has just told the same anew."""
        theirs_us = other.first_us.get(self._told) if self._told is not None and not self._repeats else None
        return None if theirs_us is None or self.last_us is None else self.last_us - theirs_us

    def _limit_us(self) -> int:
        if len(self._gaps) < _BURSTS:
            return SILENT_FIRST_US
        return min(max(MISSING * self.usual_us, SILENT_LEAST_US), SILENT_MOST_US)

    @property
    def usual_us(self) -> int:
        """How far apart beats lately were; 0 while that isn't known."""
        return sorted(self._gaps)[-_BURSTS] if len(self._gaps) >= _BURSTS else 0

    def frozen(self, at_us: int, other: "Pulse") -> bool:
        """Return whether it repeats itself while the other station's reports have changed three times."""
        changed_us = self._changed_us[-1]
        stands = self._repeats >= REPEATS and at_us - changed_us >= FROZEN_US
        return stands and len(other._changed_us) == 3 and other._changed_us[0] > changed_us

    def healthy(self, at_us: int, other: "Pulse") -> bool:
        """Return whether its reports can count."""
        return not self.silent(at_us) and not self.frozen(at_us, other)


_DIFFERING = ("clock_s", "time_of_day_s", "note")
_values: Callable[[Observation], tuple[Any, ...]] = attrgetter(
    *(name for name in OBSERVATION_FIELDS if name not in _DIFFERING)
)


class Notes:
    """Which notes have counted: the same words from the other station, soon after, are the mirror's copy."""

    def __init__(self) -> None:
        self._counted: deque[tuple[str, int, int]] = deque(maxlen=64)

    def is_copy(self, text: str, role: int, at_us: int) -> bool:
        """Return whether the other station has told this note; if not, it counts from now on."""
        for counted in self._counted:
            if counted[:2] == (text, 1 - role) and at_us - counted[2] <= SAME_NOTE_US:
                self._counted.remove(counted)
                return True
        self._counted.append((text, role, at_us))
        return False


class Mirror:
    """A primary and its standby, for one vehicle."""

    def __init__(self, contradict_m: float) -> None:
        self.counting = PRIMARY
        self.pulses = (Pulse(), Pulse())
        self.apart_m: float | None = None
        self._contradict_m = contradict_m
        self._doubted_us: int | None = None
        self._lag_us = 0
        self._counted_us: int | None = None
        self._from_us = 0
        self._waiting: deque[Stamped] = deque(maxlen=WAITING_LIMIT)
        self._notes = Notes()

    def take(self, stamped: Stamped, role: int) -> list[Stamped]:
        """Take the next report of a station; return what counts now, in its order."""
        at_us = stamped.embargo_us
        self.pulses[role].hear(_said(stamped), at_us)
        lag_us = self.pulses[role].lag_us(self.pulses[1 - role])
        if lag_us is not None and abs(lag_us) <= SILENT_FIRST_US:
            self._lag_us = lag_us if role == STANDBY else -lag_us
        self._judge(role, at_us)
        if role != self.counting:
            self._waiting.append(stamped)
            return self._switched(role) if self._gives_way(at_us) else []
        other = 1 - role
        if self.pulses[role].frozen(at_us, self.pulses[other]) and self.pulses[other].healthy(at_us, self.pulses[role]):
            return self._switched(other)
        if at_us < self._from_us:
            return self._notes_of([stamped], role)
        self._counted_us = at_us
        return [*self._copies_told(other), self._once(stamped, role)]

    def settle(self) -> list[Stamped]:
        """Return what counts at the end of a tick: the standby's, if nothing ever came from the primary."""
        unheard = self.counting == PRIMARY and self.pulses[PRIMARY].last_us is None
        return self._switched(STANDBY) if unheard and self._waiting else []

    def in_doubt(self, at_us: int) -> bool:
        """Return whether the stations contradict each other, or did a moment ago."""
        return self._doubted_us is not None and at_us - self._doubted_us < AGREED_US

    def _gives_way(self, at_us: int) -> bool:
        """Return whether the station that counts gives way to the other, of which a report has come."""
        counting, other = self.pulses[self.counting], self.pulses[1 - self.counting]
        if not other.healthy(at_us, counting):
            return False
        if self.counting == STANDBY and at_us - other.since_us >= BACK_US:
            return True
        return not counting.healthy(at_us, other) and (self.counting == STANDBY or counting.last_us is not None)

    def _switched(self, role: int) -> list[Stamped]:
        """Let the other station count, from the report that follows the last one that counted."""
        self._from_us = self._next_us(role)
        told = self._copies_told(role)
        fresh, self._waiting = self._waiting, deque(maxlen=WAITING_LIMIT)
        self.counting = role
        self._counted_us = fresh[-1].embargo_us if fresh else self._from_us
        return [*told, *(self._once(stamped, role) for stamped in fresh)]

    def _next_us(self, role: int) -> int:
        """Return when, from the station that doesn't count, what follows the last report that counted may come."""
        if self._counted_us is None:
            return 0
        lag_us = self._lag_us if role == STANDBY else -self._lag_us
        return self._counted_us + self.pulses[1 - role].usual_us // 2 + lag_us

    def _once(self, stamped: Stamped, role: int) -> Stamped:
        said = _said(stamped)
        if said.note is None or not self._notes.is_copy(said.note, role, stamped.embargo_us):
            return stamped
        return stamped._replace(said=said.but(note=None))

    def _copies_told(self, role: int) -> list[Stamped]:
        """Forget the waiting reports that tell again what has counted, and return their notes, where they are new."""
        next_us, copies = self._next_us(role), []
        while self._waiting and self._waiting[0].embargo_us < next_us:
            copies.append(self._waiting.popleft())
        return self._notes_of(copies, role)

    def _notes_of(self, waiting: Iterable[Stamped], role: int) -> list[Stamped]:
        noted = [(stamped, _said(stamped)) for stamped in waiting if _said(stamped).note is not None]
        alone = [stamped._replace(said=Observation(vehicle=said.vehicle, note=said.note)) for stamped, said in noted]
        return [told for stamped in alone if _said(told := self._once(stamped, role)).note is not None]

    def _judge(self, role: int, at_us: int) -> None:
        """Compare the positions of the two, while both are being reported."""
        mine, other = self.pulses[role], self.pulses[1 - role]
        if mine.last_us != at_us or mine.position is None or other.position is None:
            return
        if other.silent(at_us) or mine.frozen(at_us, other) or other.frozen(at_us, mine):
            return
        self.apart_m = distance_m(mine.position, other.position)
        if self.apart_m > self._contradict_m:
            self._doubted_us = at_us


def _said(stamped: Stamped) -> Observation:
    assert isinstance(stamped.said, Observation)
    return stamped.said


class Doubt(NamedTuple):
    """A vehicle whose stations contradict each other, by how many metres."""

    vehicle: int
    apart_m: float


class Stations:
    """What counts of all feeds of an expedition: mirrored ones are sifted, the others pass."""

    def __init__(self, plan: Plan) -> None:
        names = [source.name for source in plan.sources]
        self._contradict_m = plan.contradict_m
        self._roles: dict[int, tuple[int, int]] = {}
        for at, source in enumerate(plan.sources):
            if source.standby_for is not None:
                primary = names.index(source.standby_for)
                self._roles[primary], self._roles[at] = (primary, PRIMARY), (primary, STANDBY)
        self.mirrors: dict[tuple[int, int], Mirror] = {}

    def role_of(self, source: int) -> tuple[int, int] | None:
        """Return of a mirrored feed which is the primary, and whether this one is PRIMARY or STANDBY; else None."""
        return self._roles.get(source)

    def sift(self, arrived: Iterable[Stamped]) -> list[Stamped]:
        """Return what counts of what arrived, in its order; decisions and feeds without a mirror always do."""
        if not self._roles:
            return list(arrived)
        return [counts for stamped in arrived for counts in self._sifted(stamped)]

    def _sifted(self, stamped: Stamped) -> list[Stamped]:
        role = None if stamped.source is None else self._roles.get(stamped.source)
        if role is None or stamped.vehicle is None or not isinstance(stamped.said, Observation):
            return [stamped]
        return self._mirror(role[0], stamped.vehicle).take(stamped, role[1])

    def _mirror(self, pair: int, vehicle: int) -> Mirror:
        if (pair, vehicle) not in self.mirrors:
            self.mirrors[pair, vehicle] = Mirror(self._contradict_m)
        return self.mirrors[pair, vehicle]

    def settle(self) -> list[Stamped]:
        """Return what counts at the end of a tick though it had to wait until then."""
        return [counts for mirror in self.mirrors.values() for counts in mirror.settle()]

    def doubts(self, at_us: int) -> list[Doubt]:
        """Return the vehicles whose place is in doubt."""
        mirrors = self.mirrors.items()
        return [Doubt(vehicle, mirror.apart_m or 0.0) for (_, vehicle), mirror in mirrors if mirror.in_doubt(at_us)]
