"""What each part of an expedition file says is right by itself, and yet can't stand together.

Rules (R4): whatever would not do what the file says, or would tell followers what it means to hide, is a fault; each
is told at the key to change, with its remedy.
"""

import os
from pathlib import Path
from typing import Any

from relay.core.area import Area, Lies, Zone, ZoneAction, where_lies
from relay.core.errors import OperatorError, SurveyError
from relay.core.place_in_text import Notation, find_places
from relay.core.policy import Disclosed, Place
from relay.core.reach import Tether
from relay.core.survey_plan import Gear, SurveyPlan
from relay.core.swath import Swath, planned_m2
from relay.shell.plan.audit_plan import promise_faults
from relay.shell.plan.expedition_faults import Fault
from relay.shell.plan.expedition_form import (
    AreaPart,
    AudiencePart,
    FeedPart,
    File,
    VehiclePart,
    ZonePart,
    listen_address,
)
from relay.shell.plan.feed_url import Transport, refuse_clashes
from relay.shell.plan.toml_lines import Path as TomlPath

NAMED_PLACES = frozenset({Notation.FROM_A_PLACE, Notation.NAMED_FEATURE})


def faults_together(file: File, path: Path, values: dict[str, Any]) -> list[Fault]:
    """Return every fault of a file whose parts are right by themselves; `values` are those that it says itself."""
    faults = [
        *_name_faults(file),
        *_public_name_faults(file),
        *_zone_faults(file),
        *_survey_faults(file),
        *_audience_faults(file, values),
        *_feed_faults(file),
        *_folder_faults(file, path),
        *_uplink_faults(file),
        *promise_faults(file, area_of(file.area)),
    ]
    try:
        listen_address(file.public.listen)
    except ValueError as error:
        faults.append((("public", "listen"), str(error)))
        return faults
    return faults + _desk_faults(file)


def _desk_faults(file: File) -> list[Fault]:
    """Refuse one address for both: the desk is no part of the public port."""
    if file.desk is None:
        return []
    (host, port), (public, public_port) = listen_address(file.desk.listen), listen_address(file.public.listen)
    if port == 0 or port != public_port or public not in (host, "0.0.0.0", "::", "localhost"):
        return []
    return [(("desk", "listen"), f"port {port} is that of the page: give the desk another, such as {port + 10}")]


def ashore(file: File) -> tuple[str, ...]:
    """Return the audiences that the shore is told of: those named, or all that can be reached there."""
    if file.uplink is None:
        return ()
    if file.uplink.audiences is not None:
        return tuple(file.uplink.audiences)
    return tuple(audience.name for audience in file.audience if _keeps_from_ashore(audience) is None)


def _keeps_from_ashore(audience: AudiencePart) -> str | None:
    """Return why an audience must not leave the ship by the link, None where it may."""
    if audience.place is Place.EXACT:
        return 'is told exact places (place = "exact"), which never leave the ship by the link: take another place'
    if not (audience.open or audience.invited):
        return "is neither open nor invited, so nobody could see it there: give it open = true or invited = true"
    return None


def _uplink_faults(file: File) -> list[Fault]:
    """Refuse what the link must not carry, and a link that carries nothing."""
    if file.uplink is None:
        return []
    known = {audience.name: audience for audience in file.audience}
    named = file.uplink.audiences or []
    faults: list[Fault] = []
    for at, name in enumerate(named):
        place: TomlPath = ("uplink", "audiences", at)
        if name not in known:
            faults.append((place, f"{name!r} is no [[audience]] of this file; one of {', '.join(known)}"))
        elif name in named[:at]:
            faults.append((place, f"{name!r} is there twice: name each once"))
        elif (why := _keeps_from_ashore(known[name])) is not None:
            faults.append((place, f"{name!r} {why}; or leave it out here"))
    if not faults and not ashore(file):
        faults.append((("uplink", "to"), "no audience is open or invited, so there is nothing for the shore: open one"))
    return faults


def area_of(part: AreaPart | None) -> Area | None:
    """Return the declared area of a file."""
    if part is None:
        return None
    if part.centre is not None:
        return Area(part.name, (part.centre,), part.radius)
    return Area(part.name, tuple(part.corners or ()))


def zone_of(part: ZonePart) -> Zone:
    """Return a zone of a file."""
    return Zone(
        name=part.name,
        latitude_deg=part.centre[0],
        longitude_deg=part.centre[1],
        radius_m=part.radius,
        margin_m=part.margin,
        action=ZoneAction(part.action),
    )


def survey_of(file: File) -> SurveyPlan:
    """Return what a file says of the survey."""
    corners = None if file.survey is None else tuple(file.survey.corners)
    return SurveyPlan(tuple(_gear(vehicle) for vehicle in file.vehicle), corners)


def _gear(vehicle: VehiclePart) -> Gear:
    return Gear(
        tether=None if vehicle.tether is None else Tether(vehicle.tether),
        swath=None if vehicle.swath is None else Swath(vehicle.swath, vehicle.nadir_gap or 0.0),
    )


def _name_faults(file: File) -> list[Fault]:
    groups: list[tuple[str, list[str]]] = [
        ("vehicle", [item.name for item in file.vehicle]),
        ("feed", [item.name for item in file.feed]),
        ("audience", [item.name for item in file.audience]),
        ("zone", [item.name for item in file.zone]),  # its secret margins are drawn by its name
    ]
    return [
        ((kind, at, "name"), f"{name!r} is there twice: give each {kind} a name of its own")
        for kind, names in groups
        for at, name in enumerate(names)
        if name in names[:at]
    ]


def public_names(file: File) -> list[tuple[TomlPath, str]]:
    """Return the names in a file that followers read, each with its key."""
    names: list[tuple[TomlPath, str | None]] = [
        (("expedition", "name"), file.expedition.name),
        (("expedition", "ship"), file.expedition.ship),
        (("expedition", "wreck"), file.expedition.wreck),
        (("area", "name"), file.area.name if file.area else None),
        *((("vehicle", at, "name"), vehicle.name) for at, vehicle in enumerate(file.vehicle)),
        *((("audience", at, "name"), audience.name) for at, audience in enumerate(file.audience)),
    ]
    return [(place, name) for place, name in names if name is not None]


def _public_name_faults(file: File) -> list[Fault]:
    """Refuse a forbidden word or a position in a name; a named place alone is what the operator chose to say."""
    faults: list[Fault] = []
    for place, name in public_names(file):
        found = find_places(name, forbidden=file.text.forbidden, scene=[name])
        if any(finding.notation is Notation.FORBIDDEN_NAME for finding in found):
            why = "holds one of your forbidden words, and followers read it"
            faults.append((place, f"{name!r} {why}: choose another name, or take the word out of [text] forbidden"))
        elif position := next((item for item in found if item.notation not in NAMED_PLACES), None):
            faults.append((place, f"followers read this name. {position.why}"))
    return faults


def _zone_faults(file: File) -> list[Fault]:
    area = area_of(file.area)
    if area is None:
        return []
    return [
        (
            ("zone", at, "centre"),
            f'lies outside the declared area, "{area.name}", where nothing is shown: {_turned(zone, area)}',
        )
        for at, zone in enumerate(file.zone)
        if where_lies(zone_of(zone), area) is Lies.OUTSIDE
    ]


def _survey_faults(file: File) -> list[Fault]:
    faults: list[Fault] = []
    for at, vehicle in enumerate(file.vehicle):
        gap, swath = vehicle.nadir_gap, vehicle.swath
        if gap is not None and swath is None:
            text = 'is a strip of the swath below the vehicle: add swath = "1000 m", or take nadir_gap away'
            faults.append((("vehicle", at, "nadir_gap"), text))
        elif gap is not None and swath is not None and gap >= swath:
            text = f"leaves nothing of a swath of {swath:g} m: make it smaller"
            faults.append((("vehicle", at, "nadir_gap"), text))
    if file.survey is not None:
        try:
            planned_m2(file.survey.corners)
        except SurveyError as error:
            faults.append((("survey", "corners"), str(error)))
    return faults


def _turned(zone: ZonePart, area: Area) -> str:
    """Return what may be wrong with a centre that lies outside: what would put it inside."""
    latitude, longitude = zone.centre
    others = {
        "are latitude and longitude the wrong way round?": (longitude, latitude),
        "should the longitude have the other sign (west is negative)?": (latitude, -longitude),
        "should the latitude have the other sign (south is negative)?": (-latitude, longitude),
        "should both have the other sign (south and west are negative)?": (-latitude, -longitude),
    }
    for question, position in others.items():
        if abs(position[0]) <= 90 and area.contains(position):
            return f"{question} Or is it the area that lies elsewhere?"
    return "correct its centre, or that of the area"


def _audience_faults(file: File, values: dict[str, Any]) -> list[Fault]:
    faults: list[Fault] = []
    for at, audience in enumerate(file.audience):
        if audience.place is Place.AREA and file.area is None:
            text = 'place = "area" needs a declared area: add [area] with its name and shape'
            faults.append((("audience", at, "place"), text))
        own = values["audience"][at]
        for key, text in _faults_of(audience):
            preset = "" if key in own or audience.preset is None else f' (preset = "{audience.preset}" sets it)'
            faults.append((("audience", at, key), text + preset))
    return faults


def _faults_of(audience: AudiencePart) -> list[tuple[str, str]]:
    """Return what an audience's settings can't keep together: the key at fault, and what is wrong with its remedy."""
    return [*_open_faults(audience), *_invited_faults(audience), *_place_faults(audience), *_step_faults(audience)]


def _open_faults(audience: AudiencePart) -> list[tuple[str, str]]:
    faults = []
    if audience.open and audience.preset == "heritage" and audience.place is Place.EXACT:
        why = "shows the exact place, at once and unchecked, to those you trust"
        return [("open", f'preset "heritage" {why}: take open = true away, or write preset = "public"')]
    if audience.open and audience.place is Place.EXACT:
        remedy = 'take open = true away, or set place = "local"'
        faults.append(("place", f"exact place can't be open to anyone: {remedy}"))
    if audience.open and audience.text == "unchecked":
        faults.append(("text", 'an open audience\'s annotations are always checked: take text = "unchecked" away'))
    if audience.open and audience.delay == 0:
        why = "without one the ship is where the dive is"
        faults.append(("delay", f'an open audience needs a delay: {why}; set delay = "45 min"'))
    if Disclosed.STILLS in audience.fields and Disclosed.NOTES not in audience.fields:
        all_of_it = "what you name takes the place of the preset's fields: name all that is to be shown"
        faults.append(
            ("fields", f'a still goes with its annotation: name "notes", too, or take "stills" out ({all_of_it})')
        )
    if 0 < audience.extra < audience.tick:
        faults.append(("extra", "is whole ticks, so less than one adds nothing: make it at least one tick, or 0 s"))
    return faults


def _invited_faults(audience: AudiencePart) -> list[tuple[str, str]]:
    """Refuse to show over a network, by a link that can be passed on, what is for trusted hands alone."""
    if not audience.invited:
        return []
    if audience.open:
        return [("invited", "an open audience needs no invitation: take invited = true away, or open = true")]
    faults = []
    if audience.place is Place.EXACT:
        why = "exact place can't be had by a link, which can be passed on"
        faults.append(("place", f'{why}: take invited = true away, or set place = "local"'))
    if audience.text == "unchecked":
        why = "annotations that can be had by a link are always checked"
        faults.append(("text", f'{why}: take text = "unchecked" or invited = true away'))
    if audience.delay == 0:
        why = "an invited audience needs a delay: without one the ship is where the dive is"
        faults.append(("delay", f'{why}; set delay = "20 min"'))
    return faults


def _place_faults(audience: AudiencePart) -> list[tuple[str, str]]:
    faults = []
    placed = [field for field in (Disclosed.TRACK, Disclosed.HEADING) if field in audience.fields]
    if audience.place is Place.AREA and placed:
        rest = ", ".join(f'"{field}"' for field in audience.fields if field not in placed)
        remedy = f'write fields = [{rest}], or set place = "local"'
        faults.append(("place", f'place = "area" shows no {" and no ".join(placed)}: {remedy}'))
    if Disclosed.TRACK in audience.fields and not audience.track_legs:
        remedy = 'take "track" out of fields, or name a leg'
        faults.append(("track_legs", f"is empty, so there is no track to show: {remedy}"))
    if audience.radius is not None and audience.radius < 2 * audience.cell:
        cells = f"two cells of {audience.cell:g} m"
        faults.append(("radius", f"is smaller than {cells}: make it larger, or the cells smaller"))
    if audience.radius is not None and audience.track_start >= audience.radius:
        faults.append(("track_start", "the track would start beyond radius: make track_start smaller"))
    return faults


def _step_faults(audience: AudiencePart) -> list[tuple[str, str]]:
    faults = []
    if audience.depth == "relative" and audience.descent_step is not None:
        why = "with relative depth the descent is not shown, or it would tell the depth"
        faults.append(("descent_step", f"{why}: take descent_step away"))
    if audience.descent_step is not None and audience.descent_step > audience.depth_step:
        faults.append(("descent_step", "is for a finer depth away from the seabed: make it at most depth_step"))
    return faults


def _feed_faults(file: File) -> list[Fault]:
    faults: list[Fault] = []
    known = [vehicle.name for vehicle in file.vehicle]
    for at, feed in enumerate(file.feed):
        if feed.vehicle is not None and feed.vehicle not in known:
            text = f"{feed.vehicle!r} is not a [[vehicle]] of this file; one of {', '.join(known)}"
            faults.append((("feed", at, "vehicle"), text))
        if (fault := _standby_fault(feed, file.feed)) is not None:
            faults.append((("feed", at, "standby_for"), fault))
        if (fault := _clash(feed, file.feed[:at], file.public.listen)) is not None:
            faults.append((("feed", at, "from"), fault))
    return faults


def _clash(feed: FeedPart, earlier: list[FeedPart], listen: str) -> str | None:
    """Return which other feed, or the page, listens where a feed does."""
    try:
        refuse_clashes([*((other.name, other.source) for other in earlier), (feed.name, feed.source)])
    except OperatorError as error:
        return str(error).removeprefix(f"feed {feed.name}: ") if f"feed {feed.name}: " in str(error) else None
    listens = feed.source.transport in (Transport.TCP_LISTEN, Transport.WS_LISTEN)
    if listens and listen.rpartition(":")[2] == str(feed.source.port):
        return f"{feed.source.port} is the port of the followers' page, too ([public] listen): give one of them another"
    return None


def _standby_fault(feed: FeedPart, feeds: list[FeedPart]) -> str | None:
    """Return why a feed can't be the standby for the one it names, if it names one."""
    if feed.standby_for is None:
        return None
    primary = next((other for other in feeds if other.name == feed.standby_for and other is not feed), None)
    if primary is None:
        others = ", ".join(other.name for other in feeds if other is not feed) or "there is no other"
        return f"{feed.standby_for!r} is not another [[feed]] of this file; one of {others}"
    if feed.of is not None or primary.of is not None:
        return "stands by for a vehicle's feed alone: the ship's own (of = \"ship\") take no turns; leave it away"
    if primary.standby_for is not None:
        return f"{primary.name!r} is itself a standby: name the feed that it stands by for"
    if sum(other.standby_for == primary.name for other in feeds) > 1:
        return f"{primary.name!r} has two standbys: give each feed one at most"
    if None not in (feed.vehicle, primary.vehicle) and feed.vehicle != primary.vehicle:
        return f"{primary.name!r} is about {primary.vehicle!r}, not {feed.vehicle!r}: mirrored stations send the same"
    return None


def _folder_faults(file: File, path: Path) -> list[Fault]:
    private, released = (below(path, name) for name in (file.storage.private, file.storage.released))
    if not (private.is_relative_to(released) or released.is_relative_to(private)):
        return []
    remedy = "what is released is published as a folder, so give them folders apart"
    return [(("storage", "private"), f"private and released lie one in the other: {remedy}")]


def below(path: Path, name: str) -> Path:
    """Return a folder named in the file at `path`, as it is reached from there."""
    return Path(os.path.normpath(path.resolve().parent / name))
