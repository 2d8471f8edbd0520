"""Vehicles, feeds, area, zones and forbidden words of an expedition file in words that need no engineer."""

from collections.abc import Sequence
from ipaddress import ip_address

from relay.core.area import Area, Position, Zone, ZoneAction
from relay.core.policy import Disclosed, Place, Plan, SourcePlan
from relay.core.survey_plan import Gear, SurveyPlan
from relay.core.swath import planned_m2
from relay.shell.plan.feed_url import FeedUrl, Transport
from relay.shell.plan.plain_words import join_words
from relay.shell.plan.quantities import say_length, say_number, say_rate
from relay.shell.plan.uplink_plan import UplinkPlan


def describe_page(listen: tuple[str, int]) -> str:
    """Return a line on where the page is given out, and to whom."""
    host, port = listen
    whom = _ALONE if host in _LOOPBACK else "the network"
    return f"The page is given out at {f'[{host}]' if ':' in host else host}:{port}, to {whom}."


def describe_programme(plan: Plan, questions_to: str) -> str:
    """Return lines on the programme: who is told, how coarse, and where questions go."""
    told = [policy.audience for policy in plan.policies if Disclosed.NOTES in policy.fields]
    whom = join_words(told) if told else "nobody: no audience is shown annotations"
    asked = (
        f"Followers are shown a link to {questions_to}: somebody ashore answers there. Nothing that they write reaches "
        "the ship by the relay."
        if questions_to
        else "Followers are shown no place for questions ([public] questions_to); nothing they write reaches the ship."
    )
    return f"Programme (pinned message, schedule, next dive): told to {whom}. {_PROGRAMME}\n{asked}"


_PROGRAMME = (
    "It is as late as all else, and told between dives, too. `offing tell` refuses places, times of day, dates and "
    "words on sun, moon and tides in it, and can miss one. The next dive is counted down in steps (20 min; 1 h from "
    "two hours on; 6 h from twelve on; a day from two on), never finer than twice the secret addition to the delay. "
    "Even so it says before a dive about when it will be: told beside a plan that others know, it can say what that "
    "plan is about."
)


def describe_desk(listen: tuple[str, int]) -> str:
    """Return a line on where the desk is, and for whom."""
    host, port = listen
    where = f"{f'[{host}]' if ':' in host else host}:{port}"
    whom = "on this machine alone"
    if not ip_address(host).is_loopback:
        whom = "from the network that this address belongs to, where its token travels unencrypted"
    return f"The desk is at {where}, {whom}: whoever has its token sees everything exact, and can decide."


def describe_uplink(link: UplinkPlan) -> str:
    """Return lines on the link: where to, who is told of there, how the shore is known, and what it may carry."""
    known = "by the pin of its certificate" if link.pin else "by its name, as this machine's authorities vouch for it"
    limit = "without a limit" if link.limit_bits_per_s is None else f"{say_rate(link.limit_bits_per_s)} at most"
    return (
        f"The relay dials the shore at {link.to}, known {known}. What is released to {join_words(link.audiences)} goes "
        f"there, signed, in this order, and nothing else does; {limit}, everything counted.\n"
        "Nothing comes back but acknowledgements and how many follow. Whoever keeps the shore can read what is sent "
        "there, and no more."
    )


def describe_vehicles(plan: Plan) -> str:
    """Return a line on whose tracks followers see, and which names they are told."""
    area = ["the declared area"] if plan.area else []
    s = "" if len(plan.vehicles) == 1 else "s"
    told = join_words(["the expedition", f"its vehicle{s}", *area])
    return (
        f"Vehicle{s}: {join_words(plan.vehicles)}. Whoever is shown a dive is told the names of {told}; the ship's the "
        "relay itself tells nobody."
    )


def describe_survey(vehicles: Sequence[str], survey: SurveyPlan) -> list[str]:
    """Return lines on what each vehicle carries for the survey, and on the planned area; none where nothing is said."""
    lines = [f"{name} {join_words(carried)}." for at, name in enumerate(vehicles) if (carried := _gear(survey.of(at)))]
    if survey.corners is not None:
        area = f"{planned_m2(survey.corners) / 1e6:.3g} km²"
        corners = ", ".join(_position(corner) for corner in survey.corners)
        lines.append(f"The survey's planned area: the polygon {corners} ({area}).")
    return [*lines, "Tether, swath and planned area are for the ship alone: followers see none of it."] if lines else []


def _gear(gear: Gear) -> list[str]:
    carried = []
    if gear.tether is not None:
        length, share = say_length(gear.tether.length_m), f"{gear.tether.warn_share * 100:.0f} %"
        carried.append(
            f"hangs on a tether of {length} (an alarm sounds from {share} of it on, measured straight from the ship)"
        )
    if gear.swath is not None:
        gap = f", but for {say_length(gear.swath.nadir_gap_m)} below it" if gear.swath.nadir_gap_m else ""
        carried.append(f"sees {say_length(gear.swath.width_m)} of seabed from side to side{gap}")
    return carried


def describe_feed(source: SourcePlan, url: FeedUrl) -> str:
    """Return a line on one feed: format, where from, whose, and what its sounder means."""
    standby = f"; it is used only while {source.standby_for} says nothing or stands still" if source.standby_for else ""
    return f"Feed {source.name}: {source.format}{_whose(source)} from {url}{_comes(url)}{_sounder(source)}{standby}."


def _whose(source: SourcePlan) -> str:
    """Return what a feed tells of: a station's records may name any vehicle that the file has."""
    if source.of_ship:
        return ", the ship's own position, which stays on the desk,"
    names = source.format in ("station-json", "station-msgpack")
    if source.vehicle is None:
        return " for whichever vehicle each record names"
    return f" for {source.vehicle}{', or whichever vehicle a record names,' if names else ''}"


def _comes(url: FeedUrl) -> str:
    """Return whose bytes are believed, where anybody may send some."""
    does = {Transport.UDP: "sends", Transport.TCP_LISTEN: "connects", Transport.WS_LISTEN: "connects"}
    if url.transport not in does or url.multicast:
        return ""
    who = "any program on this machine that" if url.host in _LOOPBACK else "anyone on the network who"
    return f" ({who} {does[url.transport]} to port {url.port} is believed)"


_ALONE = 'this machine alone; if a web server passes it on, "anyone" below is whoever reaches that'
_LOOPBACK = ("127.0.0.1", "localhost", "::1")


def _sounder(source: SourcePlan) -> str:
    if source.format != "nmea0183" or source.of_ship:
        return ""
    if source.sounder is not None:
        meaning = {"altitude": "height above the seabed", "depth": "depth"}[source.sounder]
        return f"; its sounder ({source.sounder_sentence} sentences) tells the vehicle's {meaning}"
    return (
        "; its sounder is ignored, so no height or depth comes from it "
        '(sounder = "altitude" or "depth" would say what it measures)'
    )


def describe_ground(plan: Plan) -> list[str]:
    """Return lines on the declared area, zones and forbidden words: what stops or hides, for all audiences."""
    reach = say_length(plan.site_radius_m)
    lines = [_area(plan.area), _REACH.format(reach)]
    lines += [_zone(zone, plan) + _unhidden(plan) for zone in plan.zones]
    if plan.forbidden_words:
        lines.append(f"Forbidden words: {', '.join(plan.forbidden_words)}.")
    return lines


_REACH = (
    "Nobody is shown a track in metres, or a heading, while a vehicle is more than {} from the first position that the "
    "relay received, be it in port. It remembers that position in the private folder: to work further off, give this "
    "expedition another private folder ([storage] private)."
)


def _zone(zone: Zone, plan: Plan) -> str:
    hides, marked = {
        ZoneAction.WITHHOLD: ("no track and", "nowhere"),
        ZoneAction.FREEZE: ("the track stands still and", "where the track stands still"),
    }[zone.action]
    is_forbidden = zone.name.casefold() in [word.casefold() for word in plan.forbidden_words]
    but = "" if is_forbidden else "; an annotation may, unless that name stands under [text] forbidden"
    least, most = (say_number(zone.radius_m + widened * zone.margin_m) for widened in (1, 2))
    return (
        f'Zone "{zone.name}": the hole in the track is {least} to {most} m in radius (the zone and once to twice the '
        f"margin given for it) and its middle up to {say_number(zone.margin_m)} m from the zone's own; a secret "
        f"decides both. In it {hides} no heading is shown, and what is worked out from the track knows only of the "
        f"rest; depth, annotations and all else go on. What is said there is marked {marked} on the drawing. That a "
        f"hole is there can be seen. What this zone is called the relay tells nobody{but}."
    )


def _unhidden(plan: Plan) -> str:
    """Return for whom the zones do not count."""
    moves = {Disclosed.TRACK, Disclosed.HEADING}
    exact = [each.audience for each in plan.policies if each.place is Place.EXACT and each.fields & moves]
    return f" From {join_words(exact)} it hides nothing." if exact else ""


def _area(area: Area | None) -> str:
    if area is None:
        return "Declared area: none, so nothing stops the release if a vehicle is somewhere else than you think."
    stops = (
        "When any vehicle is outside it, nothing from then on is released to anybody until you resume it "
        "(`offing tell EXPEDITION.toml resume --outside`); what "
        "happened before still goes out when its delay is up, unless you stop that, too (`offing tell EXPEDITION.toml "
        "stop`)."
    )
    return f'Declared area: "{area.name}", {_extent(area)}. {stops}'


def _extent(area: Area) -> str:
    """Return where an area is, to be compared with a chart."""
    if area.radius_m is not None:
        return f"all within {say_length(area.radius_m)} of {_position(area.corners[0])}{_swapped(area.corners[0])}"
    return f"the polygon {', '.join(_position(corner) for corner in area.corners)}"


def _swapped(position: Position) -> str:
    """Return where it would lie with latitude and longitude the other way round, which people write by mistake."""
    latitude, longitude = position
    other = f" (the other way round it would be {_position((longitude, latitude))})"
    return "" if abs(longitude) > 90 or latitude == longitude else other


def _position(position: Position) -> str:
    latitude, longitude = position
    north, east = "S" if latitude < 0 else "N", "W" if longitude < 0 else "E"
    return f"{abs(latitude):.6g}° {north} {abs(longitude):.6g}° {east}"
