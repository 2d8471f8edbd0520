"""The expedition file: read, checked whole, and every fault told with its line, what is wrong and what to do.

Rules (R4): a key that isn't known, a value that isn't sense, or an audience that can't keep its word stops the
start. Nothing in this file is a secret and none of it needs to be a position.
"""

import difflib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from relay.core.errors import ExpeditionError, OperatorError
from relay.core.policy import Disclosed, DiveLimits, Leg, LegLimits, Plan, Policy, SourcePlan
from relay.shell.feed_url import FeedUrl, parse_feed_url
from relay.shell.quantities import angle_deg, duration_us, length_m
from relay.shell.toml_lines import Path as TomlPath
from relay.shell.toml_lines import line_numbers, line_of

_SECOND = 1_000_000


def _within(least: float, most: float, unit: str, scale: float = 1.0) -> AfterValidator:
    """Refuse a quantity outside its limits, told in `unit`, of which the value has `scale` to one."""

    def check(value: float) -> float:
        if not least <= value / scale <= most:
            raise ValueError(f"must be from {least:g} {unit} to {most:g} {unit}, not {value / scale:g} {unit}")
        return value

    return AfterValidator(check)


def _whole_seconds(value: int) -> int:
    if value % _SECOND:
        raise ValueError("must be whole seconds")
    return value


Duration = Annotated[int, BeforeValidator(duration_us)]
Length = Annotated[float, BeforeValidator(length_m)]
Angle = Annotated[float, BeforeValidator(angle_deg)]
Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^\S(.*\S)?$")]
Slug = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]{0,39}$")]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=False, frozen=True)


class _Expedition(_Part):
    name: Name
    ship: Name


class _Storage(_Part):
    private: str = "private"
    released: str = "released"


class _Public(_Part):
    listen: str = "127.0.0.1:8080"


class _Vehicle(_Part):
    name: Name


def _feed_url(text: object) -> FeedUrl:
    try:
        return parse_feed_url(str(text))
    except OperatorError as error:
        raise ValueError(str(error)) from error


class _Feed(_Part):
    name: Slug
    format: Literal["nmea0183", "mavlink", "station-json", "station-msgpack"]
    source: Annotated[Any, BeforeValidator(_feed_url)] = Field(alias="from")
    vehicle: Name | None = None
    sounder: Literal["depth", "altitude"] | None = None
    sounder_sentence: Literal["DPT", "DBT"] = "DPT"
    variation_deg: Annotated[float, Field(ge=-180, le=180)] | None = None
    system: Annotated[int, Field(ge=1, le=255)] = 1
    component: Annotated[int, Field(ge=1, le=255)] = 1

    @model_validator(mode="after")
    def _fits(self) -> "_Feed":
        if self.format in ("nmea0183", "mavlink") and self.vehicle is None:
            raise ValueError(f'{self.format} doesn\'t name its vehicle: add vehicle = "..."')
        if self.format != "nmea0183" and self.sounder is not None:
            raise ValueError("sounder goes with nmea0183 alone")
        return self


class _Dive(_Part):
    begins: Literal["report", "depth"] = "depth"
    begin_depth: Length = 5.0
    quiet_ends_after: Duration = 600_000_000
    surfaced_ends_after: Duration = 600_000_000


class _Audience(_Part):
    name: Slug
    open: bool = False
    delay: Annotated[Duration, _within(0, 30, "days", 86_400 * _SECOND)] = duration_us("45 min")
    extra: Annotated[Duration, _within(0, 24, "h", 3_600 * _SECOND)] = duration_us("10 min")
    tick: Annotated[Duration, _within(1, 600, "s", _SECOND), AfterValidator(_whole_seconds)] = duration_us("15 s")
    fields: Annotated[list[Disclosed], Field(min_length=1)]
    cell: Annotated[Length, _within(1, 100_000, "m")] = 25.0
    depth_step: Annotated[Length, _within(0.1, 5_000, "m")] = 10.0
    heading_step: Annotated[Angle, _within(1, 180, "deg")] = 22.5
    tilt_step: Annotated[Angle, _within(1, 90, "deg")] = 5.0
    stale_after: Annotated[Duration, _within(1, 3_600, "s", _SECOND)] = duration_us("30 s")
    track_legs: list[Leg] = Field(default_factory=lambda: [Leg.BOTTOM])


class _File(_Part):
    expedition: _Expedition
    storage: _Storage = _Storage()
    public: _Public = _Public()
    dive: _Dive = _Dive()
    vehicle: Annotated[list[_Vehicle], Field(min_length=1, max_length=16)]
    feed: Annotated[list[_Feed], Field(min_length=1, max_length=64)]
    audience: Annotated[list[_Audience], Field(min_length=1, max_length=16)]


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
        file = _File.model_validate(values)
    except ValidationError as error:
        lines = line_numbers(text)
        raise ExpeditionError("\n".join(_fault(path, item, values, lines) for item in error.errors())) from error
    _cross_check(file, path, line_numbers(text))
    return _expedition(file, path)


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
    model: type[BaseModel] = _File
    for part in place[:-1]:
        if isinstance(part, str):
            model = _PARTS.get(part, model)
    names = [field.alias or name for name, field in model.model_fields.items()]
    close = difflib.get_close_matches(str(place[-1]), names, 1)
    return f'; did you mean "{close[0]}"?' if close else f"; known here: {', '.join(names)}"


_PARTS: dict[str, type[BaseModel]] = {
    "expedition": _Expedition,
    "storage": _Storage,
    "public": _Public,
    "dive": _Dive,
    "vehicle": _Vehicle,
    "feed": _Feed,
    "audience": _Audience,
}


def _cross_check(file: _File, path: Path, lines: dict[TomlPath, int]) -> None:
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


def listen_address(text: str) -> tuple[str, int]:
    """Return host and port of "HOST:PORT"; ValueError says what is wrong."""
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdigit() or int(port) > 65_535:
        raise ValueError(f'{text!r} is not HOST:PORT; write it as "127.0.0.1:8080"')
    return host.strip("[]"), int(port)


def _expedition(file: _File, path: Path) -> Expedition:
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
        ),
        feeds=tuple(FeedPlan(feed.name, feed.source) for feed in file.feed),
        open_audiences=frozenset(audience.name for audience in file.audience if audience.open),
        private=folder / file.storage.private,
        released=folder / file.storage.released,
        listen=listen_address(file.public.listen),
    )


def _source(feed: _Feed) -> SourcePlan:
    return SourcePlan(
        name=feed.name,
        format=feed.format,
        vehicle=feed.vehicle,
        sounder=feed.sounder,
        sounder_sentence=feed.sounder_sentence,
        variation_deg=feed.variation_deg,
        system=feed.system,
        component=feed.component,
    )


def _policy(audience: _Audience) -> Policy:
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
        track_legs=frozenset(audience.track_legs),
    )
