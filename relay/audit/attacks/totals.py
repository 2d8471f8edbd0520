"""Totals told beside a track: what they count and the track does not show is hidden way or hidden time.

Rules: the page's own numbers are made of released records (R7) and tell nothing more; a total is a counter among the
numbers of a tick beyond those the wire has, or a way or a time at the bottom in an annotation. What a counter grows by
in a hole of the track is the way run in it: to a spot and back from two sides of the hole, so the spot is on an ellipse
about its two ends, and several holes give the spot itself by least squares.

On sports tracks such a regression of distances found 85 % of hidden homes (Dhondt et al., "A Run a Day Won't Keep the
Hacker Away", ACM CCS 2022; from memory).
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from relay.audit.attacks.attack import Case, Dive, Finding, Progress, quiet
from relay.audit.attacks.earth_tied import Tied, earth_tied
from relay.audit.attacks.shown_track import ShownTrack, stretches, tracks_of
from relay.audit.attacks.spots import at_spot, within_a_cell
from relay.audit.charts.chart import Floats
from relay.core.figures import figures
from relay.core.release import Kind

LEAST_HOLES = 3
SURE_SHARE, SURE_M, SURE_S = 0.15, 150.0, 300.0  # how far the page's own number may be off, by its cells and samples
_NUMBER = r"(\d+(?:[.,]\d+)?)\s*"
_LENGTH = re.compile(
    _NUMBER + r"(km|kilomet(?:re|er)n?s?|nautical miles?|nm|m|met(?:re|er)n?s?|ft|feet)\b", re.IGNORECASE
)
_TIME = re.compile(_NUMBER + r"(h|hours?|hrs?|stunden?|min|minutes?|minuten)\b", re.IGNORECASE)
_WAY = re.compile(
    r"\b(run|ran|distance|travell?ed|covered|logged|total|way|strecke|gelaufen|zurückgelegt|insgesamt)\b", re.IGNORECASE
)
_BOTTOM = re.compile(r"\b(bottom|seabed|grund|meeresgrund|boden)\b", re.IGNORECASE)
_METRES = {"k": 1_000.0, "n": 1_852.0, "f": 0.3048, "m": 1.0}


@dataclass(frozen=True)
class Stated:
    """A total in an annotation at a moment of dive time: metres of way or seconds at the bottom; and what is shown."""

    dive: str
    elapsed_s: float
    what: str
    told: float
    shown: float

    @property
    def hidden(self) -> float:
        """How much of it no record shows; 0 within what the shown number may be off."""
        slack = max(SURE_SHARE * self.shown, SURE_M if self.what == "way" else SURE_S)
        return self.told - self.shown if self.told - self.shown > slack else 0.0


@dataclass(frozen=True)
class Passage:
    """A hole of a track: its two ends (2,), metres, and the way that a counter grew by from one to the other."""

    before: Floats
    behind: Floats
    way_m: float


def stated(dive: Dive) -> list[Stated]:
    """Return the totals in the annotations of a dive."""
    found = []
    for at, record in enumerate(dive.records):
        told = record.body if record.kind in (Kind.NOTE, Kind.STILL) else None
        text = told[1] if isinstance(told, list) and len(told) > 1 else None
        if isinstance(text, str):
            found += [
                Stated(dive.name, float(record.elapsed_s), what, told, _shown(dive, at, what))
                for what, told in _in(text)
            ]
    return found


def _in(text: str) -> Iterable[tuple[str, float]]:
    if _WAY.search(text):
        for value, unit in _LENGTH.findall(text):
            yield "way", float(value.replace(",", ".")) * _METRES[unit[0].lower()]
    if _BOTTOM.search(text):
        for value, unit in _TIME.findall(text):
            hours = unit[0].lower() in "hs"
            yield "bottom", float(value.replace(",", ".")) * (3_600.0 if hours else 60.0)


def _shown(dive: Dive, upto: int, what: str) -> float:
    """Return what the records before one show: the most of any vehicle."""
    try:
        each = figures(dive.records[:upto]).vehicles
    except (KeyError, TypeError, ValueError, IndexError):
        return 0.0
    values = [vehicle.distance_m if what == "way" else vehicle.bottom_s for vehicle in each]
    return max((value for value in values if value is not None), default=0.0)


def counter_of(track: ShownTrack, beyond: int = 0) -> Floats | None:
    """Return a running total (ticks,) among the numbers beyond the first `beyond` of a tick's own, or None."""
    for column in track.more[:, beyond:].T:
        told = column[np.isfinite(column)]
        if len(told) > 5 and np.ptp(told) > 0 and bool((np.diff(told) >= 0).all()):
            total: Floats = column
            return total
    return None


def passages(track: ShownTrack, total: Floats) -> list[Passage]:
    """Return the holes of a track between two shown places, with the way run in each."""
    found = []
    for begin, end in stretches(~track.placed):
        if begin == 0 or end == len(total) or not np.isfinite(total[[begin - 1, end]]).all():
            continue
        way = float(total[end] - total[begin - 1])
        found.append(Passage(track.points[begin - 1], track.points[end], way))
    return found


def spot_of(found: Sequence[Passage], cell_m: float) -> tuple[Floats, float] | None:
    """Return the spot (2,) that was gone to in all passages, and by how much ways miss it in the median, metres."""
    ways = np.array([passage.way_m for passage in found])
    before, behind = (np.array([getattr(passage, end) for passage in found]) for end in ("before", "behind"))

    def off(spot: Floats) -> Floats:
        missed: Floats = np.hypot(*(before - spot).T) + np.hypot(*(behind - spot).T) - ways
        return missed

    middle = (before + behind).mean(axis=0) / 2
    turns = np.linspace(0, 2 * np.pi, 8, endpoint=False)
    starts = [middle, *(middle + ways.max() / 2 * np.column_stack([np.sin(turns), np.cos(turns)]))]
    solved = [least_squares(off, start, loss="soft_l1", f_scale=cell_m) for start in starts]
    best = min(solved, key=lambda one: one.cost)
    missed_m = float(np.median(np.abs(off(best.x))))
    return (best.x, missed_m) if missed_m < 3 * cell_m else None


@dataclass(frozen=True)
class Totals:
    """The attack."""

    name: str = "totals"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return what totals tell of hidden way and time, and the hidden spot where they tell it."""
        progress(self.name, 0.0)
        for dive in case.dives:
            for track in tracks_of(dive):
                tied = earth_tied(track, case.chart) if track.placed.any() or track.more.size else None
                total = counter_of(track, 2 if tied is not None and tied.by_degrees else 0)
                if total is not None:
                    return self._counted(case, track if tied is None else tied.track, total, tied)
        said = [one for dive in case.dives for one in stated(dive)]
        hidden = [one for one in said if one.hidden > 0]
        if hidden:
            return self._said(hidden)
        why = "those that were told count no more than is shown" if said else "none was told beside the track"
        return Finding(self.name, f"Nothing to work on: of totals {why}.", worked=False)

    def _counted(self, case: Case, track: ShownTrack, total: Floats, tied: Tied | None) -> Finding:
        found = passages(track, total)
        ways = [passage.way_m for passage in found]
        facts = {"hidden_way_m": float(sum(ways)), "holes": float(len(found))}
        words = f"A total runs beside the track of {track.dive}: {sum(ways):.0f} m were run where nothing was shown."
        leaks = ("a running total beside the track",)
        spot = spot_of(found, track.cell_m or 10.0) if len(found) >= LEAST_HOLES else None
        if spot is None:
            return Finding(self.name, words, leaks=leaks, facts=facts)
        facts |= {"spot_east_m": float(spot[0][0]), "spot_north_m": float(spot[0][1]), "known_to_m": spot[1]}
        words += f" The ways in {len(found)} holes meet at a spot known to about {max(spot[1], 1):.0f} m"
        if tied is None:
            return Finding(self.name, f"{words}, in a frame whose place and turn are secret.", leaks=leaks, facts=facts)
        return Finding(
            self.name, f"{words}, on the Earth: {tied.how}.",
            log_likelihood=at_spot(case.chart, *tied.reference_deg(case), track.cell_m or 10.0),
            place=tied.to_earth(float(spot[0][0]), float(spot[0][1])),
            outright=within_a_cell(case.chart, spot[1]), leaks=leaks, facts=facts,
        )  # fmt: skip

    def _said(self, hidden: Sequence[Stated]) -> Finding:
        way = max((one.hidden for one in hidden if one.what == "way"), default=0.0)
        bottom = max((one.hidden for one in hidden if one.what == "bottom"), default=0.0)
        what = [f"{way:.0f} m of way"] * (way > 0) + [f"{bottom / 60:.0f} min at the bottom"] * (bottom > 0)
        where = ", ".join(sorted({one.dive for one in hidden}))
        return Finding(
            self.name,
            f"Annotations of {where} tell totals that the records don't show: {' and '.join(what)} are hidden. That is "
            "how far what is shown may be from where the dive began.",
            leaks=("a total in an annotation that counts what is hidden",),
            facts={"hidden_way_m": way, "hidden_bottom_s": bottom},
        )
