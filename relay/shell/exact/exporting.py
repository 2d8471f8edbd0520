"""`offing journal export`: the exact record as tables in a file, for a GIS program, a spreadsheet or a script.

Rules: what is exact leaves the private folder only encrypted: a plain export lies in that folder, readable by its owner
alone; anywhere else it is encrypted to recipients. Nothing is written over; the file is there whole or not at all. It
reads while the relay runs, takes nothing from it, and leaves the journal the room that it needs.
"""

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from enum import StrEnum
from importlib.metadata import version
from pathlib import Path

from relay.core.errors import OperatorError
from relay.shell.exact.all_tables import MARK, Making, tables_of
from relay.shell.exact.csv_tables import write_csv
from relay.shell.exact.exact_dives import ExactDives, exact_dives
from relay.shell.exact.exact_store import leave_room
from relay.shell.exact.geojson import write_geojson
from relay.shell.exact.gpkg import write_gpkg
from relay.shell.exact.tables import Choice, Table
from relay.shell.exact.telling import Telling, telling
from relay.shell.locked.locking import encrypt_file, recipients_of
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.record.import_log import expedition_file

PREFIX = "exporting-"


class Format(StrEnum):
    """The formats of an export."""

    GPKG = "gpkg"
    CSV = "csv"
    GEOJSON = "geojson"


_Write = Callable[[Path, tuple[Table, ...], ExactDives, Choice, datetime, Callable[[str, int], None]], dict[str, int]]
_WRITERS: dict[Format, _Write] = {Format.GPKG: write_gpkg, Format.CSV: write_csv, Format.GEOJSON: write_geojson}


def export_journal(options: argparse.Namespace) -> int:
    """Write the export that `options` ask for, and say what is in it."""
    expedition = read_expedition(expedition_file(options.expedition))
    if options.vehicle is not None and options.vehicle not in expedition.plan.vehicles:
        known = ", ".join(expedition.plan.vehicles)
        raise OperatorError(f"--vehicle {options.vehicle}: the expedition file knows {known}: name one of them")
    _check_out(options.out, expedition.private, options.to)
    with telling() as tell:
        choice = Choice(options.dive, options.vehicle)
        counts = export_record(expedition, Format(options.format), options.out, choice, options.to, tell)
    _say(options, counts)
    return 0


def export_record(
    expedition: Expedition, kind: Format, out: Path, choice: Choice, to: list[str], tell: Telling
) -> dict[str, int]:
    """Write the exact record to a new file, encrypted if there are recipients; return how many rows each table has."""
    made = datetime.now(UTC)
    making = Making(expedition.plan.expedition, expedition.ship, f"{made:%Y-%m-%dT%H:%M:%SZ}", version("offing"))

    def told(title: str, count: int) -> None:
        leave_room(expedition.private)
        tell(f"writing: {title}", count)

    with exact_dives(expedition, tell) as dives:
        if choice.dive is not None:
            dives.dive(choice.dive)
        with _beside(expedition.private) as plain:
            counts = _WRITERS[kind](plain, tables_of(making), dives, choice, made, told)
            if to:
                tell("encrypting", 0)
                encrypt_file(plain, out, to)
            else:
                _put_in_place(plain, out)
    return counts


def _check_out(out: Path, private: Path, to: list[str]) -> None:
    """Refuse a place where an exact file mustn't lie, or where one is."""
    if to:
        recipients_of(to)
    elif not out.resolve().is_relative_to(private.resolve()):
        raise OperatorError(
            f"{out} is outside the private folder {private}, and exact positions leave that only encrypted: give "
            f"--out {private / out.name}, or name with --to who may open it (age1..., as `offing identity` prints it)"
        )
    if out.exists() or out.is_symlink():
        raise OperatorError(f"{out} is there already, and nothing is written over: give another name")
    if not out.resolve().parent.is_dir():
        raise OperatorError(f"{out.parent} is no folder: make it first, or give another place")


@contextmanager
def _beside(private: Path) -> Iterator[Path]:
    """Give a file in the private folder to write to, for its owner alone, which is gone in the end."""
    try:
        descriptor, name = tempfile.mkstemp(prefix=PREFIX, dir=private)
    except OSError as error:
        raise OperatorError(f"{private} can't be written: {error.strerror}") from error
    os.close(descriptor)
    try:
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)


def _put_in_place(plain: Path, out: Path) -> None:
    """Let the file have its name, on the disk: a link, which nothing that is there meanwhile is lost by."""
    try:
        with plain.open("rb") as file:
            os.fsync(file.fileno())
        out.hardlink_to(plain)
        folder = os.open(out.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        raise OperatorError(f"{out} can't be written: {error.strerror}; nothing was kept of it") from error


def _say(options: argparse.Namespace, counts: dict[str, int]) -> None:
    octets = options.out.stat().st_size
    if options.json:
        print(json.dumps({"file": str(options.out), "octets": octets, "encrypted": bool(options.to), "rows": counts}))
        return
    print(options.out)
    for name, count in counts.items():
        print(f"  {count:>9,}  {name}")
    word = "encrypted; who was named opens it with `offing open`" if options.to else MARK
    print(word, file=sys.stderr)
