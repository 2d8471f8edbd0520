"""The settings of a policy that decide what it gives away, from coarse to fine, and how much a follower gets of each.

Rules: a choice further on in its row shows more; `ranks` orders settings in each part by itself, and whatever is at
least as fine in every part gives away at least as much. `detail` counts doublings, so that a step finer is worth the
same wherever it is taken; it knows of no place, and says nothing of what is given away. What an audience isn't told at
all it isn't told with any settings.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import product
from math import inf, log2

from relay.core.policy import MICROSECONDS, Disclosed, Leg, Place, Policy

BOTTOM = frozenset({Leg.BOTTOM})
THROUGH_THE_WATER = frozenset({Leg.DESCENT, Leg.BOTTOM, Leg.ASCENT})
SITE_RADIUS_M = 20_000.0

DETAIL_IN_WORDS = """\
Detail counts doublings. A point is: a tick half as long; depth in steps half as high, once for the bottom and once for
the way there (relative depth has the first alone); a radius twice as far; heading, pitch or roll in steps half as
wide; one more leg with a track; or the mode, the leg, annotations or stills at all. A cell half as wide is two points,
one for each direction; the height in three words is 1.6. Where a track starts later or farther off, that takes away."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What `advise` may choose: seconds, metres; None: depth withheld, descent as the bottom, no radius."""

    tick_s: int
    cell_m: float
    depth_step_m: float | None
    relative: bool
    descent_step_m: float | None
    altitude: bool
    legs: frozenset[Leg]
    radius_m: float | None

    @property
    def ranks(self) -> tuple[float, ...]:
        """Return how fine each part is; more is finer."""
        bottom = -inf if self.depth_step_m is None else -self.depth_step_m
        through = -inf if self.relative or self.depth_step_m is None else -(self.descent_step_m or self.depth_step_m)
        absolute = float(self.depth_step_m is not None and not self.relative)
        reach = min(self.radius_m or SITE_RADIUS_M, SITE_RADIUS_M)
        return -self.tick_s, -self.cell_m, bottom, absolute, through, self.altitude, len(self.legs), reach

    def at_least(self, other: "Settings") -> bool:
        """Return whether no part of these is coarser than the other's: they give away as much, or more."""
        return all(mine >= theirs for mine, theirs in zip(self.ranks, other.ranks, strict=True))


@dataclass(frozen=True, slots=True)
class Lattice:
    """The choices of each part, coarsest first; what can't stand together in a policy is left out."""

    tick_s: tuple[int, ...] = (60, 30, 15, 5, 2)
    cell_m: tuple[float, ...] = (100.0, 50.0, 25.0, 10.0, 5.0)
    depth_step_m: tuple[float | None, ...] = (None, 500.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5)
    relative: tuple[bool, ...] = (True, False)
    descent_step_m: tuple[float | None, ...] = (None, 50.0, 10.0)
    altitude: tuple[bool, ...] = (False, True)
    legs: tuple[frozenset[Leg], ...] = (BOTTOM, THROUGH_THE_WATER)
    radius_m: tuple[float | None, ...] = (250.0, 500.0, 1500.0, 5000.0, None)

    def settings_for(self, policy: Policy, by_hand: Iterable[Policy] = ()) -> list[Settings]:
        """Return all settings that can stand in a policy, coarsest first; its own among them.

        What the policy and others made `by_hand` have in a part is a choice there, too, with all of the other parts'.
        """
        own = settings_of(policy)
        made = [own, *map(settings_of, by_hand)]
        choices = {
            name: tuple(dict.fromkeys([*getattr(self, name), *(getattr(one, name) for one in made)]))
            for name in self.__slots__
        }
        if Disclosed.DEPTH not in policy.fields:
            choices |= {"depth_step_m": (None,), "relative": (False,), "descent_step_m": (None,)}
        if Disclosed.ALTITUDE not in policy.fields:
            choices["altitude"] = (False,)
        if Disclosed.TRACK not in policy.fields or policy.place is Place.AREA:
            choices |= {name: (getattr(own, name),) for name in ("cell_m", "legs", "radius_m")}
        found = {one for row in product(*choices.values()) if _can_stand(one := Settings(*row), policy)}
        return sorted(found | {own}, key=lambda one: (detail(applied(one, policy)), one.ranks))


def _can_stand(one: Settings, policy: Policy) -> bool:
    """Return whether the expedition file would take them together, and no other settings say the same."""
    if one.depth_step_m is None and (one.relative or one.descent_step_m is not None):
        return False
    if one.descent_step_m is not None and (one.relative or one.descent_step_m >= (one.depth_step_m or 0.0)):
        return False
    if one.radius_m is not None and (one.radius_m < 2 * one.cell_m or policy.track_start_m >= one.radius_m):
        return False
    return policy.extra_us == 0 or policy.extra_us >= one.tick_s * MICROSECONDS


def settings_of(policy: Policy) -> Settings:
    """Return the settings that a policy has."""
    told = Disclosed.DEPTH in policy.fields
    same = policy.descent_step_m is None or policy.descent_step_m >= policy.depth_step_m
    return Settings(
        tick_s=policy.tick_us // MICROSECONDS,
        cell_m=policy.cell_m,
        depth_step_m=policy.depth_step_m if told else None,
        relative=policy.depth_relative and told,
        descent_step_m=None if same or policy.depth_relative or not told else policy.descent_step_m,
        altitude=Disclosed.ALTITUDE in policy.fields,
        legs=policy.track_legs,
        radius_m=policy.radius_m,
    )


def applied(settings: Settings, policy: Policy) -> Policy:
    """Return the policy with these settings; what they don't name stays as it is."""
    fields = set(policy.fields)
    for field, told in ((Disclosed.DEPTH, settings.depth_step_m is not None), (Disclosed.ALTITUDE, settings.altitude)):
        (fields.add if told else fields.discard)(field)
    return replace(
        policy,
        fields=frozenset(fields),
        tick_us=settings.tick_s * MICROSECONDS,
        cell_m=settings.cell_m,
        depth_step_m=settings.depth_step_m or policy.depth_step_m,
        depth_relative=settings.relative,
        descent_step_m=settings.descent_step_m,
        track_legs=settings.legs,
        radius_m=settings.radius_m,
    )


def detail(policy: Policy) -> float:
    """Return how much a follower gets of a dive, in doublings; `DETAIL_IN_WORDS` says what counts how much."""
    named = policy.fields
    points = log2(600 * MICROSECONDS / policy.tick_us)
    points += sum(field in named for field in (Disclosed.MODE, Disclosed.LEG, Disclosed.NOTES, Disclosed.STILLS))
    points += sum(log2(180 / policy.tilt_step_deg) for tilt in (Disclosed.PITCH, Disclosed.ROLL) if tilt in named)
    points += log2(3) if Disclosed.ALTITUDE in named else 0.0
    if Disclosed.DEPTH in named:
        points += log2(5_000 / policy.depth_step_m)
        through_m = policy.descent_step_m or policy.depth_step_m
        points += 0.0 if policy.depth_relative else log2(5_000 / through_m)
    return points + (0.0 if policy.place is Place.AREA else sum(_of_track(policy)))


def _of_track(policy: Policy) -> Iterator[float]:
    if Disclosed.HEADING in policy.fields:
        yield log2(360 / policy.heading_step_deg)
    if Disclosed.TRACK in policy.fields:
        yield 2 * log2(100_000 / (min(policy.cell_m, 1.0) if policy.place is Place.EXACT else policy.cell_m))
        yield log2(min(policy.radius_m or SITE_RADIUS_M, SITE_RADIUS_M) / 10)
        yield len(policy.track_legs)
        yield -log2(1 + policy.track_start_m / 25) - log2(1 + policy.track_start_us / (60 * MICROSECONDS))
