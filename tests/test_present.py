"""The dive that is under way now, held against an audience that has no delay."""

import random
from dataclasses import replace

import pytest

from dives import SECOND, SECRETS, decided, in_order, message, plan, policy, rows
from relay.core.decision import Begin, Decision, End
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import DiveLimits

BY_DEPTH = DiveLimits(begin_depth_m=5.0, quiet_us=20 * SECOND, surfaced_us=8 * SECOND)
BY_REPORT = DiveLimits(begin_depth_m=None, quiet_us=20 * SECOND, surfaced_us=8 * SECOND)
LONG_S = 240


def day(seed: int) -> list[Row]:
    """Return four minutes of a vehicle that goes up and down and falls silent, and of an operator's begin and end."""
    chance = random.Random(seed)
    told, at_s, depth_m = [], 0.5, 0.0
    while at_s < LONG_S:
        depth_m = max(0.0, depth_m + chance.choice([-6.0, -2.0, 0.0, 2.0, 6.0]))
        step = {"east": 0.0, "north": 0.0, "depth": depth_m, "altitude": 50.0, "heading": 0.0}
        told.append((round(at_s * SECOND), message(step, (-38.6, -21.9))))
        at_s += 45.0 if chance.random() < 0.02 else chance.uniform(0.2, 2.0)
    decisions: list[Decision] = [Begin(), End()]
    by_hand = [decided(chance.randrange(LONG_S * SECOND), chance.choice(decisions)) for _ in range(chance.randrange(6))]
    return in_order(rows(told), by_hand)


@pytest.mark.parametrize("limits", [BY_DEPTH, BY_REPORT], ids=["by-depth", "by-report"])
def test_dive_is_under_way_when_an_audience_without_a_delay_has_one(limits: DiveLimits) -> None:
    """At every second of 60 random days of each kind."""
    seen = set()
    for seed in range(60):
        prompt = plan(policy(delay_us=0, extra_us=0, tick_us=SECOND), dive=limits)
        pipeline, journal = Pipeline(prompt, SECRETS), day(seed)
        for second in range(1, LONG_S):
            while journal and journal[0].embargo_us <= second * SECOND:
                pipeline.receive(journal.pop(0))
            pipeline.advance(second * SECOND)
            shown = pipeline.channels[0].under_way
            assert pipeline.present.under_way(second * SECOND) is shown, (seed, second)
            seen.add(shown)
    assert seen == {True, False}


def test_what_the_operator_began_is_under_way_at_once() -> None:
    """Whoever begins a dive may annotate it in the same second."""
    pipeline = Pipeline(plan(dive=BY_DEPTH), SECRETS)
    for seq, at_us, decision, under_way in (
        (1, 3_100_000, Begin(), True),
        (2, 3_200_000, End(), False),
        (3, 3_300_000, Begin(), True),
    ):
        pipeline.receive(replace(decided(at_us, decision), seq=seq))
        assert pipeline.present.under_way(at_us) is under_way
