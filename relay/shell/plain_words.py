"""What a policy means, in words that need no engineer: `offing check` prints them."""

from collections.abc import Iterable

from relay.core.area import ZoneAction
from relay.core.policy import Disclosed, Leg, Place, Plan, Policy, SourcePlan
from relay.shell.quantities import say_duration, say_number

_NAMES = {
    Disclosed.TRACK: "the track",
    Disclosed.DEPTH: "depth",
    Disclosed.ALTITUDE: "height above the seabed",
    Disclosed.HEADING: "heading",
    Disclosed.PITCH: "pitch",
    Disclosed.ROLL: "roll",
    Disclosed.MODE: "whether the vehicle is tethered or autonomous",
    Disclosed.LEG: "the leg of the dive (deck, descent, bottom, ascent)",
    Disclosed.NOTES: "annotations and targets",
    Disclosed.STILLS: "stills (pictures with annotations)",
}
_LEGS = {
    Leg.DECK: "on deck",
    Leg.DESCENT: "on the way down",
    Leg.BOTTOM: "at the bottom",
    Leg.ASCENT: "on the way up",
}


def describe_audience(policy: Policy, is_open: bool, plan: Plan) -> str:
    """Return a paragraph on one audience: who gets in, how late, what they see, how coarse, what they don't see."""
    door = "anyone who has the address" if is_open else "nobody on the public page; its recordings stay aboard"
    lines = [
        f"Audience {policy.audience}",
        f"  Who: {door}.",
        f"  How late: {_late(policy)}",
        f"  How often: one record every {say_duration(policy.tick_us)}, whatever arrives.",
        *(f"  {line}" for line in _seen(policy, plan)),
        f"  Never shown: {_withheld(policy)}.",
    ]
    return "\n".join(lines)


def _late(policy: Policy) -> str:
    delay = f"{say_duration(policy.delay_us)} after it happened" if policy.delay_us else "as it happens"
    if policy.extra_us == 0:
        return f"{delay}."
    return f"{delay}, plus a secret addition of up to {say_duration(policy.extra_us)} drawn anew for each dive."


def _seen(policy: Policy, plan: Plan) -> list[str]:
    lines = [_place(policy, plan)]
    if Disclosed.TRACK in policy.fields and policy.place is Place.LOCAL:
        lines += _track(policy, plan)
    if Disclosed.DEPTH in policy.fields:
        lines.append(_depth(policy))
    if Disclosed.HEADING in policy.fields:
        lines += _heading(policy, plan)
    if Disclosed.ALTITUDE in policy.fields:
        lines.append('Height above the seabed: in words ("on the bottom", "near the bottom", "mid-water").')
    if Disclosed.NOTES in policy.fields:
        lines.append(_notes(policy, plan))
    if Disclosed.STILLS in policy.fields:
        lines.append(_STILLS)
    others = [_NAMES[field] for field in _BRIEF if field in policy.fields]
    if others:
        lines.append(f"Also: {_join(others)}.")
    return lines


_STILLS = (
    "Stills: pictures that the desk sends with an annotation, without their metadata. What can be seen or read in one, "
    "such as a position burned into it, is checked by nobody but whoever sends it."
)
_BRIEF = (Disclosed.PITCH, Disclosed.ROLL, Disclosed.MODE, Disclosed.LEG)


def _place(policy: Policy, plan: Plan) -> str:
    if policy.place is Place.EXACT:
        return "Place: THE EXACT POSITION. Whoever sees this knows where the wreck is."
    area = f'the declared area, "{plan.area.name}", and nothing closer' if plan.area else "not told"
    if policy.place is Place.AREA:
        return f"Place: {area}."
    return (
        f"Place: {area}; the track is moved and turned by a secret, so that it doesn't show where on a chart it lies."
    )


def _track(policy: Policy, plan: Plan) -> list[str]:
    return [f"Track: to the nearest {say_number(policy.cell_m)} m, {_legs(policy)}.", *_bounds(policy, plan)]


def _heading(policy: Policy, plan: Plan) -> list[str]:
    step = f"Heading: in steps of {say_number(policy.heading_step_deg)}°"
    if Disclosed.TRACK in policy.fields:
        return [f"{step}, only while the track is shown."]
    return [f"{step}, {_legs(policy)}, though no track is shown.", *_bounds(policy, plan)]


def _legs(policy: Policy) -> str:
    if policy.track_legs == frozenset(Leg):
        return "the whole dive"
    return _join(_LEGS[leg] for leg in Leg if leg in policy.track_legs) if policy.track_legs else "never"


def _bounds(policy: Policy, plan: Plan) -> list[str]:
    """Return where and when, within its legs, a track (or a heading alone) is shown."""
    lines = []
    if policy.track_start_m or policy.track_start_us:
        lines.append(
            f"  It begins once the vehicle has been at the bottom for {say_duration(policy.track_start_us)} and is "
            f"{say_number(policy.track_start_m)} m from where it arrived."
        )
    if policy.radius_m is not None:
        lines.append(f"  It stops wherever the vehicle is more than {say_number(policy.radius_m)} m from there.")
    if plan.zones:
        lines.append(f"  {_zones(plan)}")
    return lines


def _zones(plan: Plan) -> str:
    """Return what happens to a track in the zones."""
    words = {ZoneAction.WITHHOLD: "is not shown", ZoneAction.FREEZE: "stands still on the page"}
    counts = {action: sum(zone.action is action for zone in plan.zones) for action in words}
    told = [f"{words[action]} in {_count(count, 'zone')}" for action, count in counts.items() if count]
    return f"It {_join(told)}; where a zone ends is blurred by a secret."


def _count(count: int, noun: str) -> str:
    return f"1 {noun}" if count == 1 else f"{count} {noun}s"


def _depth(policy: Policy) -> str:
    step = say_number(policy.depth_step_m)
    if policy.depth_relative:
        return f"Depth: only at the bottom, as metres above or below where it was first reached, to {step} m."
    if policy.descent_step_m is None:
        return f"Depth: to the nearest {step} m."
    return (
        f"Depth: to the nearest {step} m at the bottom, {say_number(policy.descent_step_m)} m on the way down and up."
    )


def _notes(policy: Policy, plan: Plan) -> str:
    if not policy.check_text:
        return "Annotations and targets: all of them, unchecked."
    count = len(plan.forbidden_words)
    forbidden = "your forbidden word" if count == 1 else f"one of your {count} forbidden words"
    words = f", and any that holds {forbidden}" if count else ""
    places = "coordinates, bearings from a named place"
    return f"Annotations and targets: all but those in which a place is found ({places}){words}."


def _withheld(policy: Policy) -> str:
    names = [_NAMES[field] for field in Disclosed if field not in policy.fields]
    if policy.place is not Place.EXACT:
        names += ["latitude", "longitude", "which way is north"]
    return _join([*names, "the date", "the time of day"])


def _join(words: Iterable[str]) -> str:
    texts = list(words)
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def describe_feed(source: SourcePlan, url: str) -> str:
    """Return a line on one feed: format, where from, whose, and what its sounder means."""
    whose = f" for {source.vehicle}" if source.vehicle else ""
    sounder = ""
    if source.format == "nmea0183":
        if source.sounder is None:
            sounder = '; its sounder is passed over (sounder = "altitude" or "depth" says what it means)'
        else:
            sounder = f"; its sounder ({source.sounder_sentence}) gives the vehicle's {source.sounder}"
    standby = f"; it is used only while {source.standby_for} says nothing or stands still" if source.standby_for else ""
    return f"Feed {source.name}: {source.format} from {url}{whose}{sounder}{standby}."


def describe_ground(plan: Plan) -> str:
    """Return a line on the declared area, zones and forbidden words: what stops or hides, for all audiences."""
    area = (
        f'Declared area: "{plan.area.name}"; outside it the release stops.'
        if plan.area
        else ("No declared area: nothing stops the release if a vehicle is somewhere else than you think.")
    )
    return f"{area} Beyond {say_number(plan.site_radius_m / 1000)} km from the site's first fix no track is shown."
