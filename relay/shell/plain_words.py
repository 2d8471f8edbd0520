"""What a policy means, in words that need no engineer: `offing check` prints them."""

from relay.core.policy import Disclosed, Leg, Plan, Policy, SourcePlan
from relay.shell.quantities import say_duration, say_number

_NAMES = {
    Disclosed.TRACK: "the track",
    Disclosed.DEPTH: "depth",
    Disclosed.ALTITUDE: "height above the seabed in words",
    Disclosed.HEADING: "heading",
    Disclosed.PITCH: "pitch",
    Disclosed.ROLL: "roll",
    Disclosed.MODE: "whether the vehicle is tethered or autonomous",
    Disclosed.LEG: "the leg of the dive",
    Disclosed.NOTES: "annotations",
}


def describe_audience(policy: Policy, is_open: bool, plan: Plan) -> str:
    """Return a paragraph on one audience: who gets in, how late, what they see, how coarse, what they don't see."""
    door = "open to anyone who has the address" if is_open else "not reachable on the public page"
    lines = [
        f"{policy.audience} ({door})",
        f"  How late: {_late(policy)}",
        f"  How often: one record every {say_duration(policy.tick_us)}, whatever arrives.",
        *(f"  {line}" for line in _seen(policy)),
        f"  Never shown: {_withheld(policy)}latitude, longitude, north, the date, the time of day.",
    ]
    return "\n".join(lines)


def _late(policy: Policy) -> str:
    if policy.extra_us == 0:
        return f"{say_duration(policy.delay_us)} after it happened."
    return (
        f"{say_duration(policy.delay_us)} after it happened, plus a secret addition of up to "
        f"{say_duration(policy.extra_us)} that is drawn anew for each dive."
    )


def _seen(policy: Policy) -> list[str]:
    lines = []
    if Disclosed.TRACK in policy.fields:
        legs = "the whole dive" if policy.track_legs == frozenset(Leg) else _join(sorted(policy.track_legs))
        lines.append(
            f"Track: in cells of {say_number(policy.cell_m)} m, in a frame without a place (shifted and turned by a "
            f"secret), during {legs}."
        )
    if Disclosed.DEPTH in policy.fields:
        lines.append(f"Depth: in steps of {say_number(policy.depth_step_m)} m.")
    if Disclosed.HEADING in policy.fields:
        lines.append(f"Heading: in steps of {say_number(policy.heading_step_deg)}°, turned with the track.")
    others = [_NAMES[field] for field in Disclosed if field in policy.fields and field not in _EXPLAINED]
    if others:
        lines.append(f"Also: {_join(others)}.")
    return lines


_EXPLAINED = (Disclosed.TRACK, Disclosed.DEPTH, Disclosed.HEADING)


def _withheld(policy: Policy) -> str:
    names = [_NAMES[field] for field in Disclosed if field not in policy.fields]
    return "".join(f"{name}, " for name in names)


def _join(words: list[str]) -> str:
    texts = [str(word) for word in words]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def describe_feed(source: SourcePlan, url: str) -> str:
    """Return a line on one feed: format, where from, whose, and what its sounder means."""
    whose = f" for {source.vehicle}" if source.vehicle else ""
    sounder = ""
    if source.format == "nmea0183":
        if source.sounder is None:
            sounder = '; its sounder is passed over (say sounder = "altitude" or "depth" to use it)'
        else:
            sounder = f"; its sounder ({source.sounder_sentence}) gives the vehicle's {source.sounder}"
    return f"Feed {source.name}: {source.format} from {url}{whose}{sounder}."
