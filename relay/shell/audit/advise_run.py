"""`offing advise` from its files to what it found: expedition, charts, dive, search, comparison.

Rules: randomness from `--seed` alone; what is tried is tried at the same places for every policy. It needs the extra
`audit`.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from relay.audit.advising.advise import Advice, Effort, advise
from relay.audit.advising.journey import Journey
from relay.audit.advising.settings import Lattice
from relay.audit.advising.sites import NoRoomForDiveError
from relay.audit.advising.told import SINK_MPS
from relay.audit.advising.trial import Kept, Proving, matcher
from relay.audit.attacks.attack import Case, Progress, ShipTrack
from relay.audit.attacks.ship_alignment import reach_m
from relay.audit.attacks.ship_path import ShipPath
from relay.audit.charts.chart import Chart, Mask
from relay.audit.charts.chart_files import read_chart
from relay.audit.declared import declared_cells
from relay.audit.matching.known_seabed import KnownSeabed, known_seabed
from relay.audit.matching.soundings_of import soundings_of
from relay.core.errors import OperatorError
from relay.core.policy import Place, Policy
from relay.shell.audit.advise_dive import read_dive
from relay.shell.audit.audit_case import read_charts
from relay.shell.audit.ship_track_file import read_ship_track
from relay.shell.plan.expedition import Expedition, preset_policy, read_expedition
from relay.shell.plan.quantities import area_km2
from relay.shell.ship.audit_result import Audited, Digests, chart_digest, digests_of

MOST_SOUNDINGS, MARGIN_M = 24, 500.0


@dataclass(frozen=True, slots=True)
class Advised:
    """What was asked for and found, of which expedition, on which charts; `files`: as they were
    before; `seabed`: what levels were found on.
    """

    expedition: Expedition
    policy: Policy
    charts: tuple[Path, ...]
    advice: Advice
    ground: Proving
    files: Digests
    seabed: str
    notes: tuple[str, ...]


def run_advise(options: argparse.Namespace, progress: Progress) -> Advised:
    """Search the settings that `options` asks for; OperatorError says what is wrong with what was given."""
    expedition = read_expedition(options.expedition)
    policy = chosen_policy(expedition, options.audience)
    promise_km2 = promised_km2(expedition, policy, options.promise)
    charts = tuple(options.chart) or expedition.audit.charts
    files = digests_of(expedition) if options.write else Digests((), "")
    seabed = seabed_of(charts, None, options.chart_error, options.seed)
    ground, notes = ground_of(options, expedition, seabed)
    effort = Effort(places=options.sites, fresh=options.fresh, most=options.most)
    try:
        made = by_hand(policy)
        settings = Lattice().settings_for(policy, made.values())
        advice = advise(ground, policy, promise_km2, settings, effort, made, progress)
    except NoRoomForDiveError as error:
        raise OperatorError(str(error)) from error
    return Advised(expedition, policy, charts, advice, ground, files, seabed.words, notes)


def seabed_of(charts: Sequence[Path], finer: Path | None, factor: float, seed: int) -> KnownSeabed:
    """Return the charts as an outsider has them, their errors learnt, and a known seabed to try the match on.

    `factor`: how many times what was learnt they are wrong.
    """
    if not factor > 0:
        raise OperatorError(f"--chart-error {factor}: how many times its own error the chart is off")
    chart, seabed = read_charts(charts), None if finer is None else read_chart(finer)
    try:
        return known_seabed(chart, np.random.default_rng(seed), seabed, factor)
    except ValueError as error:
        raise OperatorError(f"{error}: give a chart with water, and a seabed (--seabed) of the same place") from error


def result_of(
    options: argparse.Namespace, expedition: Expedition, ground: Proving, audience: str, kept: Kept, level_on: str
) -> Audited:
    """Return what an audit found as it is kept for the gate; `level_on`: the known seabed, in words."""
    calibration, dive = kept.calibration, options.dive
    assert calibration is not None, "an audit is calibrated where it is made"
    return Audited(
        audience=audience,
        low_km2=kept.fifth_km2,
        level=calibration.level,
        covered=calibration.covered,
        sites=len(kept.left),
        turns=options.turns,
        seed=options.seed,
        dive="the invented dive of three hours" if dive is None else f"the dive in {dive.name}, as it is shown there",
        dive_sha256="" if dive is None else chart_digest(dive, "recording"),
        seabed=level_on,
        floor_km2=floor_km2(expedition, ground),
    )


def floor_km2(expedition: Expedition, ground: Proving) -> float | None:
    """Return what the ship's own track leaves by itself of a dive as long, within the area.

    None where the file names no track, or she never lay still for so long in the area.
    """
    if expedition.audit.ship_track is None:
        return None
    ship = _within(read_ship_track(expedition.audit.ship_track), ground.chart, ground.where)
    try:
        path = ShipPath.of(ship)
    except ValueError:
        return None
    depth_m = float(np.median(ground.chart.depth_m[ground.where]))
    seconds = float(ground.journey.t_s[-1]) + 2 * depth_m / SINK_MPS
    floor, stays = path.floor_km2(seconds, reach_m(Case(ground.chart, (), ground.where, ship)))
    return floor if stays else None


def _within(ship: ShipTrack, chart: Chart, where: Mask) -> ShipTrack:
    """Return the fixes in the area: an outsider doesn't look where no dive is admitted to be."""
    places = zip(ship.latitude_deg.tolist(), ship.longitude_deg.tolist(), strict=True)
    cells = [chart.index(*place) for place in places]
    inside = np.array([cell is not None and bool(where[cell]) for cell in cells], dtype=bool)
    return ShipTrack(ship.t_s[inside], ship.latitude_deg[inside], ship.longitude_deg[inside])


def by_hand(policy: Policy) -> dict[str, Policy]:
    """Return the policies to compare with: the audience's own, and the presets that tell no exact place."""
    presets = {f'preset = "{name}"': preset_policy(name, policy.audience) for name in ("public", "funders")}
    return {"as it is now": policy, **presets}


def chosen_policy(expedition: Expedition, audience: str | None) -> Policy:
    """Return the policy of an audience; by default of the only one with a promise, or of the only one."""
    policies = {policy.audience: policy for policy in expedition.plan.policies}
    promised = [name for name in policies if name in expedition.audit.promises]
    if audience is None:
        likely = promised if len(promised) == 1 else list(policies)
        if len(likely) != 1:
            raise OperatorError(f"say whose policy: --audience, one of {', '.join(policies)}")
        audience = likely[0]
    if audience not in policies:
        raise OperatorError(f"--audience {audience}: {expedition.path} has {', '.join(policies)}")
    if policies[audience].place is Place.EXACT:
        raise OperatorError(f'{audience} is told exact places (place = "exact"): no settings leave anything to search')
    return policies[audience]


def promised_km2(expedition: Expedition, policy: Policy, given: str | None) -> float:
    """Return the area that must be left: the one given, or the file's."""
    if given is None:
        if policy.audience not in expedition.audit.promises:
            raise OperatorError(f'say what must be left of {policy.audience}\'s search: --promise "87 km2"')
        return expedition.audit.promises[policy.audience]
    try:
        promise_km2 = area_km2(given)
    except ValueError as error:
        raise OperatorError(f"--promise: {error}") from error
    if promise_km2 <= 0:
        raise OperatorError("--promise: an area of more than nothing must be left, such as 87 km2")
    return promise_km2


def ground_of(
    options: argparse.Namespace, expedition: Expedition, seabed: KnownSeabed
) -> tuple[Proving, tuple[str, ...]]:
    """Return where dives are tried, and with what an outsider looks for them; and what is to be said of the area."""
    chart, area, notes = seabed.chart, expedition.plan.area, list[str]()
    where = chart.candidates
    if area is None:
        notes.append(f"{expedition.path} declares no area ([area]): all of the chart is searched")
    else:
        where = where & declared_cells(chart, area)
        if not where.any():
            raise OperatorError(f"{chart.name} has no water in the declared area {area.name!r}: give a chart of it")
    journey, legs = read_dive(options.dive, expedition), expedition.plan.legs
    tried = seabed.where(where)
    assert tried is not None
    tried = tried & seabed.tried.candidates
    if not tried.any():
        raise OperatorError(f"{chart.name} has too few nodes in the declared area to try the match: give a finer chart")
    known = replace(_ground(seabed.tried, tried, journey, options), truth=seabed.truth, legs=legs)
    return replace(_ground(chart, where, journey, options), legs=legs, known=known), tuple(notes)


def _ground(chart: Chart, where: Mask, journey: Journey, options: argparse.Namespace) -> Proving:
    tile_m = min(chart.spacing_m) / 3
    return Proving(
        chart,
        where,
        journey,
        read=lambda dive: soundings_of([dive], most=MOST_SOUNDINGS, tile_m=tile_m),
        match=matcher(chart, where, 2 * journey.reach_m + MARGIN_M, options.turns),
        seed=options.seed,
    )
