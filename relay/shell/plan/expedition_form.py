"""The form of an expedition file: what may stand in it, in which units, within which limits.

Rules (R4): an unknown key or a value out of its limits is refused. A preset fills in what an audience
doesn't say itself.
"""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StrictBool, model_validator

from relay.core.errors import OperatorError
from relay.core.policy import Disclosed, Leg, Place
from relay.shell.plan.desk_address import near_address
from relay.shell.plan.feed_url import FeedUrl, parse_feed_url
from relay.shell.plan.host_names import UNASKED, can_be_asked_for
from relay.shell.plan.quantities import (
    angle_deg,
    area_km2,
    duration_us,
    length_m,
    questions_address,
    rate_bits_per_s,
    web_address,
)
from relay.shell.plan.uplink_plan import shore_address, shore_pin

_SECOND = 1_000_000
PRESETS: dict[str, dict[str, object]] = {
    "public": {
        "fields": ["track", "depth", "altitude", "heading", "pitch", "roll", "mode", "leg", "notes"],
        "descent_step": "10 m", "depth_step": "50 m",
        "track_start": "100 m", "track_start_after": "10 min", "radius": "1500 m",
    },
    "funders": {
        "fields": ["track", "depth", "altitude", "heading", "pitch", "roll", "mode", "leg", "notes"],
        "delay": "20 min", "extra": "5 min", "tick": "5 s", "cell": "10 m", "depth_step": "10 m",
        "track_start": "50 m", "track_start_after": "5 min", "radius": "2 km",
    },
    "heritage": {
        "fields": ["track", "depth", "altitude", "heading", "pitch", "roll", "mode", "leg", "notes", "stills"],
        "place": "exact", "delay": "0 s", "extra": "0 s", "tick": "1 s", "cell": "1 m", "depth_step": "0.1 m",
        "heading_step": "1 deg", "tilt_step": "1 deg", "track_legs": ["deck", "descent", "bottom", "ascent"],
        "text": "unchecked",
    },
}  # fmt: skip


def _within(least: float, most: float, unit: str, scale: float = 1.0) -> AfterValidator:
    """Refuse a quantity outside its limits, told in `unit`, of which the value has `scale` to one."""

    def check(value: float) -> float:
        if not least <= value / scale <= most:
            raise ValueError(f"must be from {least:g} {unit} to {most:.9g} {unit}, not {value / scale:.9g} {unit}")
        return value

    return AfterValidator(check)


def _whole_seconds(value: int) -> int:
    if value % _SECOND:
        raise ValueError("must be whole seconds")
    return value


Duration = Annotated[int, BeforeValidator(duration_us)]
Length = Annotated[float, BeforeValidator(length_m)]
Expanse = Annotated[float, BeforeValidator(area_km2)]
Angle = Annotated[float, BeforeValidator(angle_deg)]
Rate = Annotated[float, BeforeValidator(rate_bits_per_s)]
# In the regular expressions of pydantic: what acts on a terminal, turns a line or can't be seen is in no name.
NAME, SLUG = r"^[^\s\p{C}]([^\p{C}\p{Zl}\p{Zp}]*[^\s\p{C}])?$", r"^[a-z][a-z0-9-]{0,39}$"
Name = Annotated[str, Field(min_length=1, max_length=80, pattern=NAME)]
Slug = Annotated[str, Field(pattern=SLUG)]


def _position(value: object) -> tuple[float, float]:
    """Read [latitude, longitude] in degrees."""
    if not isinstance(value, list) or len(value) != 2 or not all(type(item) in (int, float) for item in value):
        commas = isinstance(value, list) and len(value) == 4 and all(type(item) is int for item in value)
        why = "has decimal commas" if commas else "is not a position"
        raise ValueError(f"{value!r} {why}; {AS_POSITION}")
    latitude, longitude = float(value[0]), float(value[1])
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        swapped = "; is the longitude first?" if abs(longitude) <= 90 < abs(latitude) <= 180 else ""
        raise ValueError(f"latitude is from -90 to 90 and longitude from -180 to 180 degrees{swapped}")
    return latitude, longitude


AS_POSITION = (
    "write it as [latitude, longitude] in degrees: numbers with a point, without quotes, south and west negative, "
    "such as [-12.5, 45.25]"
)
_Position = Annotated[tuple[float, float], BeforeValidator(_position)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=False, frozen=True)


class ExpeditionPart(_Part):
    """What the expedition is called: followers read all of it but the swath, from which their area is worked out."""

    name: Name
    ship: Name
    wreck: Name | None = None
    language: Literal["en", "de"] = "en"
    swath: Annotated[Length, _within(1, 10_000, "m")] | None = None


class StoragePart(_Part):
    """Where the exact and the released record are kept, from the file's own folder."""

    private: str = "private"
    released: str = "released"


class PublicPart(_Part):
    """Where the followers' page listens, where the world knows it to be, and where followers may write to."""

    listen: str = "127.0.0.1:8080"
    address: Annotated[str, AfterValidator(web_address)] | None = None
    questions_to: Annotated[str, AfterValidator(questions_address)] | None = None


def _desk_listen(text: str) -> str:
    near_address(*listen_address(text))
    return text


class DeskPart(_Part):
    """Where the desk listens: on this machine, or on the ship's own network."""

    listen: Annotated[str, AfterValidator(_desk_listen)] = "127.0.0.1:8090"


class UplinkPart(_Part):
    """Where the shore is, how it is known, who is told of there, and how much the link may carry."""

    to: Annotated[tuple[str, int], BeforeValidator(lambda text: shore_address(str(text)))]
    pin: Annotated[bytes, BeforeValidator(lambda text: shore_pin(str(text)))] | None = None
    audiences: Annotated[list[Slug], Field(min_length=1, max_length=16)] | None = None
    limit: Annotated[Rate, _within(2, 1e6, "kbit/s", 1e3)] | None = None


class VehiclePart(_Part):
    """A vehicle, by the name that followers read, and what the ship's own survey figures go by."""

    name: Name
    tether: Annotated[Length, _within(1, 20_000, "m")] | None = None
    swath: Annotated[Length, _within(1, 20_000, "m")] | None = None
    nadir_gap: Annotated[Length, _within(0, 20_000, "m")] | None = None


class SurveyPart(_Part):
    """The planned area of the survey, by its corners in their order round it: for the ship alone."""

    corners: Annotated[list[_Position], Field(min_length=3, max_length=200)]


def _feed_url(text: object) -> FeedUrl:
    try:
        return parse_feed_url(str(text))
    except OperatorError as error:
        raise ValueError(str(error)) from error


class FeedPart(_Part):
    """Where bytes come from, how they are read, and whose they are: a vehicle's, or (for the desk alone) the ship's."""

    name: Slug
    format: Literal["nmea0183", "mavlink", "station-json", "station-msgpack"]
    source: Annotated[Any, BeforeValidator(_feed_url)] = Field(alias="from")
    vehicle: Name | None = None
    of: Literal["ship"] | None = None
    sounder: Literal["depth", "altitude"] | None = None
    sounder_sentence: Literal["DPT", "DBT"] = "DPT"
    variation_deg: Annotated[float, Field(ge=-180, le=180)] | None = None
    system: Annotated[int, Field(ge=1, le=255)] = 1
    component: Annotated[int, Field(ge=1, le=255)] = 1
    depth_from: Literal["relative_alt", "pressure"] = "relative_alt"
    standby_for: Slug | None = None

    @model_validator(mode="after")
    def _fits(self) -> "FeedPart":
        if self.of is not None and self.vehicle is not None:
            raise ValueError('of = "ship" is not a vehicle\'s feed: take of or vehicle away')
        if self.format in ("nmea0183", "mavlink") and self.vehicle is None and self.of is None:
            raise ValueError(f'{self.format} doesn\'t name its vehicle: add vehicle = "..."')
        if self.format != "nmea0183" and self.sounder is not None:
            raise ValueError("sounder goes with nmea0183 alone")
        return self


class StationsPart(_Part):
    """When two stations that send the same vehicle contradict each other."""

    contradict: Annotated[Length, _within(1, 10_000, "m")] = 50.0


class DivePart(_Part):
    """When a dive begins and ends by itself."""

    begins: Literal["report", "depth"] = "depth"
    begin_depth: Annotated[Length, _within(1, 1_000, "m")] = 5.0
    quiet_ends_after: Annotated[Duration, _within(1, 86_400, "s", _SECOND)] = 600 * _SECOND
    surfaced_ends_after: Annotated[Duration, _within(1, 86_400, "s", _SECOND)] = 600 * _SECOND


class AreaPart(_Part):
    """The declared area: a circle (centre and radius) or a polygon (corners)."""

    name: Name
    centre: _Position | None = None
    radius: Annotated[Length, _within(100, 2_000_000, "m")] | None = None
    corners: Annotated[list[_Position], Field(min_length=3, max_length=200)] | None = None

    @model_validator(mode="after")
    def _one_shape(self) -> "AreaPart":
        circle = self.centre is not None and self.radius is not None
        if circle == (self.corners is not None) or (self.centre is None) != (self.radius is None):
            raise ValueError("give either centre and radius, or corners")
        return self


class ZonePart(_Part):
    """A place whose surroundings are hidden; its margin blurs the edge."""

    name: Name
    centre: _Position
    radius: Annotated[Length, _within(1, 100_000, "m")]
    margin: Annotated[Length, _within(1, 100_000, "m")]
    action: Literal["withhold", "freeze"] = "withhold"

    @model_validator(mode="after")
    def _blurs(self) -> "ZonePart":
        if self.margin < self.radius / 2:
            raise ValueError(
                f"a margin of {self.margin:g} m about a zone of {self.radius:g} m lets the hole point at its centre: "
                f'make it at least half the radius, margin = "{self.radius / 2:g} m"'
            )
        return self


class AuditPart(_Part):
    """What an outsider has who looks for the place, as files from this file's folder: charts, AIS, lists of wrecks."""

    charts: Annotated[list[Annotated[str, Field(min_length=1)]], Field(min_length=1, max_length=16)]
    ship_track: Annotated[str, Field(min_length=1)] | None = None
    wrecks: Annotated[str, Field(min_length=1)] | None = None


class TextPart(_Part):
    """What annotations must not say, beside places."""

    forbidden: Annotated[list[Name], Field(max_length=1_000)] = []


class AudiencePart(_Part):
    """Who may follow, how late, how coarse; defaults are the public ones."""

    name: Slug
    preset: Literal["public", "funders", "heritage"] | None = None
    open: StrictBool = False
    invited: StrictBool = False
    delay: Annotated[Duration, _within(0, 720, "h", 3_600 * _SECOND)] = duration_us("45 min")
    extra: Annotated[Duration, _within(0, 24, "h", 3_600 * _SECOND)] = duration_us("10 min")
    tick: Annotated[Duration, _within(1, 600, "s", _SECOND), AfterValidator(_whole_seconds)] = duration_us("15 s")
    fields: Annotated[list[Disclosed], Field(min_length=1)]
    place: Place = Place.LOCAL
    cell: Annotated[Length, _within(1, 100_000, "m")] = 25.0
    depth_step: Annotated[Length, _within(0.1, 5_000, "m")] = 10.0
    descent_step: Annotated[Length, _within(0.1, 5_000, "m")] | None = None
    depth: Literal["absolute", "relative"] = "absolute"
    heading_step: Annotated[Angle, _within(1, 180, "deg")] = 22.5
    tilt_step: Annotated[Angle, _within(1, 90, "deg")] = 5.0
    stale_after: Annotated[Duration, _within(1, 3_600, "s", _SECOND)] = duration_us("30 s")
    track_legs: list[Leg] = [Leg.BOTTOM]
    track_start: Annotated[Length, _within(0, 100_000, "m")] = 0.0
    track_start_after: Annotated[Duration, _within(0, 24, "h", 3_600 * _SECOND)] = 0
    radius: Annotated[Length, _within(10, 20_000, "m")] | None = None
    text: Literal["checked", "unchecked"] = "checked"
    promise: Annotated[Expanse, _within(0.01, 1e8, "km2")] | None = None


def listen_address(text: str) -> tuple[str, int]:
    """Return host and port of "HOST:PORT"; ValueError says what is wrong."""
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdigit() or int(port) > 65_535:
        raise ValueError(f'{text!r} is not HOST:PORT; write it as "127.0.0.1:8080"')
    host = host.strip("[]")
    if not can_be_asked_for(host):
        raise ValueError(f'{text!r} can\'t be listened at: {UNASKED}; write it as "127.0.0.1:8080"')
    return host, int(port)


class File(_Part):
    """A whole expedition file."""

    expedition: ExpeditionPart
    storage: StoragePart = StoragePart()
    public: PublicPart = PublicPart()
    desk: DeskPart | None = None
    uplink: UplinkPart | None = None
    dive: DivePart = DivePart()
    stations: StationsPart = StationsPart()
    survey: SurveyPart | None = None
    area: AreaPart | None = None
    text: TextPart = TextPart()
    audit: AuditPart | None = None
    zone: Annotated[list[ZonePart], Field(max_length=100)] = []
    vehicle: Annotated[list[VehiclePart], Field(min_length=1, max_length=16)]
    feed: Annotated[list[FeedPart], Field(min_length=1, max_length=64)]
    audience: Annotated[list[AudiencePart], Field(min_length=1, max_length=16)]


PARTS: dict[str, type[BaseModel]] = {
    "expedition": ExpeditionPart,
    "storage": StoragePart,
    "public": PublicPart,
    "desk": DeskPart,
    "uplink": UplinkPart,
    "dive": DivePart,
    "stations": StationsPart,
    "survey": SurveyPart,
    "area": AreaPart,
    "text": TextPart,
    "audit": AuditPart,
    "zone": ZonePart,
    "vehicle": VehiclePart,
    "feed": FeedPart,
    "audience": AudiencePart,
}
