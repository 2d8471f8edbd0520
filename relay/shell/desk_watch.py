"""What the desk shows of the vehicles beside their state: tracks, tether margin, overdue dives, side-scan coverage.

Rules: exact, for the ship alone; no room that releases imports this, and nothing here changes what is released.
1. Plain values in, plain values out; every moment is one of the embargo clock.
2. Memory is bounded whatever comes: tracks by `KeptTrack`, covered ground by what `swath` keeps of it.
3. A report costs the event loop microseconds; areas are worked out by `catch_up`, in a thread.
4. A fault in here never reaches the release: it ends the watch, and `alarms` says so.
"""

import asyncio
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from relay.core import overdue
from relay.core.errors import SurveyError
from relay.core.fuse import VehicleState
from relay.core.geodesy import Anchor, AnchorSeeker, plane
from relay.core.given import Position
from relay.core.kept_track import KeptTrack, TrackSpot
from relay.core.overdue import Expectation
from relay.core.reach import FORWARD_SONAR_M, TetherMargin, TetherWord, tether_margin
from relay.core.survey import TrackPoint
from relay.core.survey_plan import SurveyPlan
from relay.core.swath import Coverage, Swept, coverage

STALE_US = 60_000_000


@dataclass(slots=True)
class _Vehicle:
    """What is remembered of one vehicle."""

    name: str
    track: KeptTrack = field(default_factory=KeptTrack)
    heard_us: int | None = None
    place: Position | None = None
    place_us: int = 0
    depth_m: float | None = None
    mode: str | None = None
    swept: list[TrackPoint] = field(default_factory=list)
    covered: Coverage | None = None
    expected: Expectation | None = None
    back_us: int | None = None


class Watch:
    """The desk's watch over all vehicles of an expedition, by their places in the file."""

    def __init__(self, names: tuple[str, ...], survey: SurveyPlan) -> None:
        self._survey = survey
        self._vehicles = [_Vehicle(name) for name in names]
        self._seeker = AnchorSeeker()
        self._anchor: Anchor | None = None
        self._ship: tuple[int, Position] | None = None

    @property
    def origin(self) -> Position | None:
        """The desk's own origin: the first confirmed fix of the run."""
        return None if self._anchor is None else (self._anchor.latitude_deg, self._anchor.longitude_deg)

    def metres(self, place: Position | None) -> tuple[float, float] | tuple[None, None]:
        """Return metres east and north of the desk's origin, Nones where either isn't known."""
        if place is None or self._anchor is None:
            return None, None
        east_m, north_m, _, _ = plane(*place, self._anchor)
        return east_m, north_m

    def take(self, vehicle: int, at_us: int, values: Mapping[str, Any]) -> None:
        """Take what a report tells: any of latitude_deg with longitude_deg, depth_m, altitude_m, heading_deg, mode."""
        known = self._vehicles[vehicle]
        known.heard_us = overdue.newest(known.heard_us, at_us)
        known.mode = values.get("mode") or known.mode
        known.depth_m = values.get("depth_m", known.depth_m)
        latitude, longitude = values.get("latitude_deg"), values.get("longitude_deg")
        if latitude is not None and longitude is not None:
            self._place(known, at_us, (latitude, longitude), values.get("heading_deg"))

    def look(self, states: Sequence[VehicleState], ship: VehicleState | None, at_us: int) -> None:
        """Take what is new in the vehicles' states as the pipeline has them (`now.states`), and in the ship's.

        Call it after each row that was taken; states in doubt give no position.
        """
        for at, state in enumerate(states):
            age_us = state.age_us("position", at_us)
            if state.heard_us is None or state.heard_us == self._vehicles[at].heard_us:
                continue
            names = ("depth_m", "altitude_m", "heading_deg", "mode")
            values = {name: value for name in names if (value := state.fresh(name, at_us, STALE_US)) is not None}
            if age_us is not None and not state.in_doubt and at_us - age_us == state.heard_us:
                values["latitude_deg"], values["longitude_deg"] = state.last("position")
            self.take(at, state.heard_us, values)
        place = None if ship is None else ship.fresh("position", at_us, STALE_US)
        if place is not None:
            self.take_ship(at_us, place)

    def take_ship(self, at_us: int, place: Position) -> None:
        """Take a position of the ship's own."""
        self._ship = at_us, place

    def expect(self, vehicle: int, expected: Expectation | None, back_us: int | None = None) -> None:
        """Say what was agreed about an autonomous dive, and when somebody said that the vehicle is back."""
        self._vehicles[vehicle].expected, self._vehicles[vehicle].back_us = expected, back_us

    def section(self, vehicle: int, now_us: int) -> dict[str, Any]:
        """Return `tether`, `overdue` and `survey` of one vehicle as the desk's state has them, None where unknown."""
        known = self._vehicles[vehicle]
        return {
            "tether": self._tether(vehicle, now_us),
            "overdue": _overdue(known, now_us),
            "survey": _survey(known),
        }

    def alarms(self, now_us: int) -> list[str]:
        """Return what is wrong now, in words without a position that stay the same while it is."""
        out = []
        for at, known in enumerate(self._vehicles):
            margin = self._margin(at, now_us)
            if margin is not None and margin.word is not TetherWord.WITHIN:
                out.append(f"{known.name}'s tether: {margin.word}")
            judged = _judged(known, now_us)
            if judged is not None and judged.sounds:
                out.append(f"{known.name} is overdue")
        return out

    def tracks(self) -> dict[str, Any]:
        """Return `origin`, `exact`, `ship`, `ring_m`, `covered` and `plan` of the desk's tracks."""
        corners = self._survey.corners
        return {
            "origin": None if self.origin is None else list(self.origin),
            "exact": {known.name: [list(spot) for spot in known.track.points()] for known in self._vehicles},
            "ship": None if self._ship is None or self._anchor is None else list(self.metres(self._ship[1])),
            "ring_m": FORWARD_SONAR_M,
            "covered": [],
            "plan": None if corners is None or self._anchor is None else [list(self.metres(one)) for one in corners],
        }

    async def catch_up(self) -> None:
        """Work out, in a thread, what came since the last time; call it every few seconds."""
        await asyncio.to_thread(self._work)

    def _work(self) -> None:
        for at, known in enumerate(self._vehicles):
            swath = self._survey.of(at).swath
            if swath is not None and known.swept:
                known.covered = coverage([Swept(known.swept, swath)], self._survey.corners)

    def _place(self, known: _Vehicle, at_us: int, place: Position, heading_deg: float | None) -> None:
        known.place, known.place_us = place, at_us
        if self._anchor is None:
            self._anchor = self._seeker.offer(*place, at_us)
        if self._anchor is not None:
            east_m, north_m, _, _ = plane(*place, self._anchor)
            known.track.take(TrackSpot(at_us, east_m, north_m, known.depth_m or 0.0))
        if not known.swept or at_us - known.swept[-1].at_us >= 5_000_000:
            known.swept.append(TrackPoint(at_us, *place, heading_deg))

    def _margin(self, vehicle: int, now_us: int) -> TetherMargin | None:
        known, tether = self._vehicles[vehicle], self._survey.of(vehicle).tether
        if tether is None or self._ship is None or known.place is None or known.depth_m is None:
            return None
        if min(self._ship[0], known.place_us) < now_us - STALE_US or known.mode == "autonomous":
            return None
        try:
            return tether_margin(self._ship[1], known.place, known.depth_m, tether)
        except SurveyError:
            return None

    def _tether(self, vehicle: int, now_us: int) -> dict[str, Any] | None:
        margin, tether = self._margin(vehicle, now_us), self._survey.of(vehicle).tether
        if margin is None or tether is None:
            return None
        return {
            "length_m": tether.length_m,
            "slant_m": margin.slant_m,
            "horizontal_m": margin.horizontal_m,
            "margin_m": margin.margin_m,
            "share": margin.share,
            "word": str(margin.word),
        }


def _judged(known: _Vehicle, now_us: int) -> overdue.Alarm | None:
    if known.expected is None or known.expected.begun_us > now_us:
        return None
    return overdue.alarm(known.expected, now_us, known.heard_us, known.back_us)


def _overdue(known: _Vehicle, now_us: int) -> dict[str, Any] | None:
    judged = _judged(known, now_us)
    if judged is None:
        return None
    return {
        "sounds": judged.sounds,
        "words": str(judged.back.standing),
        "return_in_s": -judged.back.late_us / 1e6,
        "next_report_in_s": None if judged.report is None else -judged.report.late_us / 1e6,
        "missing_reports": judged.missing_reports,
    }


def _survey(known: _Vehicle) -> dict[str, Any] | None:
    if known.covered is None:
        return None
    return {
        "line_km": 0.0,
        "area_km2": known.covered.area_m2 / 1e6,
        "again_share": known.covered.again_share,
        "planned_percent": known.covered.planned_percent,
        "passes": known.covered.passes,
        "words": "",
    }
