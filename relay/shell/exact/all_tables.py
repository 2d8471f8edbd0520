"""All tables of an export, in their order, and the two about the export itself: its dictionary and its making."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.tables import Choice, Column, Row, Table, text
from relay.shell.exact.told_tables import TOLD
from relay.shell.exact.track_tables import RECEIVED

MARK = "EXACT, PRIVATE: exact positions. Not for release."
EXACT_TABLES: tuple[Table, ...] = (*RECEIVED, *TOLD)


@dataclass(frozen=True, slots=True)
class Making:
    """What an export says of itself."""

    expedition: str
    ship: str
    made: str
    version: str


def tables_of(making: Making) -> tuple[Table, ...]:
    """Return all tables, with the data dictionary and what the export says of itself."""
    known = (*EXACT_TABLES, _about(making))
    return (*known, _dictionary((*known, _dictionary(()))))


def _dictionary(tables: Sequence[Table]) -> Table:
    def rows(dives: ExactDives, choice: Choice) -> Iterator[Row]:
        for table in tables:
            yield None, (table.name, None, None, None, table.meaning)
            for column in table.columns:
                yield None, (table.name, column.name, str(column.type), column.unit or None, column.meaning)

    return Table("data_dictionary", "Data dictionary", "what each table and column means", None, _DICTIONARY, rows)


def _about(making: Making) -> Table:
    def rows(dives: ExactDives, choice: Choice) -> Iterator[Row]:
        unread = sum(dives.rows_of_unknown_feeds.values())
        told = {
            "mark": MARK,
            "expedition": making.expedition,
            "ship": making.ship,
            "made": making.made,
            "made with": f"Offing {making.version}",
            "journal rows": str(dives.rows),
            "journal rows of feeds that the expedition file doesn't name": str(unread),
            "dive": "all" if choice.dive is None else str(choice.dive),
            "vehicle": choice.vehicle or "all",
            "coordinate reference system": "EPSG:4326 (WGS84), degrees, not rounded",
            "depths": "metres below the surface, positive down",
            "times": "UTC by the clock that the column names",
            "texts in CSV": "one that begins with = + - @ ' or a tab has an apostrophe before it: take it away",
        }
        yield from ((None, item) for item in [*told.items(), *_clocks(dives, choice)])

    return Table("about", "About this export", "how this export was made, and what is in it", None, _ABOUT, rows)


def _clocks(dives: ExactDives, choice: Choice) -> Iterator[tuple[str, str]]:
    """Say how far each vehicle's clock lay behind the ship's in each dive: a table's times may be by either."""
    for dive in dives.dives:
        for vehicle in choice.vehicles(dives):
            behind_s = dives.clock_behind_s(vehicle, dive.number)
            if behind_s is not None and choice.takes(dive.number, vehicle):
                yield (
                    f"clock of {vehicle} in dive {dive.number}",
                    f"{behind_s:.3f} s behind the ship's wall clock (median)",
                )


_DICTIONARY: tuple[Column, ...] = (
    text("table_name", "the table"),
    text("column_name", "the column; empty: the table itself"),
    text("type", "its type: INTEGER, REAL, TEXT, BOOLEAN, DATETIME"),
    text("unit", "its unit"),
    text("meaning", "what it means"),
)
_ABOUT: tuple[Column, ...] = (text("what", "what is told"), text("value", "how it is"))
