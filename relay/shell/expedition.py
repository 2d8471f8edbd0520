"""The expedition file: read, checked whole, and every fault told with its line, what is wrong and what to do.

Rules (R4): a key that isn't known, a value that isn't sense, or an audience that can't keep its word stops the
start. The file holds no secret unless it names zones or forbidden words: then it is as private as the journal.
"""

import difflib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from relay.core.area import Area, Zone, ZoneAction
from relay.core.errors import ExpeditionError
from relay.core.policy import DiveLimits, LegLimits, Place, Plan, Policy, SourcePlan
from relay.shell.expedition_form import (
    PRESETS,
    AreaPart,
    AudiencePart,
    DivePart,
    ExpeditionPart,
    FeedPart,
    File,
    PublicPart,
    StoragePart,
    TextPart,
    VehiclePart,
    ZonePart,
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
        raise ExpeditionError(f"{path}: not TOML: {error}") from error
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
    filled = [
        {**PRESETS.get(str(item.get("preset")), {}), **item} if isinstance(item, dict) else item for item in audiences
    ]
    return {**values, "audience": filled}


def _fault(path: Path, item: Any, values: dict[str, Any], lines: dict[TomlPath, int]) -> str:
    """Return one fault as `FILE line N: where: what is wrong and what to do`."""
    place: TomlPath = tuple(item["loc"])
    line = line_of(place, lines)
    where = f"{path} line {line}" if line else str(path)
    words = ".".join(str(part) if isinstance(part, str) else f"{part + 1}" for part in place)
    return f"{where}: {words}: {_message(item, place)}"


def _message(item: Any, place: TomlPath) -> str:
    kind = item["type"]
    if kind == "extra_forbidden":
        return f"no such key{_nearest(place)}"
    if kind == "missing":
        return "is missing: add it"
    if kind in ("literal_error", "enum"):
        return f"{item['input']!r} is not known; one of {item['ctx']['expected']}"
    if kind == "string_pattern_mismatch":
        return f"{item['input']!r} won't do: a short name of small letters, digits and hyphens, beginning with a letter"
    return str(item["msg"]).removeprefix("Value error, ")


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
    "area": AreaPart,
    "text": TextPart,
    "zone": ZonePart,
    "vehicle": VehiclePart,
    "feed": FeedPart,
    "audience": AudiencePart,
}


def _cross_check(file: File, path: Path, lines: dict[TomlPath, int]) -> None:
    faults: list[tuple[TomlPath, str]] = []
    groups: list[tuple[str, list[str]]] = [
        ("vehicle", [item.name for item in file.vehicle]),
        ("feed", [item.name for item in file.feed]),
        ("audience", [item.name for item in file.audience]),
    ]
    for kind, names in groups:
        faults += [
            ((kind, at, "name"), f"{name!r} is there twice: give each {kind} a name of its own")
            for at, name in enumerate(names)
            if name in names[:at]
        ]
    groups.append(("zone", [item.name for item in file.zone]))
    faults += [
        (("audience", at, "place"), 'place = "area" needs a declared area: add [area] with its name and shape')
        for at, audience in enumerate(file.audience)
        if audience.place is Place.AREA and file.area is None
    ]
    known = {vehicle.name for vehicle in file.vehicle}
    faults += [
        (("feed", at, "vehicle"), f"{feed.vehicle!r} is not a [[vehicle]] of this file; one of {', '.join(known)}")
        for at, feed in enumerate(file.feed)
        if feed.vehicle is not None and feed.vehicle not in known
    ]
    try:
        listen_address(file.public.listen)
    except ValueError as error:
        faults.append((("public", "listen"), str(error)))
    if faults:
        messages = [
            f"{path} line {line_of(place, lines)}: {'.'.join(map(str, place))}: {text}" for place, text in faults
        ]
        raise ExpeditionError("\n".join(messages))


def _expedition(file: File, path: Path) -> Expedition:
    folder = path.resolve().parent
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
        ),
        feeds=tuple(FeedPlan(feed.name, feed.source) for feed in file.feed),
        open_audiences=frozenset(audience.name for audience in file.audience if audience.open),
        private=folder / file.storage.private,
        released=folder / file.storage.released,
        listen=listen_address(file.public.listen),
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
