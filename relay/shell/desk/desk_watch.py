"""What the desk shows of the vehicles beside their state: tracks, tether margin, overdue dives, side-scan coverage.

Rules: exact, for the ship alone; no room that releases anything imports this, and nothing here changes a released byte.
1. Plain values in, plain values out; every moment is one of the embargo clock.
2. Memory is bounded whatever comes: tracks by `KeptTrack`, covered ground by `Ground`, waiting legs by `MOST_WAITING`.
3. A report costs the event loop microseconds. Areas are worked out by `beat`, in a thread, from what the loop gives it
   of one moment: what is kept of a report is kept in all its parts, for a restart passes the report over.
4. A fault in here never reaches the release: it ends the watch, and `alarms` says so.
"""

import asyncio
import logging
from collections.abc import Callable, Mapping, Sequence
from math import atan2, degrees, hypot
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

from relay.core.desk_record import Expected
from relay.core.errors import SurveyError
from relay.core.fuse import VehicleState
from relay.core.geodesy import Anchor, AnchorSeeker, plane, point_at
from relay.core.given import Position, position
from relay.core.ground import Coverage, rings_of
from relay.core.kept_track import KeptTrack, TrackSpot
from relay.core.notices import Notice
from relay.core.overdue import Expectation
from relay.core.reach import FORWARD_SONAR_M
from relay.core.survey_day import Due, SurveyDay
from relay.core.survey_plan import SurveyPlan
from relay.core.watch_words import survey_words
from relay.core.watched import STALE_US, Fix, Watched
from relay.shell.desk.watch_file import read_watch, write_watch

log = logging.getLogger("offing.watch")
BEAT_S = 5.0
KEEP_EVERY = 12
MOST_WAITING = 4096
MOST_DRAWN = 1200

Metres = tuple[float, float]
Result = TypeVar("Result")


class Watch:
    """The desk's watch over all vehicles of an expedition, by their places in the file.

    With a `folder` it goes on from what it knew when the relay ran last, as far as that is of the journal whose last
    row is of the moment `journal_us`; what a restart reads again of before then is passed over.
    """

    def __init__(
        self, names: Sequence[str], survey: SurveyPlan, folder: Path | None = None, journal_us: int = 0
    ) -> None:
        self._survey, self._folder = survey, folder
        self._vehicles = [Watched(name, survey.of(at).tether) for at, name in enumerate(names)]
        self._day = SurveyDay(survey, names)
        self._seeker = AnchorSeeker()
        self._anchor: Anchor | None = None
        self._waiting: dict[int, tuple[int, Fix]] = {}
        self._ship: tuple[int, Position] | None = None
        self._seen_us = self._restored_us = -1
        self._looked_us: int | None = None
        self._rings: list[list[Metres]] = []
        self._lock = Lock()
        self._beats = 0
        self.fault: str | None = None
        kept = None if folder is None else read_watch(folder, journal_us)
        if kept is not None:
            self._restore(kept)

    @property
    def origin(self) -> Position | None:
        """The desk's own origin: the first confirmed fix of the run."""
        return None if self._anchor is None else (self._anchor.latitude_deg, self._anchor.longitude_deg)

    def metres(self, place: Position | None) -> Metres | tuple[None, None]:
        """Return metres east and north of the desk's origin, Nones where either isn't known."""
        if place is None or self._anchor is None:
            return None, None
        return _metres(place, self._anchor)

    def look(
        self,
        states: Sequence[VehicleState],
        ship: VehicleState | None,
        expected: Mapping[str, Expected],
        at_us: int,
    ) -> None:
        """Take what is new in the vehicles' states (`Pipeline.now.states`), the ship's, and what was agreed.

        Call it after each row that the pipeline took, with the row's moment. Never raises.
        """
        self._guarded(lambda: self._look(states, ship, expected, at_us))

    def take(self, vehicle: int, at_us: int, values: Mapping[str, Any]) -> None:
        """Take what a report tells: any of latitude_deg with longitude_deg, depth_m, heading_deg, mode."""
        self._vehicles[vehicle].hear(at_us, values)
        latitude, longitude = values.get("latitude_deg"), values.get("longitude_deg")
        if latitude is not None and longitude is not None and at_us > self._restored_us:
            depth_m = self._vehicles[vehicle].depth_m
            self._place(vehicle, at_us, Fix((latitude, longitude), values.get("heading_deg"), depth_m))
        self._seen_us = max(self._seen_us, at_us)

    def take_ship(self, at_us: int, place: Position) -> None:
        """Take a position of the ship's own."""
        self._ship = at_us, place

    def expect(self, vehicle: int, expected: Expectation | None, back_us: int | None = None) -> None:
        """Say what was agreed about an autonomous dive, and when somebody said that the vehicle is back."""
        self._vehicles[vehicle].expected, self._vehicles[vehicle].back_us = expected, back_us

    def section(self, vehicle: int, now_us: int) -> dict[str, Any]:
        """Return `tether`, `overdue` and `survey` of one vehicle as the desk's state has them, None where unknown."""
        if self.fault is not None:
            return {"tether": None, "overdue": None, "survey": None}
        known = self._vehicles[vehicle]
        return {
            "tether": known.tether(self._ship, now_us),
            "overdue": known.overdue(now_us),
            "survey": self._surveyed(vehicle),
        }

    def alarms(self, now_us: int) -> list[str]:
        """Return what is wrong now, in words without a position that stay the same while it is."""
        if self.fault is not None:
            return [f"tether, overdue and survey aren't watched any more: {self.fault}"]
        return [alarm for known in self._vehicles for alarm in known.alarms(self._ship, now_us)]

    def notices(self, now_us: int) -> list[Notice]:
        """Return what the operator should know of this watch: margins that can't be worked out."""
        no_ship = ' Add a [[feed]] with of = "ship" to the expedition file, or keep count by hand.'
        remedy = no_ship if self._ship is None else " See to the feed that tells it, and keep count by hand."
        return [
            Notice(f"tether:{known.name}", f"How much tether {known.name} has left isn't known: {why}.{remedy}")
            for known in self._vehicles
            if (why := known.tether_unknown(self._ship, now_us))
        ]

    @property
    def looked_us(self) -> int:
        """The moment of the newest row that was looked at."""
        return self._looked_us or 0

    def expecting(self) -> list[str]:
        """Return the vehicles whose return is awaited."""
        return [known.name for known in self._vehicles if known.expected is not None and known.back_us is None]

    def tracks(self) -> dict[str, Any]:
        """Return `origin`, `exact`, `ship`, `ring_m`, `covered` and `plan` of the desk's tracks.

        A line of `exact` has a point without a place wherever nothing told one for long, and breaks there alone: how
        far apart in time its points lie says nothing. `covered` holds rings, outlines and holes alike: to be filled by
        the even-odd rule.
        """
        anchor, corners = self._anchor, self._survey.corners
        ship = self._ship if anchor is not None else None
        return {
            "origin": None if self.origin is None else list(self.origin),
            "exact": {known.name: _line(known.track) for known in self._vehicles},
            "ship": None if ship is None else list(self.metres(ship[1])),
            "ring_m": FORWARD_SONAR_M,
            "covered": self._rings,
            "plan": [list(self.metres(corner)) for corner in corners] if corners and anchor is not None else None,
        }

    async def beat(self) -> None:
        """Wait a little, work out what came since, and now and then keep it in the folder: to be called for ever."""
        await asyncio.sleep(BEAT_S)
        self._beats += 1
        await self.catch_up(keep=self._beats % KEEP_EVERY == 0)

    async def catch_up(self, *, keep: bool = False) -> None:
        """Work out in a thread what came since the last time; the loop goes on meanwhile."""
        known = self._guarded(self._known)
        if known is not None:
            await asyncio.to_thread(self._guarded, lambda: self._work(*known, keep))

    def close(self) -> None:
        """Work out the rest and keep it."""
        self._guarded(lambda: self._work(*self._known(), keep=True))

    def _guarded(self, action: Callable[[], Result]) -> Result | None:
        """Do something unless the watch has ended; any fault ends it (rule 4)."""
        if self.fault is not None:
            return None
        try:
            return action()
        except Exception as error:  # whatever breaks here, the release goes on; its text might hold a position
            self.fault = f"a fault of Offing's own ({type(error).__name__})"
            log.error("the desk's watch has ended, the release goes on: %s", self.fault)
            return None

    def _look(
        self,
        states: Sequence[VehicleState],
        ship: VehicleState | None,
        expected: Mapping[str, Expected],
        at_us: int,
    ) -> None:
        if self._looked_us is None:
            for known in self._vehicles:
                known.begin(at_us)
        self._looked_us = at_us
        for at, (known, state) in enumerate(zip(self._vehicles, states, strict=True)):
            if state.heard_us is not None and state.heard_us != known.heard_us:
                self.take(at, state.heard_us, _told(state, at_us))
            agreed = expected.get(known.name)
            self.expect(at, None if agreed is None else agreed.expectation, None if agreed is None else agreed.back_us)
        if ship is not None and (age_us := ship.age_us("position", at_us)) is not None:
            self.take_ship(at_us - age_us, ship.last("position"))

    def _place(self, vehicle: int, at_us: int, fix: Fix) -> None:
        """Take a fix; those before the desk's origin is known wait, one of each vehicle."""
        if self._anchor is None:
            self._anchor = self._seeker.offer(*fix.place, at_us)
            before, self._waiting[vehicle] = self._waiting.get(vehicle), (at_us, fix)
            if self._anchor is None or before is None:
                return
            self._place(vehicle, *before)
        known = self._vehicles[vehicle]
        for one in known.place(TrackSpot(at_us, *_metres(fix.place, self._anchor), fix.depth_m or 0.0), fix):
            self._day.take(vehicle, one)
        if self._day.waiting >= MOST_WAITING and self._lock.acquire(blocking=False):
            try:  # only where a journal is read again: otherwise `beat` has taken them long before
                self._day.show()
                self._day.work()
            finally:
                self._lock.release()

    def _surveyed(self, vehicle: int) -> dict[str, Any] | None:
        swath, done = self._survey.of(vehicle).swath, self._day.done[vehicle]
        if swath is None:
            return None
        covered = done.covered
        return {
            "line_km": done.line_m / 1000,
            "area_km2": 0.0 if covered is None else covered.area_m2 / 1e6,
            "again_share": 0.0 if covered is None else covered.again_share,
            "planned_percent": None if covered is None else covered.planned_percent,
            "passes": 0 if covered is None else covered.passes,
            "words": survey_words(done, swath.width_m, sum(one.covered is not None for one in self._day.done) > 1),
        }

    def _known(self) -> tuple[Due, dict[str, Any]]:
        """Return what is to be worked out now, and what is kept beside it: all of one moment, so on the loop."""
        self._day.show()
        tracks = {known.name: known.track.saved() for known in self._vehicles}
        return self._day.due(), {"upto_us": self._seen_us, "origin": self.origin, "tracks": tracks}

    def _work(self, due: Due, known: dict[str, Any], keep: bool) -> None:
        with self._lock:
            if self._day.work(due):
                self._draw()
            if keep and self._folder is not None and known["upto_us"] >= 0:
                self._keep(self._folder, known | {"survey": self._day.saved(due)})

    def _draw(self) -> None:
        """Put the outlines of the covered ground into the desk's metres."""
        covered = [done.covered for done in self._day.done if done.covered is not None]
        if self._anchor is not None and covered:
            most = MOST_DRAWN // len(covered)
            self._rings = [_redrawn(ring, one, self._anchor) for one in covered for ring in rings_of(one, most)]

    def _keep(self, folder: Path, known: dict[str, Any]) -> None:
        try:
            write_watch(folder, known)
        except OSError as error:
            log.warning("the survey's figures can't be kept over a restart: %s", error.strerror)

    def _restore(self, kept: dict[str, Any]) -> None:
        """Go on from what was kept, or begin anew where that can't be used."""
        try:
            self._day.restore(kept["survey"])
            tracks = {name: KeptTrack.restored(track) for name, track in kept["tracks"].items()}
            origin = None if kept["origin"] is None else _anchor(*kept["origin"])
        except (SurveyError, AttributeError, KeyError, TypeError, ValueError):
            log.warning("what was kept of the survey's figures can't be used: they begin anew")
            self._day = SurveyDay(self._survey, [known.name for known in self._vehicles])
            return
        self._anchor, self._seen_us, self._restored_us = origin, kept["upto_us"], kept["upto_us"]
        for known in self._vehicles:
            known.track = tracks.get(known.name, known.track)
        self._draw()


def _line(track: KeptTrack) -> list[list[float | None]]:
    """Return a track's points, with one without a place in each silence."""
    line: list[list[float | None]] = []
    for spot in track.broken():
        line.append([line[-1][0], None, None, None] if spot is None else list(spot))
    return line


def _told(state: VehicleState, at_us: int) -> dict[str, Any]:
    """Return what a state has, with the position only if the last report told it and nothing doubts it."""
    names = ("depth_m", "heading_deg", "mode")
    values = {name: value for name in names if (value := state.fresh(name, at_us, STALE_US)) is not None}
    if state.own_s is not None:
        values["own_s"] = state.own_s
    age_us = state.age_us("position", at_us)
    if age_us is not None and not state.in_doubt and at_us - age_us == state.heard_us:
        values["latitude_deg"], values["longitude_deg"] = state.last("position")
    return values


def _anchor(latitude_deg: float, longitude_deg: float) -> Anchor:
    return Anchor(*position("origin's", latitude_deg, longitude_deg), 0)


def _metres(place: Position, anchor: Anchor) -> Metres:
    if place == (anchor.latitude_deg, anchor.longitude_deg):
        return 0.0, 0.0
    east_m, north_m, _, _ = plane(*place, anchor)
    return east_m, north_m


def _redrawn(ring: Sequence[Metres], covered: Coverage, anchor: Anchor) -> list[Metres]:
    """Return a ring of metres about the covered ground's origin in metres about the desk's."""
    places = (point_at(covered.origin, degrees(atan2(east, north)), hypot(east, north)) for east, north in ring)
    return [_metres(place, anchor) for place in places]
