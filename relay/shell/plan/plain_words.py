"""What an audience's policy means, in words that need no engineer: `offing check` prints them."""

from collections.abc import Iterable

from relay.core.area import ZoneAction
from relay.core.disclosure import NEAR_THE_BOTTOM_M, ON_THE_BOTTOM_M
from relay.core.policy import Disclosed, Leg, Place, Plan, Policy
from relay.core.quantise import SLACK
from relay.shell.plan.quantities import say_duration, say_length, say_number

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


def describe_audience(
    policy: Policy, open_audiences: frozenset[str], plan: Plan, invited: frozenset[str] = frozenset()
) -> str:
    """Return a paragraph on one audience: who gets in, how late, what they see, how coarse, what they don't see.

    `invited`: the audiences that are shown to whoever has a link of their own.
    """
    is_open = policy.audience in open_audiences | invited
    lines = [
        f"Audience {policy.audience}",
        f"  Who: {_who(policy, open_audiences, plan, invited)}",
        f"  How late: {_late(policy, is_open)}",
        f"  How often: {_often(policy, is_open)}",
        *(f"  {line}" for line in _seen(policy, plan)),
        *(f"  {line}" for line in _withheld(policy)),
        f"  {_LIVE if is_open else _FILED}",
    ]
    return "\n".join(lines)


_CLOSED = (
    "nobody on the page. As it falls due, what is released to it is written to recordings, a file for each dive, in "
    "{}/ in the folder for what is released on this machine, which no page gives out. Who sees it is whom you hand "
    "those files to, and whoever can read this machine's disk or its backups."
)
_INVITED = (
    "whoever has a link that was made for a person (`offing invite`, or at the desk), until it ends or is taken back. "
    "A link can be passed on, and nobody can tell; to everybody else this audience doesn't exist on the page."
)
_LIVE = (
    "Clocks: though the relay tells no time of day, who watches live can tell from a clock when something happened, as "
    "closely as it is said how late it is."
)
_FILED = (
    "Clocks: though the relay tells no date and no time of day, those of the files on disk tell when they were "
    "written, and so about when the dive was."
)


def _who(policy: Policy, open_audiences: frozenset[str], plan: Plan, invited: frozenset[str]) -> str:
    if policy.audience in open_audiences:
        return _opened(policy, open_audiences, plan)
    return _INVITED if policy.audience in invited else _CLOSED.format(policy.audience)


def _opened(policy: Policy, open_audiences: frozenset[str], plan: Plan) -> str:
    others = [each.audience for each in plan.policies if each.audience in open_audiences - {policy.audience}]
    if not others:
        return "anyone who reaches the page, while a dive is shown there and ever after."
    return (
        "anyone who reaches the page, while a dive is shown there and ever after, and can choose "
        f"{join_words(others)} there as well: what is shown there earlier or finer, this one doesn't keep back."
    )


def _often(policy: Policy, is_open: bool) -> str:
    what = "an update" if is_open else "a record"
    return f"{what} every {say_duration(policy.tick_us)}, even when there is nothing new."


def _late(policy: Policy, is_open: bool) -> str:
    where = "" if is_open else "in the recording "
    least = say_duration(policy.delay_us)
    if policy.extra_us == 0:
        return f"{where}{least} after it happened." if policy.delay_us else f"not at all: {where}as it happens."
    most = say_duration(policy.delay_us + policy.extra_us)
    secret = "how much exactly is secret, and changes with each dive"
    return f"{where}between {least} and {most} after it happened; {secret}."


def _seen(policy: Policy, plan: Plan) -> list[str]:
    lines = [_place(policy, plan)]
    if Disclosed.TRACK in policy.fields:
        lines += _track(policy, plan)
    if Disclosed.DEPTH in policy.fields:
        lines.append(_depth(policy))
    if Disclosed.HEADING in policy.fields:
        lines += _heading(policy, plan)
    if Disclosed.ALTITUDE in policy.fields:
        lines.append(_ALTITUDE)
    if Disclosed.NOTES in policy.fields:
        lines.append(_notes(policy, plan))
    if Disclosed.STILLS in policy.fields:
        lines.append(_STILLS)
    others = [_NAMES[field] + _to_step(policy, field) for field in _BRIEF if field in policy.fields]
    if others:
        lines.append(f"Also: {join_words(others)}.")
    return lines


_STILLS = (
    "Stills: pictures sent with an annotation by `offing tell`, without their metadata. What can be seen or "
    "read in one, such as a position burned into it, is checked by nobody but whoever sends it."
)
_ALTITUDE = (
    f'Height above the seabed: in words ("on the bottom" up to {ON_THE_BOTTOM_M:g} m, "near the bottom" up to '
    f'{NEAR_THE_BOTTOM_M:g} m, then "mid-water"; each is kept until the height is a quarter more).'
)
_BRIEF = (Disclosed.PITCH, Disclosed.ROLL, Disclosed.MODE, Disclosed.LEG)


def _to_step(policy: Policy, field: Disclosed) -> str:
    return f" in steps of {say_number(policy.tilt_step_deg)}°" if field in (Disclosed.PITCH, Disclosed.ROLL) else ""


def _place(policy: Policy, plan: Plan) -> str:
    if policy.place is Place.EXACT and Disclosed.TRACK in policy.fields:
        return "Place: THE EXACT POSITION. Whoever sees this knows where the wreck is."
    area = f'the name of the declared area, "{plan.area.name}"' if plan.area else "not told"
    if _writes_freely(policy):
        return f"Place: {area}, but WHATEVER IS WRITTEN IN AN ANNOTATION IS SHOWN, a position, too."
    return f"Place: {area}{'; the relay itself tells nothing closer' if plan.area else ''}."


def _writes_freely(policy: Policy) -> bool:
    return Disclosed.NOTES in policy.fields and not policy.check_text


def _track(policy: Policy, plan: Plan) -> list[str]:
    if policy.place is Place.EXACT:
        within = "inside the declared area" if plan.area else "wherever it is"
        near = f"{_legs(policy)} within {say_length(plan.site_radius_m)} of the first position"
        drawn = f"{near}, in steps of {say_number(policy.cell_m)} m, moved and turned by the site's secret"
        return [
            f"Track: latitude and longitude as they were received, the whole dive, {within}.",
            f"  For a drawing it is given in metres, too: {drawn}.",
            f"  {_UNDOES}",
            *_bounds(policy, plan),
        ]
    off = f"each is told until the vehicle is {_off(policy.cell_m)} m from it either way"
    coarse = f"{_legs(policy)}, in steps of {say_number(policy.cell_m)} m ({off})"
    return [
        f"Track: {coarse}, moved and turned by the site's secret, so that it doesn't tell by itself where it is.",
        f"  {_ONE_SECRET}{_but_for(plan)}.",
        f"  {_worked_out(plan)} shown as well, worked out from what is shown of it.",
        *_bounds(policy, plan),
    ]


_ONE_SECRET = (
    "That secret is one for all audiences and all dives of the site: what they are shown can be laid one over the other"
)
_UNDOES = (
    "THIS UNDOES THAT SECRET for every audience and every dive of the site: whoever has a recording of this audience "
    "can put what the others are shown on a chart, too."
)


def _worked_out(plan: Plan) -> str:
    return "Distance and speed are" if plan.swath_m is None else "Distance, speed and the ground covered are"


def _off(step: float) -> str:
    """Return how far what is told in steps is off: a step is held until the value is well past its edge."""
    return say_number((0.5 + SLACK) * step)


def _depth_off(step: float) -> str:
    return f"each is told until the true depth is {_off(step)} m from it"


def _but_for(plan: Plan) -> str:
    exact = [each.audience for each in plan.policies if each.place is Place.EXACT and Disclosed.TRACK in each.fields]
    return f", and a recording of {join_words(exact)} in the wrong hands puts all of that on a chart" if exact else ""


def _heading(policy: Policy, plan: Plan) -> list[str]:
    step = f"Heading: in steps of {say_number(policy.heading_step_deg)}°"
    if Disclosed.TRACK in policy.fields:
        if policy.place is Place.EXACT:
            with_them = "with the positions the true one can be worked out"
            return [f"{step}, turned as that drawing is, and only where that is; {with_them}."]
        return [f"{step}, turned by the same secret as the track, only while the track is shown."]
    return [f"{step}, turned by a secret, {_legs(policy)}, though no track is shown.", *_bounds(policy, plan)]


def _legs(policy: Policy) -> str:
    if policy.track_legs == frozenset(Leg):
        return "the whole dive"
    if not policy.track_legs:
        return "never"
    return f"only {join_words(_LEGS[leg] for leg in Leg if leg in policy.track_legs)}"


def _bounds(policy: Policy, plan: Plan) -> list[str]:
    """Return where and when, within its legs, a track (or a heading alone) is shown."""
    lines = [f"  {line}" for line in (_begins(policy), _reaches(policy)) if line]
    if plan.zones and policy.place is Place.EXACT:
        lines.append("  The zones hide nothing from this audience.")
    elif plan.zones:
        lines.append(f"  {_zones(plan)}")
    return lines


def _begins(policy: Policy) -> str | None:
    """Return when a track begins, if that is not at once."""
    told = []
    if policy.track_start_us:
        told.append(f"has been at the bottom for {say_duration(policy.track_start_us)}")
    if policy.track_start_m:
        told.append(f"has moved {say_number(policy.track_start_m)} m from where it touched down")
    return f"It begins once the vehicle {join_words(told)}." if told else None


def _reaches(policy: Policy) -> str | None:
    if policy.radius_m is None:
        return None
    reach = say_length(policy.radius_m)
    return f"Nothing of it is shown while the vehicle is more than {reach} from where it touched down."


def _zones(plan: Plan) -> str:
    """Return what happens to a track in the zones."""
    words = {ZoneAction.WITHHOLD: "is not shown", ZoneAction.FREEZE: "stands still on the page"}
    named = {action: [zone.name for zone in plan.zones if zone.action is action] for action in words}
    told = [f"{words[action]} in {_zone(names)}" for action, names in named.items() if names]
    return f"It {join_words(told)}; where a zone ends is blurred by a secret."


def _zone(names: list[str]) -> str:
    quoted = join_words(f'"{name}"' for name in names)
    return f"{'the zone' if len(names) == 1 else 'the zones'} {quoted}"


def _depth(policy: Policy) -> str:
    step = say_number(policy.depth_step_m)
    if policy.depth_relative:
        first = "metres above or below where it was first reached"
        return f"Depth: only at the bottom, as {first}, in steps of {step} m ({_depth_off(policy.depth_step_m)})."
    if policy.descent_step_m is None or policy.descent_step_m == policy.depth_step_m:
        return f"Depth: in steps of {step} m ({_depth_off(policy.depth_step_m)}). {_ON_CHARTS}"
    finer = say_number(policy.descent_step_m)
    return (
        f"Depth: in steps of {step} m ({_depth_off(policy.depth_step_m)}) at the bottom, and of {finer} m on the way "
        f"down and up, whose ends tell the depth of the bottom to about {finer} m: what the coarse steps hide is how "
        f"the depth changes along the track. {_ON_CHARTS}"
    )


_ON_CHARTS = "Depths can be looked for on a chart."


def _notes(policy: Policy, plan: Plan) -> str:
    subject = "Annotations and targets (finds that you have named)"
    if not policy.check_text:
        return f"{subject}: {_UNCHECKED}"
    places = [
        "a position or a code for one",
        "a link",
        'a name like "... Bank"',
        "a distance or bearing from a named place",
        *(["a forbidden word"] if plan.forbidden_words else []),
    ]
    return (
        f"{subject}: all but those in which the check finds {join_words(places, 'or')}. It can miss one, and doesn't "
        "know every name: put yours under [text] forbidden. `offing tell` refuses what it finds, with the reason; what "
        "comes from a station is kept back in silence, and `offing tell EXPEDITION.toml status` lists it. Dates, "
        "times, depths and compass directions by themselves are not looked for: they go out, and a single direction "
        "told beside a track can give away which way is north, in every track of the site."
    )


_UNCHECKED = (
    "not checked for this audience. What a station sends reaches it WHATEVER IT SAYS, and so does what `offing tell` "
    "says to it alone (--audience). What is said to everybody is checked, for the sake of the others."
)
_TIMES = ("the date", "the time of day")
_IN_WORDS = (Disclosed.DEPTH, Disclosed.ALTITUDE, Disclosed.HEADING)


def _withheld(policy: Policy) -> list[str]:
    """Return what is in no record, and what is in none but the words of an annotation or the picture of a still."""
    hidden = [field for field in Disclosed if field not in policy.fields]
    times = list(_TIMES) if policy.place is Place.EXACT else ["which way is north", *_TIMES]
    if policy.place is not Place.EXACT or Disclosed.TRACK not in policy.fields:
        times = ["latitude", "longitude", *times]
    if Disclosed.NOTES not in policy.fields:
        return [f"Never shown: {join_words([*(_name(policy, field) for field in hidden), *times])}."]
    names = [_name(policy, field) for field in hidden if field not in _IN_WORDS]
    never = [f"Never shown: {join_words(names)}."] if names else []
    still = " or the picture in a still" if Disclosed.STILLS in policy.fields else ""
    words = [_NAMES[field] for field in hidden if field in _IN_WORDS]
    shown = [_NAMES[field] for field in (Disclosed.DEPTH, Disclosed.HEADING) if field in policy.fields]
    finer = [f"a finer {join_words(shown, 'or')}"] if shown else []
    told = join_words([*words, *times, *finer], "or")
    return [*never, f"Not shown, unless the words of an annotation{still} tell it: {told}."]


def _name(policy: Policy, field: Disclosed) -> str:
    """Return what is hidden: of a leg, by what it is given away all the same."""
    if field is not Disclosed.LEG:
        return _NAMES[field]
    moving = [_NAMES[each] for each in (Disclosed.TRACK, Disclosed.HEADING) if each in policy.fields]
    if moving and policy.track_legs not in (frozenset(Leg), frozenset()):
        return f"{_LEG}; but {moving[0]} is shown {_legs(policy)}, and so tells it)"
    if Disclosed.DEPTH in policy.fields and policy.depth_relative:
        return f"{_LEG}; but depth is shown only at the bottom, and so tells it)"
    return _NAMES[field]


_LEG = _NAMES[Disclosed.LEG].removesuffix(")")


def join_words(words: Iterable[str], last: str = "and") -> str:
    """Return words as a list in a sentence: "a, b and c"."""
    texts = list(words)
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} {last} {texts[-1]}"
