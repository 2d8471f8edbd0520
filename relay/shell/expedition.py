"""The expedition file: read, checked whole, and every fault told with its line, what is wrong and what to do.

Rules (R4): a key that isn't known, a value that isn't sense, or an audience that can't keep its word stops the
start. The file holds no secret unless it names zones or forbidden words: then it is as private as the journal.
"""

import difflib
import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from relay.core.area import Area, Zone, ZoneAction
from relay.core.errors import ExpeditionError
from relay.core.policy import DiveLimits, LegLimits, Place, Plan, Policy, SourcePlan
from relay.shell.expedition_form import (
    NAME,
    PRESETS,
    SLUG,
    AreaPart,
    AudiencePart,
    DivePart,
    ExpeditionPart,
    FeedPart,
    File,
    PublicPart,
    StationsPart,
    StoragePart,
    TextPart,
    VehiclePart,
    ZonePart,
    audience_faults,
    listen_address,
)
from relay.shell.feed_url import FeedUrl
from relay.shell.toml_lines import Path as TomlPath
from relay.shell.toml_lines import line_numbers, line_of


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """A feed and where it comes from."""

    name: str
    url: FeedUrl


@dataclass(frozen=True, slots=True)
class Expedition:
    """A checked expedition file: the core's plan, and what the shell alone needs."""

    path: Path
    ship: str
    plan: Plan
    feeds: tuple[FeedPlan, ...]
    open_audiences: frozenset[str]
    private: Path
    released: Path
    listen: tuple[str, int]
    language: str = "en"
    address: str = ""


def read_expedition(path: Path) -> Expedition:
    """Read and check an expedition file; ExpeditionError names every fault with its line."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ExpeditionError(f"{path} can't be read: {error}. Give the path of an expedition file.") from error
    return parse_expedition(text, path)


def parse_expedition(text: str, path: Path) -> Expedition:
    """Check the text of an expedition file that lies at `path`."""
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        remedy = "text is written in quotes, a list in brackets, and yes or no as true or false"
        raise ExpeditionError(f"{path}: not TOML: {error}. In TOML {remedy}.") from error
    try:
        file = File.model_validate(_with_presets(values))
    except ValidationError as error:
        lines = line_numbers(text)
        raise ExpeditionError("\n".join(_fault(path, item, values, lines) for item in error.errors())) from error
    _cross_check(file, path, line_numbers(text))
    return _expedition(file, path)


def _with_presets(values: dict[str, Any]) -> dict[str, Any]:
    """Return the values with each audience's preset under what the file says itself."""
    audiences = values.get("audience")
    if not isinstance(audiences, list):
        return values
    return {**values, "audience": [_filled(item) if isinstance(item, dict) else item for item in audiences]}


def _filled(audience: dict[str, Any]) -> dict[str, Any]:
    preset = PRESETS.get(str(audience.get("preset")), {})
    if audience.get("depth") == "relative":  # goes with no descent_step, and whoever asks for it can't unset a preset's
        preset = {key: value for key, value in preset.items() if key != "descent_step"}
    return {**preset, **audience}


def _fault(path: Path, item: Any, values: dict[str, Any], lines: dict[TomlPath, int]) -> str:
    """Return one fault as `FILE line N: where: what is wrong and what to do`."""
    place: TomlPath = tuple(item["loc"])
    line = line_of(place, lines)
    where = f"{path} line {line}" if line else str(path)
    return f"{where}: {_words(place)}: {_message(item, place)}"


def _words(place: TomlPath) -> str:
    return ".".join(str(part) if isinstance(part, str) else f"{part + 1}" for part in place)


def _message(item: Any, place: TomlPath) -> str:
    kind = item["type"]
    if kind == "extra_forbidden":
        return f"no such key{_nearest(place)}"
    if kind == "missing":
        return "is missing: add it"
    if kind in ("literal_error", "enum"):
        return f"{item['input']!r} is not known; one of {item['ctx']['expected']}"
    if kind == "string_pattern_mismatch":
        return f"{item['input']!r} won't do: {_PATTERNS[item['ctx']['pattern']]}"
    if kind in _REMEDIES:
        return _REMEDIES[kind].format(**item.get("ctx", {}))
    return str(item["msg"]).removeprefix("Value error, ")


_PATTERNS = {
    NAME: "a name in one line, with no blank before or after it",
    SLUG: "a short name of small letters, digits and hyphens, beginning with a letter",
}
_REMEDIES = {
    "bool_parsing": "must be true or false",
    "bool_type": "must be true or false",
    "float_parsing": "must be a number",
    "float_type": "must be a number",
    "greater_than_equal": "must be at least {ge:g}",
    "int_from_float": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_type": "must be a whole number",
    "less_than_equal": "must be at most {le:g}",
    "list_type": "must be a list: write it in brackets, [ ]",
    "model_type": "must be a table: begin it with its name in brackets, on a line of its own",
    "string_too_long": "is too long: at most {max_length} characters",
    "string_too_short": "is empty: write at least {min_length} character",
    "string_type": "must be text: write it in quotes",
    "too_long": "are too many: at most {max_length}",
    "too_short": "is too short: give at least {min_length}",
}


def _nearest(place: TomlPath) -> str:
    model: type[BaseModel] = File
    for part in place[:-1]:
        if isinstance(part, str):
            model = _PARTS.get(part, model)
    names = [field.alias or name for name, field in model.model_fields.items()]
    close = difflib.get_close_matches(str(place[-1]), names, 1)
    return f'; did you mean "{close[0]}"?' if close else f"; known here: {', '.join(names)}"


_PARTS: dict[str, type[BaseModel]] = {
    "expedition": ExpeditionPart,
    "storage": StoragePart,
    "public": PublicPart,
    "dive": DivePart,
    "stations": StationsPart,
    "area": AreaPart,
    "text": TextPart,
    "zone": ZonePart,
    "vehicle": VehiclePart,
    "feed": FeedPart,
    "audience": AudiencePart,
}


_Fault = tuple[TomlPath, str]


def _cross_check(file: File, path: Path, lines: dict[TomlPath, int]) -> None:
    faults = [*_name_faults(file), *_audience_faults(file), *_feed_faults(file), *_folder_faults(file, path)]
    try:
        listen_address(file.public.listen)
    except ValueError as error:
        faults.append((("public", "listen"), str(error)))
    if faults:
        messages = [f"{path} line {line_of(place, lines)}: {_words(place)}: {text}" for place, text in faults]
        raise ExpeditionError("\n".join(messages))


def _name_faults(file: File) -> list[_Fault]:
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


def _audience_faults(file: File) -> list[_Fault]:
    faults: list[_Fault] = []
    for at, audience in enumerate(file.audience):
        if audience.place is Place.AREA and file.area is None:
            text = 'place = "area" needs a declared area: add [area] with its name and shape'
            faults.append((("audience", at, "place"), text))
        faults += [(("audience", at, key), text) for key, text in audience_faults(audience)]
    return faults


def _feed_faults(file: File) -> list[_Fault]:
    faults: list[_Fault] = []
    known = [vehicle.name for vehicle in file.vehicle]
    for at, feed in enumerate(file.feed):
        if feed.vehicle is not None and feed.vehicle not in known:
            text = f"{feed.vehicle!r} is not a [[vehicle]] of this file; one of {', '.join(known)}"
            faults.append((("feed", at, "vehicle"), text))
        if (fault := _standby_fault(feed, file.feed)) is not None:
            faults.append((("feed", at, "standby_for"), fault))
    return faults


def _standby_fault(feed: FeedPart, feeds: list[FeedPart]) -> str | None:
    """Return why a feed can't be the standby for the one it names, if it names one."""
    if feed.standby_for is None:
        return None
    primary = next((other for other in feeds if other.name == feed.standby_for and other is not feed), None)
    if primary is None:
        others = ", ".join(other.name for other in feeds if other is not feed) or "there is no other"
        return f"{feed.standby_for!r} is not another [[feed]] of this file; one of {others}"
    if primary.standby_for is not None:
        return f"{primary.name!r} is itself a standby: name the feed that it stands by for"
    if sum(other.standby_for == primary.name for other in feeds) > 1:
        return f"{primary.name!r} has two standbys: give each feed one at most"
    if None not in (feed.vehicle, primary.vehicle) and feed.vehicle != primary.vehicle:
        return f"{primary.name!r} is about {primary.vehicle!r}, not {feed.vehicle!r}: mirrored stations send the same"
    return None


def _folder_faults(file: File, path: Path) -> list[_Fault]:
    private, released = (_below(path, name) for name in (file.storage.private, file.storage.released))
    if not (private.is_relative_to(released) or released.is_relative_to(private)):
        return []
    remedy = "what is released is published as a folder, so give them folders apart"
    return [(("storage", "private"), f"private and released lie one in the other: {remedy}")]


def _below(path: Path, name: str) -> Path:
    """Return a folder named in the file at `path`, as it is reached from there."""
    return Path(os.path.normpath(path.resolve().parent / name))


def _expedition(file: File, path: Path) -> Expedition:
    return Expedition(
        path=path,
        ship=file.expedition.ship,
        plan=Plan(
            expedition=file.expedition.name,
            vehicles=tuple(vehicle.name for vehicle in file.vehicle),
            sources=tuple(_source(feed) for feed in file.feed),
            policies=tuple(_policy(audience) for audience in file.audience),
            dive=DiveLimits(
                begin_depth_m=file.dive.begin_depth if file.dive.begins == "depth" else None,
                quiet_us=file.dive.quiet_ends_after,
                surfaced_us=file.dive.surfaced_ends_after,
            ),
            legs=LegLimits(),
            area=_area(file.area),
            zones=tuple(_zone(zone) for zone in file.zone),
            forbidden_words=tuple(file.text.forbidden),
            scene_names=_scene(file),
            swath_m=file.expedition.swath,
            contradict_m=file.stations.contradict,
        ),
        feeds=tuple(FeedPlan(feed.name, feed.source) for feed in file.feed),
        open_audiences=frozenset(audience.name for audience in file.audience if audience.open),
        private=_below(path, file.storage.private),
        released=_below(path, file.storage.released),
        listen=listen_address(file.public.listen),
        language=file.expedition.language,
        address=file.public.address or "",
    )


def _area(area: AreaPart | None) -> Area | None:
    if area is None:
        return None
    if area.centre is not None:
        return Area(area.name, (area.centre,), area.radius)
    return Area(area.name, tuple(area.corners or ()))


def _zone(zone: ZonePart) -> Zone:
    return Zone(
        name=zone.name,
        latitude_deg=zone.centre[0],
        longitude_deg=zone.centre[1],
        radius_m=zone.radius,
        margin_m=zone.margin,
        action=ZoneAction(zone.action),
    )


def _scene(file: File) -> tuple[str, ...]:
    """Return names that ranges and bearings in annotations may be given from: they have no published place."""
    named = [file.expedition.ship, *(vehicle.name for vehicle in file.vehicle)]
    return tuple(named if file.expedition.wreck is None else [*named, file.expedition.wreck])


def _source(feed: FeedPart) -> SourcePlan:
    return SourcePlan(
        name=feed.name,
        format=feed.format,
        vehicle=feed.vehicle,
        sounder=feed.sounder,
        sounder_sentence=feed.sounder_sentence,
        variation_deg=feed.variation_deg,
        system=feed.system,
        component=feed.component,
        depth_from=feed.depth_from,
        standby_for=feed.standby_for,
    )


def _policy(audience: AudiencePart) -> Policy:
    return Policy(
        audience=audience.name,
        delay_us=audience.delay,
        extra_us=audience.extra,
        tick_us=audience.tick,
        fields=frozenset(audience.fields),
        cell_m=audience.cell,
        depth_step_m=audience.depth_step,
        heading_step_deg=audience.heading_step,
        tilt_step_deg=audience.tilt_step,
        stale_us=audience.stale_after,
        place=audience.place,
        track_legs=frozenset(audience.track_legs),
        track_start_m=audience.track_start,
        track_start_us=audience.track_start_after,
        radius_m=audience.radius,
        descent_step_m=audience.descent_step,
        depth_relative=audience.depth == "relative",
        check_text=audience.text == "checked",
    )
