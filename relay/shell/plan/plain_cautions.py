"""What an expedition file allows that its operator should know of: said by `offing check` and when the relay starts.

A caution stops nothing: it is about what is allowed and may give more away than meant. Its limits are judgements, and
the public preset keeps to all of them.
"""

from collections.abc import Iterator

from relay.core.area import Lies, where_lies
from relay.core.notices import ADVISED_DELAY_US
from relay.core.place_in_text import Notation, find_places
from relay.core.policy import Disclosed, Leg, Place, Plan, Policy
from relay.shell.plan.expedition import Expedition
from relay.shell.plan.plain_words import join_words
from relay.shell.plan.quantities import say_duration, say_length, say_number

ADVISED_CELL_M = 10.0
ADVISED_STEP_M = 5.0
ADVISED_BOTTOM_STEP_M = 50.0
SMALL_AREA_M = 10_000.0


def cautions(expedition: Expedition) -> list[str]:
    """Return what to think twice about, a line each; empty where there is nothing."""
    return [*_general(expedition), *_of_audiences(expedition)]


def _general(expedition: Expedition) -> Iterator[str]:
    plan = expedition.plan
    if not expedition.open_audiences:
        yield "no audience is open, so the public page shows nothing."
    if len(expedition.open_audiences) > 1:
        names = [policy.audience for policy in plan.policies if policy.audience in expedition.open_audiences]
        yield (
            f"{join_words(names)} are all open: a stranger can choose any of them on the page "
            f"(?audience={names[-1]}). So the world is only as late as the quickest, {_quickest(expedition)}, and sees "
            "whatever one of them shows."
        )
    for what, name in _names(expedition):
        for finding in find_places(name)[:1]:
            yield f'followers read the name of {what}, "{name}": {finding.why}'
    if plan.area is not None:  # its name is the one place that is told on purpose, but not a bearing from it
        for finding in find_places(plan.area.name):
            if finding.notation is Notation.FROM_A_PLACE:
                yield f'followers read the name of the declared area, "{plan.area.name}": {finding.why}'
    if plan.area is not None and plan.area.radius_m is not None and plan.area.radius_m < SMALL_AREA_M:
        small = say_length(plan.area.radius_m)
        yield f"the declared area reaches {small} only: it tells the place to {small}, and beyond it everything stops."
    yield from _untold(plan)
    for zone in plan.zones:
        if plan.area is not None and where_lies(zone, plan.area) is Lies.ACROSS:
            yield f'zone "{zone.name}" reaches beyond the declared area: the edge of the area shows where it is.'


def _quickest(expedition: Expedition) -> str:
    policies = [policy for policy in expedition.plan.policies if policy.audience in expedition.open_audiences]
    first = min(policies, key=lambda policy: policy.delay_us)
    return f"{first.audience} ({say_duration(first.delay_us)})"


def _untold(plan: Plan) -> Iterator[str]:
    """Say of which vehicles nothing can tell a depth or height, though it may be meant to."""
    for name in plan.vehicles:
        feeds = [source for source in plan.sources if source.vehicle in (name, None)]
        if feeds and all(source.format == "nmea0183" and source.sounder is None for source in feeds):
            yield f'no feed tells depth or height of {name}: sounder = "altitude" or "depth" in its feed would.'


def _names(expedition: Expedition) -> Iterator[tuple[str, str]]:
    yield "the expedition", expedition.plan.expedition
    yield "the ship", expedition.ship


def _of_audiences(expedition: Expedition) -> Iterator[str]:
    for policy in expedition.plan.policies:
        is_shown = policy.audience in expedition.open_audiences | expedition.invited_audiences
        for words in _of_open(policy) if is_shown else _of_closed(policy, expedition.plan):
            yield f"{policy.audience}: {words}"


def _of_open(policy: Policy) -> Iterator[str]:
    """Say what anyone may make of an open audience's policy, and whoever has got hold of a link of an invited one's."""
    if policy.delay_us < ADVISED_DELAY_US:
        late, advised = say_duration(policy.delay_us), say_duration(ADVISED_DELAY_US)
        yield (
            f"{late} is a short delay: whoever sees the ship, or her AIS, while she still lies there knows the place. "
            f"{advised} or more is advised."
        )
    if policy.extra_us == 0:
        yield 'without a secret addition the delay is known to the second: set extra, such as extra = "10 min".'
    shown = Disclosed.TRACK in policy.fields and policy.place is Place.LOCAL
    if shown and policy.cell_m < ADVISED_CELL_M:
        yield (
            f"positions to {say_number(policy.cell_m)} m show every turn of the vehicle, and so the shape of what it "
            f'circles: cell = "{say_number(ADVISED_CELL_M)} m" or more is advised.'
        )
    if shown and policy.radius_m is None:
        yield 'the shape of a long run can be looked for on charts: set a radius, such as radius = "1500 m".'
    if shown and policy.track_legs - {Leg.BOTTOM}:
        yield "the track is shown away from the bottom, too: it drifts with tide and current, which can be looked up."
    if shown and not policy.track_start_us and not policy.track_start_m:
        yield (
            "the track begins where the vehicle touches down, below where the ship lay: set track_start_after, such as "
            'track_start_after = "10 min", and track_start = "100 m".'
        )
    if Disclosed.DEPTH in policy.fields and not policy.depth_relative:
        yield from _of_depth(policy)


def _of_depth(policy: Policy) -> Iterator[str]:
    if policy.depth_step_m < ADVISED_BOTTOM_STEP_M:
        yield (
            f"depth at the bottom in steps of {say_number(policy.depth_step_m)} m lets a stranger look for the place "
            f'on a chart of depths. Advised is depth_step = "{say_number(ADVISED_BOTTOM_STEP_M)} m" or more with a '
            'finer descent_step, as in preset = "public"; or depth = "relative", which tells only how far above or '
            "below where the bottom was first reached."
        )
    elif policy.descent_step_m is not None and policy.descent_step_m < ADVISED_STEP_M:
        yield (
            f"depth in steps of {say_number(policy.descent_step_m)} m on the way down tells to that where the bottom "
            f'is: descent_step = "{say_number(ADVISED_STEP_M)} m" or more is advised.'
        )


def _of_closed(policy: Policy, plan: Plan) -> Iterator[str]:
    if Disclosed.NOTES not in policy.fields or policy.check_text:
        return
    if policy.place is not Place.EXACT:
        yield "its annotations are not checked, so a position written in one reaches it, and a forbidden word, too."
    elif plan.forbidden_words:
        yield "its annotations are not checked, so your forbidden words can reach it."
