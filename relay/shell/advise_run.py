"""`offing advise` from its files to what it found: expedition, charts, dive, search, comparison.

Rules: randomness from `--seed` alone; what is tried is tried at the same places for every policy. It needs the extra
`audit`.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from relay.audit.advise import Advice, Effort, advise
from relay.audit.attack import Progress
from relay.audit.chart import Chart
from relay.audit.declared import declared_cells
from relay.audit.error_law import learn
from relay.audit.settings import Lattice
from relay.audit.sites import NoRoomForDiveError
from relay.audit.soundings_of import soundings_of
from relay.audit.trial import Ground, matcher
from relay.core.errors import OperatorError
from relay.core.policy import Place, Policy
from relay.shell.advise_dive import read_dive
from relay.shell.audit_case import read_charts
from relay.shell.expedition import Expedition, preset_policy, read_expedition
from relay.shell.quantities import area_km2

MOST_SOUNDINGS, MARGIN_M = 24, 500.0


@dataclass(frozen=True, slots=True)
class Advised:
    """What was asked for and found, of which expedition, on which charts."""

    expedition: Expedition
    policy: Policy
    charts: tuple[Path, ...]
    advice: Advice
    notes: tuple[str, ...]


def run_advise(options: argparse.Namespace, progress: Progress) -> Advised:
    """Search the settings that `options` asks for; OperatorError says what is wrong with what was given."""
    expedition = read_expedition(options.expedition)
    policy = chosen_policy(expedition, options.audience)
    promise_km2 = promised_km2(expedition, policy, options.promise)
    charts = tuple(options.chart) or expedition.audit.charts
    chart = learn(read_charts(charts, options.chart_error), np.random.default_rng(options.seed))
    ground, notes = _ground(options, expedition, chart)
    effort = Effort(places=options.sites, fresh=options.fresh, most=options.most)
    try:
        advice = advise(ground, policy, promise_km2, Lattice().settings_for(policy), effort, by_hand(policy), progress)
    except NoRoomForDiveError as error:
        raise OperatorError(str(error)) from error
    return Advised(expedition, policy, charts, advice, notes)


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


def _ground(options: argparse.Namespace, expedition: Expedition, chart: Chart) -> tuple[Ground, tuple[str, ...]]:
    area, notes = expedition.plan.area, list[str]()
    where = chart.candidates
    if area is None:
        notes.append(f"{expedition.path} declares no area ([area]): all of the chart is searched")
    else:
        where = where & declared_cells(chart, area)
        if not where.any():
            raise OperatorError(f"{chart.name} has no water in the declared area {area.name!r}: give a chart of it")
    tile_m, journey = min(chart.spacing_m) / 3, read_dive(options.dive, expedition)
    ground = Ground(
        chart,
        where,
        journey,
        read=lambda dive: soundings_of([dive], most=MOST_SOUNDINGS, tile_m=tile_m),
        match=matcher(chart, where, 2 * journey.reach_m + MARGIN_M, options.turns),
        seed=options.seed,
    )
    return ground, tuple(notes)
