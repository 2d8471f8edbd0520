"""Hand out the fields of one NMEA 0183 sentence, each checked for its form when it is asked for.

pynmeagps's tables name the fields of each kind and say which are numbers, and it reads dates. Its message objects
aren't made: they took three quarters of the time, and what they hold would have to be checked anyway, for they let
latitude 92, `nan`, `1e2`, `1_0` and hemisphere Q pass. So the form of every field is checked in the text that was sent,
and times and angles are made from it. Forms: the field tables of "NMEA Revealed" (gpsd project), where degrees and
minutes keep their leading zeros and the decimals may be missing.
"""

import re
from collections.abc import Callable
from datetime import date
from functools import cache
from typing import NamedTuple

from pynmeagps.nmeahelpers import date2utc
from pynmeagps.nmeatypes_core import DE, IN
from pynmeagps.nmeatypes_get import NMEA_PAYLOADS_GET

from relay.core.ranges import out_of_range

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_TIME = re.compile(r"([0-9]{2})([0-9]{2})([0-9]{2}(?:\.[0-9]*)?)")
_LATITUDE = re.compile(r"([0-9]{2})([0-9]{2}(?:\.[0-9]*)?)")
_LONGITUDE = re.compile(r"([0-9]{3})([0-9]{2}(?:\.[0-9]*)?)")
_SHORT_DATE = re.compile(r"[0-9]{6}")
_LONG_DATE = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})")

_CONVERT: dict[object, Callable[[str], float]] = {DE: float, IN: int}

Values = dict[str, float | None]


class Impossible(Exception):
    """A field says something that cannot be; the text is the countable reason. Never leaves the decoder."""


def check(field: str, value: float) -> None:
    """Raise Impossible where `value` lies outside the range of `field`."""
    reason = out_of_range(field, value)
    if reason is not None:
        raise Impossible(reason)


class _Form(NamedTuple):
    """The fields of a kind of sentence by pynmeagps's table.

    `places`: by their names; `numbers`: which of them are numbers, and how they are made. `again`: over how many fields
    the table begins anew, 0 where it doesn't.
    """

    places: dict[str, int]
    numbers: tuple[tuple[int, Callable[[str], float]], ...]
    again: int

    def check(self, texts: list[str]) -> None:
        """Raise ValueError where a field of numbers, used here or not, holds what pynmeagps takes for none."""
        known = len(texts)
        for start in range(0, known - self.again + 1, self.again) if self.again else (0,):
            for at, convert in self.numbers:
                if start + at < known and (text := texts[start + at]):
                    convert(text)


@cache
def _form(kind: str) -> _Form:
    table, again = NMEA_PAYLOADS_GET[kind], False
    if len(table) == 1 and (group := table.get("group_grp")):  # XDR is one group over and over
        table, again = group[1], True
    numbers = ((at, _CONVERT[told]) for at, told in enumerate(table.values()) if told in _CONVERT)
    return _Form({name: at for at, name in enumerate(table)}, tuple(numbers), len(table) if again else 0)


class Fields:
    """The fields of one sentence under pynmeagps's names.

    `content` is what stands between the start character and the checksum, printable ASCII, of a kind pynmeagps
    knows; `least` the number of fields it must have. Every method raises Impossible where a field says
    something that cannot be.
    """

    def __init__(self, content: str, least: int) -> None:
        address, *self.texts = content.split(",")
        if len(self.texts) < least:
            raise Impossible("truncated sentence")
        self._kind = address[2:]
        form = _form(self._kind)
        self._places = form.places
        try:
            form.check(self.texts)
        except ValueError as refusal:
            raise Impossible("malformed field") from refusal

    def text(self, name: str) -> str:
        """Return the field as it was sent; empty also where the sentence ends before it."""
        at = self._places.get(name)
        return "" if at is None or at >= len(self.texts) else self.texts[at]

    def number(self, name: str) -> float | None:
        """Return a decimal number, None if empty; `nan`, `inf`, exponents, blanks and underscores are no numbers."""
        text = self.text(name)
        if not text:
            return None
        if not NUMBER.fullmatch(text):
            raise Impossible(f"{self._kind} {name} is not a number")
        return float(text)

    def measured(self, name: str, unit_name: str, unit: str) -> float | None:
        """Return a number that must carry `unit`."""
        value = self.number(name)
        if value is not None and self.text(unit_name) != unit:
            raise Impossible(f"{self._kind} {name} is not in {unit}")
        return value

    def east_west(self, name: str) -> float | None:
        """Return degrees, east positive, from a magnitude and the letter E or W; None if empty."""
        value, letter = self.number(name), self.text(name + "EW")
        if value is None:
            return None
        if not 0 <= value <= 180:
            raise Impossible(f"{self._kind} {name} out of range")
        if letter not in ("E", "W"):
            raise Impossible(f"{self._kind} {name} is neither E nor W")
        return value if letter == "E" else -value

    def valid(self, name: str) -> bool:
        """Return whether a status is A; V and empty are not, any other letter is no status."""
        if self.text(name) not in ("A", "V", ""):
            raise Impossible(f"{self._kind} status is neither A nor V")
        return self.text(name) == "A"

    def position(self) -> Values:
        """Return latitude and longitude, degrees, or nothing where all is empty."""
        latitude, longitude = self.text("lat"), self.text("lon")
        if not latitude and not longitude:
            return {}
        return {
            "latitude_deg": _degrees(latitude, _LATITUDE, self.text("NS"), "NS", "latitude"),
            "longitude_deg": _degrees(longitude, _LONGITUDE, self.text("EW"), "EW", "longitude"),
        }

    def time_of_day_s(self) -> float | None:
        """Return seconds after midnight UTC; a leap second is 23:59:60 (ITU-R TF.460, from memory)."""
        text = self.text("time")
        if not text:
            return None
        found = _TIME.fullmatch(text)
        if not found:
            raise Impossible(f"{self._kind} time is malformed")
        hour, minute, second = int(found[1]), int(found[2]), float(found[3])
        if hour > 23 or minute > 59 or second >= (61 if (hour, minute) == (23, 59) else 60):
            raise Impossible(f"{self._kind} time out of range")
        return hour * 3600 + minute * 60 + second

    def short_date(self) -> date | None:
        """Return the date of `ddmmyy`; pynmeagps takes 69 to 99 as 1969 to 1999 (the pivot of POSIX strptime)."""
        if not self.text("date"):
            return None
        day = date2utc(self.text("date"))
        if not _SHORT_DATE.fullmatch(self.text("date")) or not isinstance(day, date):
            raise Impossible(f"{self._kind} date is malformed")
        return day

    def long_date(self) -> date | None:
        """Return the date of separate day, month and four-digit year."""
        parts = [self.text(name) for name in ("year", "month", "day")]
        if not any(parts):
            return None
        found = _LONG_DATE.fullmatch("-".join(parts))
        if not found:
            raise Impossible(f"{self._kind} date is malformed")
        try:
            return date(int(found[1]), int(found[2]), int(found[3]))
        except ValueError as refusal:
            raise Impossible(f"{self._kind} date is malformed") from refusal


def _degrees(text: str, form: re.Pattern[str], letter: str, letters: str, field: str) -> float:
    found = form.fullmatch(text)
    if not found:
        raise Impossible(f"{field} is malformed")
    if len(letter) != 1 or letter not in letters:
        raise Impossible(f"{field} is neither {letters[0]} nor {letters[1]}")
    minutes = float(found[2])
    if minutes >= 60:
        raise Impossible(f"{field} has 60 minutes or more")
    value = int(found[1]) + minutes / 60
    return value if letter == letters[0] else -value
