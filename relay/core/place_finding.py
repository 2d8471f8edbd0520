"""What the finders of places and times say: the notation they saw, where, and a plain sentence for the author."""

from dataclasses import dataclass
from enum import StrEnum


class Notation(StrEnum):
    """The ways of writing a place that the finder knows, the more particular first."""

    ISO_6709 = "ISO 6709 string"
    GEO_URI = "geo URI"
    LINK = "link"
    WORD_ADDRESS = "three-word address"
    GRID_METRES = "easting and northing"
    GRID_LETTERS = "lettered grid reference"
    PLUS_CODE = "plus code"
    LOCATOR = "locator"
    GEOHASH = "geohash"
    RADIO_LANES = "radio navigation lanes"
    LABELLED = "latitude or longitude"
    DECIMAL_DEGREES = "decimal degrees"
    DEGREES_MINUTES = "degrees and minutes"
    DEGREES_MINUTES_SECONDS = "degrees, minutes and seconds"
    FROM_A_PLACE = "range or bearing from a place"
    NAMED_FEATURE = "named place"
    FORBIDDEN_NAME = "forbidden name"


class When(StrEnum):
    """What tells when it is at the ship: looked for in programmes alone."""

    TIME_OF_DAY = "time of day"
    DATE = "date"
    SKY = "sun, moon or tide"


@dataclass(frozen=True, slots=True)
class Finding:
    """One place, or time, told in a text: half-open range in the text as given, its words, and why it was stopped."""

    notation: Notation | When
    start: int
    end: int
    excerpt: str
    why: str


@dataclass(frozen=True, slots=True)
class Hit:
    """A finding before it is put into words: half-open range in the text it was looked for in."""

    notation: Notation | When
    start: int
    end: int


_POSITION = "“{0}” reads as a position. Leave it out, or say where on the site instead, such as “near the bow”. {1}"
_MEASUREMENT = "If it is a measurement, write its unit or its name next to it."
_CODE = (
    "“{0}” reads as a position code ({1}). Leave it out; if it is a name or a serial number, put that word before it."
)
_WHEN = (
    "“{0}” tells {1}, and that can tell where the ship is. Say how long until, or after what, instead: “in about 3 h”, "
    "“after the second dive”."
)

WHY: dict[Notation | When, str] = {
    Notation.DECIMAL_DEGREES: _POSITION.format("{0}", _MEASUREMENT),
    Notation.DEGREES_MINUTES: _POSITION.format("{0}", _MEASUREMENT),
    Notation.DEGREES_MINUTES_SECONDS: _POSITION.format("{0}", "If it is a time, write UTC after it."),
    Notation.LABELLED: "“{0}” gives a latitude or longitude. Leave the number out.",
    Notation.ISO_6709: _CODE.format("{0}", "ISO 6709"),
    Notation.GEO_URI: "“{0}” is a link to a position. Leave it out.",
    Notation.LINK: "“{0}” is a link, and a link can lead to a map. Leave it out and say it in words.",
    Notation.WORD_ADDRESS: _CODE.format("{0}", "three joined words"),
    Notation.GRID_METRES: _CODE.format("{0}", "easting and northing"),
    Notation.GRID_LETTERS: _CODE.format("{0}", "grid letters and figures"),
    Notation.GEOHASH: _CODE.format("{0}", "geohash"),
    Notation.PLUS_CODE: _CODE.format("{0}", "plus code"),
    Notation.LOCATOR: _CODE.format("{0}", "locator"),
    Notation.RADIO_LANES: "“{0}” gives readings of a radio navigation chain. Leave them out.",
    Notation.FROM_A_PLACE: (
        "“{0}” measures from a place that may be on a chart. Measure from something on the site instead, "
        "such as the bow, the boiler or the vehicle."
    ),
    Notation.NAMED_FEATURE: "“{0}” names a place that may be on a chart. Leave the name out.",
    Notation.FORBIDDEN_NAME: "“{0}” is on this expedition's list of names not to publish. Leave it out.",
    When.TIME_OF_DAY: f"{_WHEN.format('{0}', 'the time of day')} {_MEASUREMENT}",
    When.DATE: _WHEN.format("{0}", "the date or the time of year"),
    When.SKY: _WHEN.format("{0}", "how sun, moon or tide stand at the ship"),
}
