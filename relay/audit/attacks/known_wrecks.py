"""The attack with a list of known wrecks: which of them fits what was told of depth, of size and of names?

Rules: a list is public, a wreck on it has a place to within `LISTED_M`, and that the dive is at one of them at all is
worth `ON_THE_LIST`. A listed depth is held against the depths that the dive bounds its seabed with; one without a
depth is left to the chart match. Of size, what texts tell of length counts; else that a dive which goes round a wreck
covers half its length. A name that stands in a text decides nearly alone. All five numbers: common practice, no
source. A listed depth and the chart's beneath it are taken as two sources, so together with the chart match a listed
wreck counts somewhat too firmly: in favour of the outsider.
"""

import re
from math import erf, hypot, inf, sqrt
from typing import NamedTuple

import numpy as np

from relay.audit.attacks.attack import Case, Finding, Progress, Wreck, quiet
from relay.audit.attacks.shown_track import all_tracks
from relay.audit.attacks.spots import blurred, gathered, or_elsewhere
from relay.audit.attacks.told_texts import texts_of
from relay.audit.charts.chart import Floats
from relay.audit.matching.soundings_of import soundings_of
from relay.core.place_fold import fold
from relay.core.place_names import find_names

ON_THE_LIST = 0.5
LISTED_M = 300.0
DEPTH_ERROR = 5.0, 0.02  # of a listed depth: metres, and share of it; a wreck also stands above the seabed
LENGTH_ERROR = 0.15
NAMED = 1_000.0
STANDS_M = 10.0
_SHOWN = 3
_LENGTH = re.compile(
    r"(\d{2,3}(?:[.,]\d)?)\s?m(?:et(?:er|re)s?)?\s(?:long|in length|lang)\b"
    r"|\b(?:length|hull|wreck|ship)\s(?:of\s|is\s|about\s|:\s?){0,3}(\d{2,3}(?:[.,]\d)?)\s?m\b(?!\s(?:away|off|deep|from))",
    re.IGNORECASE,
)


class _Fit(NamedTuple):
    wreck: Wreck
    weight: float
    named: str | None


class KnownWrecks:
    """Ranks the wrecks of a list."""

    name = "known wrecks"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return the probability of each wreck of the list, and of the cells about them."""
        if not case.wrecks:
            return Finding(self.name, "No list of wrecks was given.", worked=False)
        inside = [wreck for wreck in case.wrecks if _may_be(case, wreck)]
        if not inside:
            words = "No wreck of the list lies on the chart within the declared area."
            return Finding(self.name, words, worked=False, facts={"wrecks": len(case.wrecks)})
        depths, lengths = _depths(case), _lengths(case)
        anywhere = _anywhere(case, depths)
        fits = []
        for at, wreck in enumerate(inside):
            fits.append(_fit(case, wreck, depths, lengths, anywhere))
            progress("trying known wrecks", (at + 1) / len(inside))
        listed = sum(fit.weight for fit in fits) / len(fits)
        on_list = ON_THE_LIST * listed / (ON_THE_LIST * listed + (1 - ON_THE_LIST) * anywhere)
        shares = [on_list * fit.weight / (listed * len(fits)) if listed > 0 else 0.0 for fit in fits]
        return self._finding(case, fits, shares, depths is not None or bool(lengths))

    def _finding(self, case: Case, fits: list[_Fit], shares: list[float], compared: bool) -> Finding:
        order = np.argsort(shares)[::-1]
        ranked = [(fits[at].wreck, shares[at]) for at in order]
        best, share = ranked[0]
        named = [fit for fit in fits if fit.named is not None]
        leaks = tuple(f"{fit.named} names “{fit.wreck.name}”, which is on the list with a place" for fit in named)
        # More probable than before, and than all others of the list together.
        stands_out = share > 1.01 * ON_THE_LIST / len(fits) and share > 0.5 * sum(shares)
        facts = {f"probability of {wreck.name}": share for wreck, share in ranked[:10]}
        return Finding(
            self.name,
            _words(ranked, compared or bool(named), sum(shares)),
            log_likelihood=_log(case, ranked),
            place=(best.latitude_deg, best.longitude_deg) if stands_out else None,
            leaks=leaks,
            facts={"wrecks": len(fits), "probability of none on the list": 1 - sum(shares), **facts},
        )


def _may_be(case: Case, wreck: Wreck) -> bool:
    where = case.chart.index(wreck.latitude_deg, wreck.longitude_deg)
    return where is not None and (case.prior is None or bool(case.prior[where]))


def _depths(case: Case) -> tuple[float, float] | None:
    """Return between which depths (metres) the seabed of the dives lies; None where nothing absolute was told."""
    try:
        soundings = soundings_of([dive for dive in case.dives if dive.header.get("depth") == "absolute"])
    except (TypeError, ValueError, LookupError, OverflowError):
        return None  # records that keep to no format have no depths to go by: the leak scan says what is wrong
    if soundings is None or soundings.relative:
        return None
    bounded = np.isfinite(soundings.deepest_m)
    if not bounded.any():
        return float(soundings.shallowest_m.min()), inf
    return float(soundings.shallowest_m[bounded].min()), float(soundings.deepest_m[bounded].max())


def _lengths(case: Case) -> list[float]:
    texts = [text for dive in case.dives for _, _, text in texts_of(dive)]
    found = [match[1] or match[2] for text in texts for match in _LENGTH.finditer(text)]
    return [float(length.replace(",", ".")) for length in found]


def _within(depth_m: float, error_m: float, case: Case, depths: tuple[float, float]) -> float:
    """Return the probability that what is charted at a depth lies between `depths`, with tide and charting error."""
    low_m, high_m = depths[0] - STANDS_M - case.tide_m[1], depths[1] - case.tide_m[0]
    scale = error_m * sqrt(2)
    return 0.5 * (erf((high_m - depth_m) / scale) - erf((low_m - depth_m) / scale))


def _anywhere(case: Case, depths: tuple[float, float] | None) -> float:
    """Return how probable the told depths are at a place of the area drawn at random."""
    if depths is None:
        return 1.0
    where = case.chart.candidates if case.prior is None else case.prior & case.chart.candidates
    known = where & np.isfinite(case.chart.depth_m)
    if not known.any():
        return 1.0
    sample = case.chart.depth_m[known]
    chosen = sample[np.unique(np.linspace(0, len(sample) - 1, 2_000).astype(int))]
    fits = [_within(float(depth), _error(float(depth)), case, depths) for depth in chosen]
    return max(1e-6, float(np.mean(fits)))


def _error(depth_m: float) -> float:
    return hypot(DEPTH_ERROR[0], DEPTH_ERROR[1] * depth_m)


def _fit(case: Case, wreck: Wreck, depths: tuple[float, float] | None, lengths: list[float], anywhere: float) -> _Fit:
    weight = anywhere
    if depths is not None and wreck.depth_m is not None:
        weight = _within(wreck.depth_m, _error(wreck.depth_m), case, depths)
    if wreck.length_m is not None:
        weight *= _size(case, wreck.length_m, lengths)
    named = _named(case, wreck)
    return _Fit(wreck, max(weight, 1e-12) * (NAMED if named is not None else 1.0), named)


def _size(case: Case, length_m: float, lengths: list[float]) -> float:
    if lengths:
        return float(max(np.exp(-0.5 * ((told - length_m) / (LENGTH_ERROR * length_m)) ** 2) for told in lengths))
    covered_m = max(
        (float(np.hypot(*np.ptp(track.points[track.placed], axis=0))) for track in all_tracks(case)), default=None
    )
    if covered_m is None:
        return 1.0
    short_m = max(0.0, length_m / 2 - covered_m)
    return max(0.1, float(np.exp(-0.5 * (short_m / (length_m / 4)) ** 2)))


def _named(case: Case, wreck: Wreck) -> str | None:
    """Return where the wreck's name stands, in whatever spelling."""
    for dive in case.dives:
        for _, what, text in texts_of(dive):
            if find_names(fold(text), (wreck.name,)):
                return f"{dive.name}, {what}"
    return None


def _log(case: Case, ranked: list[tuple[Wreck, float]]) -> Floats:
    latitude, longitude, share = (
        np.array(values)
        for values in zip(*((wreck.latitude_deg, wreck.longitude_deg, share) for wreck, share in ranked), strict=True)
    )
    mass = blurred(case.chart, gathered(case.chart, latitude, longitude, share), LISTED_M)
    return or_elsewhere(case.chart, mass, max(1e-9, 1 - float(share.sum())))


def _words(ranked: list[tuple[Wreck, float]], compared: bool, on_list: float) -> str:
    shown = ", ".join(f"{wreck.name} ({share:.0%})" for wreck, share in ranked[:_SHOWN])
    if not compared:
        return (
            f"Neither depth, size nor name was told, so the {len(ranked)} wrecks of the list are hardly told apart: "
            f"{shown}."
        )
    return (
        f"Of {len(ranked)} wrecks on the list those that fit what was told best are {shown}; that it is one of the "
        f"list at all: {on_list:.0%}."
    )
