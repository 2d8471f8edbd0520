"""The attack on when records leave and how long they are: what they tell of what isn't shown.

Rules: in a sound release the lag from dive time to sending is one constant, ticks come at even steps whatever happens,
all tick records are of one length and all others of whole blocks; whatever differs was caused by something that is not
shown, and is told as a leak. Two things remain that a sound release can't help. Who follows live knows when the dive
was, to the header's delay, and so where a ship with a public track was then; and ticks left out at sea tell that a
vehicle was outside the declared area, so that the last place shown before lies by its edge.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy import ndimage

from relay.audit.attacks.attack import Case, Dive, Finding, Progress, quiet
from relay.audit.attacks.shown_track import tracks_of
from relay.audit.attacks.spots import apart_m
from relay.audit.attacks.told_texts import clock, listed
from relay.audit.charts.chart import Floats
from relay.core.release import Kind
from relay.core.wire import BLOCK, WireRecord

MINUTE_S = 60.0  # how often the exact record is sealed
UNIX_S = 1e9  # no clock that counts from a ship's start or a first input gets here
JITTER_S = 2.0  # what a link and a busy machine may add to a sound release's lag; common practice, no source
TETHER_M = 150.0  # how far a vehicle is from her ship, standard deviation; common practice, no source
_SHOWN = 3


@dataclass
class _Told:
    leaks: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    facts: dict[str, float] = field(default_factory=dict)
    logs: list[Floats] = field(default_factory=list)
    place: tuple[float, float] | None = None


class SendTimes:
    """Looks at moments and lengths alone."""

    name = "send times"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return what moments and lengths tell of hidden events, and of the place by way of the ship's track."""
        if not any(dive.records for dive in case.dives):
            return Finding(self.name, "There are no records whose moments could be looked at.", worked=False)
        told = _Told()
        for at, dive in enumerate(case.dives):
            odd = (*_uneven_lag(dive), *_lengths(dive), *_steps(dive), *_heads(dive))
            told.leaks += [f"{dive.name}: {leak}" for leak in odd]
            _left_out(case, dive, told)
            _when(case, dive, told)
            progress("looking at the moments of sending", (at + 1) / len(case.dives))
        known = sum(dive.sent_s is not None for dive in case.dives)
        return Finding(
            self.name,
            " ".join([_summary(known, len(case.dives), told.leaks), *told.words]),
            log_likelihood=None if not told.logs else np.sum(told.logs, axis=0),
            place=told.place,
            leaks=tuple(told.leaks),
            facts={"recordings_with_send_times": known, **told.facts},
        )


def _summary(known: int, dives: int, leaks: list[str]) -> str:
    if not known:
        looked = "Send times weren't given, so lengths and dive times alone were looked at."
    else:
        looked = f"Send times of {known} of {dives} recordings were looked at."
    if leaks:
        return f"{looked} They tell of what isn't shown: {'; '.join(leaks[:_SHOWN])}."
    return f"{looked} Nothing in them depends on what isn't shown."


def _ticks(dive: Dive) -> list[WireRecord]:
    return [record for record in dive.records if record.kind == Kind.TICK]


def _lags(dive: Dive) -> Floats:
    sent = dive.sent_s or ()
    count = min(len(sent), len(dive.records))
    return np.array([sent[at] - float(dive.records[at].elapsed_s) for at in range(count)], dtype=float)


def _uneven_lag(dive: Dive) -> Iterator[str]:
    """Yield what of the lag can't be its constant: what left late together, after a stop, is one event and no leak.

    A stop and what caught up with it shows as records leaving at one moment; anything else is a lag of its own.
    """
    lags = _lags(dive)
    if len(lags) < 3:
        return
    sent = np.array(dive.sent_s, dtype=float)[: len(lags)]
    usual = float(np.median(lags))
    # Records of one moment with different dive times caught up: after a hold, or after the link was away.
    moments = Counter(np.round(sent, 1))
    alone = np.array([moments[moment] == 1 for moment in np.round(sent, 1)])
    odd = (np.abs(lags - usual) > JITTER_S) & alone
    if odd.sum() > max(2, 0.02 * len(lags)):
        at = int(np.argmax(odd))
        yield (
            f"{int(odd.sum())} of {len(lags)} records left with a delay of their own, {np.ptp(lags[odd]):.3g} s apart "
            f"(the first at {clock(float(dive.records[at].elapsed_s))}): what made them leave is no grid of ticks"
        )


def _lengths(dive: Dive) -> Iterator[str]:
    lengths = Counter(len(record.data) for record in _ticks(dive))
    if len(lengths) > 1:
        spread = f"from {min(lengths)} to {max(lengths)} bytes"
        yield f"tick records are of {len(lengths)} lengths, {spread}, and so tell through encryption what they hold"
    ragged = [record for record in dive.records if len(record.data) % BLOCK and record.kind != Kind.TICK]
    if ragged:
        yield f"{len(ragged)} records aren't padded to blocks of {BLOCK} bytes"


def _steps(dive: Dive) -> Iterator[str]:
    tick_s = dive.header.get("tick_s")
    if not isinstance(tick_s, int | float) or tick_s <= 0:
        return
    off = [record for record in dive.records if (float(record.elapsed_s) / tick_s) % 1 > 1e-6]
    if off:
        yield (
            f"{len(off)} records have dive times that are no multiples of the tick, such as "
            f"{float(off[0].elapsed_s):.6g} s: they tell when something came in"
        )


def _heads(dive: Dive) -> Iterator[str]:
    """Yield whether tree heads come otherwise than with the first tick of each minute of dive time.

    Then something else decides when they come. A tick after a gap may bring one or not.
    """
    tick_s = dive.header.get("tick_s")
    headed = {record.elapsed_s for record in dive.records if record.kind == Kind.HEAD}
    if not isinstance(tick_s, int | float) or tick_s <= 0 or not headed:
        return
    ticks = [record.elapsed_s for record in _ticks(dive)]
    if astray := headed.difference(ticks):
        yield f"{len(astray)} tree heads come without a tick (the first at {clock(float(min(astray)))})"
    odd = [
        at_s
        for before_s, at_s in pairwise(ticks)
        if at_s - before_s < 1.5 * tick_s and (at_s in headed) != (at_s // MINUTE_S > before_s // MINUTE_S)
    ]
    if odd:
        yield f"tree heads don't come with the minutes {len(odd)} times (first at {clock(float(odd[0]))})"


def _left_out(case: Case, dive: Dive, told: _Told) -> None:
    """Tell of ticks left out: the vehicle was outside the declared area, so the last place shown is by its edge."""
    tick_s, ticks = dive.header.get("tick_s"), _ticks(dive)
    if not isinstance(tick_s, int | float) or tick_s <= 0:
        return
    gaps = [
        (float(before.elapsed_s), float(after.elapsed_s) - float(before.elapsed_s) - tick_s)
        for before, after in pairwise(ticks)
        if float(after.elapsed_s) - float(before.elapsed_s) > 1.5 * tick_s
    ]
    if not gaps:
        return
    total_s = sum(lasting for _, lasting in gaps)
    told.facts["left_out_s"] = told.facts.get("left_out_s", 0.0) + total_s
    if dive.header.get("area") is None:
        told.leaks.append(
            f"{dive.name}: nothing was sent for {total_s:.0f} s in {len(gaps)} stretches (first at "
            f"{clock(gaps[0][0])}), so silence itself tells when something was hidden"
        )
        return
    told.words.append(
        f"{dive.name} leaves out {total_s:.0f} s at {clock(gaps[0][0])}: a vehicle was outside the declared area, so "
        "it was by its edge just before."
    )
    if case.prior is not None and not case.prior.all():
        told.logs.append(_by_the_edge(case, dive, gaps[0][0]))


def _by_the_edge(case: Case, dive: Dive, last_s: float) -> Floats:
    """Return the log likelihood (rows, columns) of the first place shown when the one at `last_s` was at the edge."""
    assert case.prior is not None
    spacing_m = case.chart.spacing_m
    inward_m = ndimage.distance_transform_edt(np.pad(case.prior, 1), sampling=spacing_m)[1:-1, 1:-1]
    reach_m = max(spacing_m)
    for track in tracks_of(dive):
        shown = track.points[track.placed & (track.elapsed_s <= last_s)]
        if len(shown):
            reach_m += float(np.hypot(*(shown[-1] - shown[0])))
            break
    else:
        reach_m += 1_500.0  # no place is shown: as far as the public's preset shows a track from its start
    beyond_m = np.maximum(0.0, inward_m - reach_m)
    log: Floats = -0.5 * (beyond_m / max(spacing_m)) ** 2
    return log


def _when(case: Case, dive: Dive, told: _Told) -> None:
    """Say when the dive was, where send times are of the wall clock, and where the ship was then."""
    lags, delay = _lags(dive), listed(dive.header.get("delay_s"))
    if not len(lags) or len(delay) != 2 or dive.sent_s is None or min(dive.sent_s) < UNIX_S:
        return
    ticks = [float(record.elapsed_s) for record in _ticks(dive)] or [0.0]
    # Dive time 0 was the lag before its sending; the lag lies between the header's two delays and a tick.
    zero_s = float(np.median(lags))
    earliest = zero_s - float(delay[1]) - float(dive.header.get("tick_s") or 0)
    latest = zero_s - float(delay[0])
    told.facts["dive_known_to_s"] = latest - earliest
    if case.ship is None or not len(case.ship.t_s):
        told.words.append(
            f"Who followed {dive.name} live knows to {max(1.0, (latest - earliest) / 60):.0f} min when it was; with a "
            "track of the ship (AIS) that says where."
        )
        return
    during = (case.ship.t_s >= earliest + ticks[0]) & (case.ship.t_s <= latest + ticks[-1])
    if not during.any():
        told.words.append(f"The ship's track doesn't cover the time of {dive.name}.")
        return
    _beside_the_ship(case, during, told)


def _beside_the_ship(case: Case, during: np.ndarray, told: _Told) -> None:
    assert case.ship is not None
    latitude_deg = case.ship.latitude_deg[during]
    longitude_deg = np.unwrap(case.ship.longitude_deg[during], period=360)
    place = float(np.median(latitude_deg)), float(np.median(longitude_deg))
    # Somewhere along where she was: an even mixture, one part for each of at most 200 fixes.
    chosen = np.unique(np.linspace(0, len(latitude_deg) - 1, 200).astype(int))
    spread_m = float(np.hypot(TETHER_M, max(case.chart.spacing_m) / 2))
    parts = [-0.5 * (apart_m(case.chart, latitude_deg[at], longitude_deg[at]) / spread_m) ** 2 for at in chosen]
    told.logs.append(np.logaddexp.reduce(parts, axis=0))
    told.place = place
    far_m = np.hypot(*(np.ptp(latitude_deg) * 111_320.0, np.ptp(longitude_deg) * 111_320.0))
    told.facts["ship_moved_m"] = float(far_m)
    told.words.append(
        "The moments of sending and the header's delay say when the dive was, and the ship's public track says where "
        f"she was then (within {far_m:.0f} m): no setting of a policy can hide that."
    )
