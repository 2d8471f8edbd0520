"""Settings and their detail: finer is more, in every part; what the file says of a policy comes back."""

from dataclasses import replace
from itertools import product
from math import log2

import numpy as np
import pytest

from relay.audit.advising.settings import BOTTOM, Lattice, Settings, applied, detail, settings_of
from relay.core.policy import MICROSECONDS, Disclosed, Leg, Place, Policy
from relay.shell.plan.expedition import preset_policy

PUBLIC, FUNDERS, HERITAGE = (preset_policy(name, "somebody") for name in ("public", "funders", "heritage"))
SMALL = Lattice(
    tick_s=(60, 15, 2),
    cell_m=(100.0, 25.0),
    depth_step_m=(None, 50.0, 10.0, 1.0),
    descent_step_m=(None, 10.0),
    radius_m=(500.0, 1500.0, None),
)


@pytest.mark.parametrize("policy", [PUBLIC, FUNDERS], ids=["public", "funders"])
def test_finer_settings_have_more_detail(policy: Policy) -> None:
    """Whatever is at least as fine in every part, and finer in one, has more detail: for all pairs of a lattice."""
    settings = SMALL.settings_for(policy)
    ranks = np.array([one.ranks for one in settings])
    details = np.array([detail(applied(one, policy)) for one in settings])
    pairs = 0
    for at, rank in enumerate(ranks):
        finer = (ranks >= rank).all(axis=1) & (ranks > rank).any(axis=1)
        assert (details[finer] > details[at]).all(), settings[at]
        pairs += int(finer.sum())
    assert pairs > 10_000


@pytest.mark.parametrize("policy", [PUBLIC, FUNDERS, HERITAGE], ids=["public", "funders", "heritage"])
def test_detail_counts_as_its_words_say(policy: Policy) -> None:
    """A point for half a tick, two for half a cell, one for each leg and field, more for the height in words."""
    base = detail(policy)
    assert detail(replace(policy, tick_us=2 * policy.tick_us)) == pytest.approx(base - 1)
    if policy.place is Place.LOCAL:
        assert detail(replace(policy, cell_m=policy.cell_m / 2)) == pytest.approx(base + 2)
    steps = 1 if policy.descent_step_m is not None else 2
    assert detail(replace(policy, depth_step_m=policy.depth_step_m / 2)) == pytest.approx(base + steps)
    assert detail(replace(policy, fields=policy.fields - {Disclosed.MODE})) == pytest.approx(base - 1)
    assert detail(replace(policy, fields=policy.fields - {Disclosed.ALTITUDE})) == pytest.approx(base - log2(3))
    assert detail(replace(policy, heading_step_deg=policy.heading_step_deg / 2)) == pytest.approx(base + 1)
    legs = policy.track_legs | {Leg.ASCENT}
    assert detail(replace(policy, track_legs=legs)) == pytest.approx(base + len(legs) - len(policy.track_legs))
    assert detail(replace(policy, track_start_m=policy.track_start_m + 50)) < base
    assert detail(replace(policy, track_start_us=policy.track_start_us + 60 * MICROSECONDS)) < base


def test_presets_are_ordered_by_detail() -> None:
    """The public is shown least, whoever is trusted with the place most."""
    assert detail(PUBLIC) < detail(FUNDERS) < detail(HERITAGE)


def test_relative_depth_shows_less_than_absolute() -> None:
    """The way down is not shown with relative depth, so at any step there is less of it."""
    for step, descent in product((1.0, 20.0, 200.0), (None, 10.0)):
        absolute = Settings(15, 25.0, step, False, descent if (descent or 0) < step else None, True, BOTTOM, None)
        relative = replace(absolute, relative=True, descent_step_m=None)
        assert absolute.at_least(relative) and not relative.at_least(absolute)
        assert detail(applied(absolute, PUBLIC)) > detail(applied(relative, PUBLIC))


@pytest.mark.parametrize("policy", [PUBLIC, FUNDERS], ids=["public", "funders"])
def test_settings_come_back_from_the_policy(policy: Policy) -> None:
    """Each settings of a lattice, put into a policy and read from it, are themselves; the policy's own are there."""
    settings = SMALL.settings_for(policy)
    assert settings_of(policy) in settings
    assert len(set(settings)) == len(settings)
    for one in settings:
        assert settings_of(applied(one, policy)).ranks == one.ranks


def test_rest_of_the_policy_stays() -> None:
    """Delay, names and fields of which nothing is chosen are as they were."""
    one = SMALL.settings_for(PUBLIC)[0]
    after = applied(one, PUBLIC)
    assert (after.delay_us, after.extra_us, after.track_start_m) == (PUBLIC.delay_us, PUBLIC.extra_us, 100.0)
    assert after.fields | {Disclosed.DEPTH, Disclosed.ALTITUDE} == PUBLIC.fields


def test_coarsest_settings_are_first() -> None:
    """Every other settings is at least as fine in every part as the first."""
    settings = Lattice().settings_for(PUBLIC)
    assert all(one.at_least(settings[0]) for one in settings)
    assert settings[0].depth_step_m is None


@pytest.mark.parametrize(
    ("taken", "part", "value"),
    [
        ({Disclosed.DEPTH}, "depth_step_m", None),
        ({Disclosed.ALTITUDE}, "altitude", False),
        ({Disclosed.TRACK}, "cell_m", 25.0),
    ],
)
def test_what_is_not_told_stays_untold(taken: set[Disclosed], part: str, value: object) -> None:
    """An audience that the operator gives no depth, height or track is advised none."""
    policy = replace(PUBLIC, fields=PUBLIC.fields - taken)
    settings = SMALL.settings_for(policy)
    assert {getattr(one, part) for one in settings} == {value}
    assert all(applied(one, policy).fields <= policy.fields for one in settings)


def test_no_settings_that_the_file_would_refuse() -> None:
    """A radius holds two cells and the start of the track; the secret extra is a tick at least."""
    policy = replace(PUBLIC, track_start_m=600.0, extra_us=20 * MICROSECONDS, radius_m=None, tick_us=15 * MICROSECONDS)
    settings = Lattice().settings_for(policy)
    assert all(one.radius_m is None or one.radius_m >= max(600.1, 2 * one.cell_m) for one in settings)
    assert all(one.tick_s <= 20 for one in settings)
