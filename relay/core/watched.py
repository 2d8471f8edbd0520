"""One vehicle as the desk's watch knows it: believed fixes, its track, tether margin, and whether it is overdue.

Rules: exact, for the ship alone.
1. A figure whose parts are older than `STALE_US` is none, and `tether_unknown` says which part is missing: a margin of
   some minutes ago is worse than none.
2. A tether is watched while its vehicle is down (deeper than `SURFACE_M`) and not autonomous.
   An alarm that sounded before then stays, and says that it isn't known any more. A mode is forgotten as soon.
3. An alarm that sounds at a share of the tether ends only `CLEAR_SHARE` below it: noise at the border must not flap.
4. A report counts for the overdue watch if its position, its depth or its vehicle's own clock differs from the last: a
   control station goes on sending what it knew last, and that is no sign of life.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from relay.core.errors import SurveyError
from relay.core.given import Position
from relay.core.in_words import several
from relay.core.kept_track import FixGate, KeptTrack, TrackSpot
from relay.core.model import Mode
from relay.core.overdue import Alarm, Expectation, alarm, newest
from relay.core.reach import Tether, TetherMargin, TetherWord, tether_margin
from relay.core.survey import TrackPoint
from relay.core.survey_day import SURFACE_M
from relay.core.watch_words import overdue_alarms, overdue_words, tether_alarm

STALE_US = 60_000_000
CLEAR_SHARE = 0.02
SURVEY_EVERY_US = 1_000_000
_TELLING = ("latitude_deg", "longitude_deg", "depth_m", "own_s")


class Fix(NamedTuple):
    """A place on the Earth, with true heading and depth there, None if unknown."""

    place: Position
    heading_deg: float | None = None
    depth_m: float | None = None


class Watched:
    """What is remembered of one vehicle."""

    def __init__(self, name: str, tether: Tether | None) -> None:
        self.name, self._carried = name, tether
        self.track, self._gate = KeptTrack(), FixGate[Fix]()
        self.heard_us: int | None = None
        self.report_us: int | None = None
        self._told: dict[str, Any] = {}
        self.expected: Expectation | None = None
        self.back_us: int | None = None
        self.depth_m: float | None = None
        self._depth_us = self._place_us = 0
        self._place: Position | None = None
        self._mode: str | None = None
        self._mode_us = 0
        self._due_us = 0
        self._near_end = False
        self._sounded = TetherWord.WITHIN

    def hear(self, at_us: int, values: Mapping[str, Any]) -> None:
        """Take what a report tells: any of depth_m, mode; latitude_deg, longitude_deg and own_s only to compare."""
        self.heard_us = newest(self.heard_us, at_us)
        told = {name: value for name in _TELLING if (value := values.get(name)) is not None}
        if any(self._told.get(name) != value for name, value in told.items()):  # rule 4
            self.report_us = newest(self.report_us, at_us)
        self._told |= told
        if values.get("mode") is not None:
            self._mode, self._mode_us = values["mode"], at_us
        if (depth_m := values.get("depth_m")) is not None:
            self.depth_m, self._depth_us = depth_m, at_us

    def begin(self, at_us: int) -> None:
        """Say from when on reports are known of: those before a restart may not be, and so aren't missing."""
        self.report_us = newest(self.report_us, at_us)

    def place(self, spot: TrackSpot, fix: Fix) -> list[TrackPoint]:
        """Take a fix, in the desk's metres and on the Earth.

        Return those that are believed now and count for the survey (`SURVEY_EVERY_US`), oldest first.
        """
        believed = self._gate.take(spot, fix)
        for one, _ in believed:
            self.track.take(one)
        if believed:
            self._place, self._place_us = fix.place, spot.at_us
        due = [(one, told) for one, told in believed if one.at_us >= self._due_us]
        if due:
            self._due_us = due[-1][0].at_us + SURVEY_EVERY_US
        return [TrackPoint(one.at_us, *told.place, told.heading_deg, told.depth_m) for one, told in due]

    def tether(self, ship: tuple[int, Position] | None, now_us: int) -> dict[str, Any] | None:
        """Return the tether's margin; `ship` is the moment and place of the ship's last fix."""
        margin = self._margin(ship, now_us)
        if margin is None or self._carried is None:
            return None
        return {
            "length_m": self._carried.length_m,
            "slant_m": margin.slant_m,
            "horizontal_m": margin.horizontal_m,
            "margin_m": margin.margin_m,
            "share": margin.share,
            "word": str(margin.word),
        }

    def tether_unknown(self, ship: tuple[int, Position] | None, now_us: int) -> str:
        """Return why the margin of a vehicle that is down isn't known; empty where it is, or needn't be."""
        if not self._is_down(now_us):
            return ""
        stale_us = now_us - STALE_US
        missing = [] if ship is not None and ship[0] >= stale_us else ["the ship's position"]
        missing += [] if self._place is not None and self._place_us >= stale_us else ["its position"]
        missing += [] if self._depth_us >= stale_us else ["its depth"]
        return f"for a minute nothing has told {several(missing)}" if missing else ""

    def overdue(self, now_us: int) -> dict[str, Any] | None:
        """Return how an autonomous dive stands, None where nothing was agreed."""
        judged = self._judged(now_us)
        if judged is None:
            return None
        return {
            "sounds": judged.sounds,
            "words": overdue_words(judged),
            "return_in_s": -judged.back.late_us / 1e6,
            "next_report_in_s": None if judged.report is None else -judged.report.late_us / 1e6,
            "missing_reports": judged.missing_reports,
        }

    def alarms(self, ship: tuple[int, Position] | None, now_us: int) -> list[str]:
        """Return what is wrong with its tether, and what is overdue."""
        judged = self._judged(now_us)
        out = [] if judged is None else overdue_alarms(self.name, judged)
        return out if self._carried is None else out + self._tether_alarms(self._carried, ship, now_us)

    def _tether_alarms(self, tether: Tether, ship: tuple[int, Position] | None, now_us: int) -> list[str]:
        why, margin = self.tether_unknown(ship, now_us), self._margin(ship, now_us)
        if not why:
            self._sounded = TetherWord.WITHIN if margin is None else self._held(margin, tether)
        return tether_alarm(self.name, tether, self._sounded, why)

    def _held(self, margin: TetherMargin, tether: Tether) -> TetherWord:
        """Return the margin's word, with rule 3."""
        clear = tether.warn_share - (CLEAR_SHARE if self._near_end else 0.0)
        self._near_end = margin.share > clear
        return TetherWord.NEAR_END if margin.word is TetherWord.WITHIN and self._near_end else margin.word

    def _margin(self, ship: tuple[int, Position] | None, now_us: int) -> TetherMargin | None:
        if self.tether_unknown(ship, now_us) or not self._is_down(now_us):
            return None
        assert ship is not None and self._place is not None and self.depth_m is not None and self._carried is not None
        try:
            return tether_margin(ship[1], self._place, self.depth_m, self._carried)
        except SurveyError:
            return None

    def _is_down(self, now_us: int) -> bool:
        down = self.depth_m is not None and self.depth_m >= SURFACE_M
        by_itself = self._mode == Mode.AUTONOMOUS and now_us - self._mode_us <= STALE_US
        return self._carried is not None and down and not by_itself

    def _judged(self, now_us: int) -> Alarm | None:
        if self.expected is None or self.expected.begun_us > now_us:
            return None
        last_us = None if self.report_us is None else min(self.report_us, now_us)
        back_us = None if self.back_us is None else min(self.back_us, now_us)
        return alarm(self.expected, now_us, last_us, back_us)
