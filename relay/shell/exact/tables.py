"""The tables of an export: their columns, units and meaning, and the rows of each. One source for every format.

Rules: exact and private; nothing is rounded. A time is UTC by the clock that the column names, to the millisecond as
text and in full as a number of seconds. What isn't known is empty, never zero. A column's description here is the data
dictionary that each export carries with it.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.shapes import Shape, ShapeKind

Row = tuple[Shape | None, tuple[Any, ...]]


class Type(StrEnum):
    """The type of a column, by its name in a GeoPackage (OGC 12-128r17, table 1)."""

    INTEGER = "INTEGER"
    REAL = "REAL"
    TEXT = "TEXT"
    BOOLEAN = "BOOLEAN"
    TIME = "DATETIME"


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, type, unit (empty: none) and meaning."""

    name: str
    type: Type
    meaning: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """What of the record is exported: a dive and a vehicle, or all (None)."""

    dive: int | None = None
    vehicle: str | None = None

    def takes(self, dive: int | None, vehicle: str | None) -> bool:
        """Return whether something of a dive and a vehicle is chosen; what is of no vehicle goes with every one."""
        return self.dive in (None, dive) and (self.vehicle is None or vehicle in (None, self.vehicle))

    def vehicles(self, dives: ExactDives) -> tuple[str, ...]:
        """Return the vehicles that are chosen, in the plan's order."""
        return tuple(name for name in dives.plan.vehicles if self.vehicle in (None, name))


@dataclass(frozen=True, slots=True)
class Table:
    """A table: what it is called and means, which shapes it has (None: none), its columns, and how its rows are had."""

    name: str
    title: str
    meaning: str
    shape: ShapeKind | None
    columns: tuple[Column, ...]
    rows: Callable[[ExactDives, Choice], Iterator[Row]]
    mixed: bool = False


def text(name: str, meaning: str) -> Column:
    """Return a column of text."""
    return Column(name, Type.TEXT, meaning)


def whole(name: str, meaning: str, unit: str = "") -> Column:
    """Return a column of whole numbers."""
    return Column(name, Type.INTEGER, meaning, unit)


def real(name: str, meaning: str, unit: str) -> Column:
    """Return a column of numbers."""
    return Column(name, Type.REAL, meaning, unit)


def flag(name: str, meaning: str) -> Column:
    """Return a column of yes and no."""
    return Column(name, Type.BOOLEAN, meaning)


def moment(name: str, meaning: str) -> Column:
    """Return a column of times, UTC."""
    return Column(name, Type.TIME, meaning, "UTC")


class Clock:
    """Times as text, ISO 8601 in UTC to the millisecond: the last one is kept, and its second, for ten come in each."""

    def __init__(self) -> None:
        self._second, self._text = -1, ""
        self._last_s: float | None = None
        self._last = ""

    def __call__(self, unix_s: float | None) -> str | None:
        """Return a time in Unix seconds as text; None for None."""
        if unix_s is None:
            return None
        if unix_s == self._last_s:
            return self._last
        thousandths = round(unix_s * 1_000)
        second, rest = divmod(thousandths, 1_000)
        if second != self._second:
            self._second, self._text = second, iso_second(second)
        self._last_s, self._last = unix_s, f"{self._text}.{rest:03d}Z"
        return self._last


def iso_second(second: int) -> str:
    """Return a whole Unix second as ISO 8601, without its zone."""
    return datetime.fromtimestamp(second, UTC).isoformat(timespec="seconds")[:19]
