"""`offing journal export`: the exact record as tables in a file, for a GIS program, a spreadsheet or a script.

Rules: what is exact leaves the private folder only encrypted: a plain export lies in that folder, readable by its owner
alone; anywhere else it is encrypted to recipients. Nothing is written over; the file is there whole or not at all. It
reads while the relay runs, takes nothing from it, and leaves the journal the room that it needs.
"""

import argparse
import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from enum import StrEnum
from importlib.metadata import version
from pathlib import Path

from relay.core.errors import OperatorError
from relay.shell.exact.all_tables import MARK, Making, tables_of
from relay.shell.exact.csv_tables import write_csv
from relay.shell.exact.exact_dives import exact_dives
from relay.shell.exact.exact_store import leave_room
from relay.shell.exact.find_files_out import add_files, files_of
from relay.shell.exact.geojson import write_geojson
from relay.shell.exact.gpkg import write_gpkg
from relay.shell.exact.tables import Choice
from relay.shell.exact.telling import Telling, telling
from relay.shell.exact.written_apart import Write, write_apart
from relay.shell.locked.locking import ENDING, encrypt_file, recipients_of
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.record.exact_place import check_exact_place
from relay.shell.record.import_log import expedition_file
from relay.shell.record.whole_file import left_behind, path_beside, scratch_file


class Format(StrEnum):
    """The formats of an export."""

    GPKG = "gpkg"
    CSV = "csv"
    GEOJSON = "geojson"


_WRITERS: dict[Format, Write] = {Format.GPKG: write_gpkg, Format.CSV: write_csv, Format.GEOJSON: write_geojson}


def export_journal(options: argparse.Namespace) -> int:
    """Write the export that `options` ask for, and say what is in it."""
    expedition = read_expedition(expedition_file(options.expedition))
    if options.vehicle is not None and options.vehicle not in expedition.plan.vehicles:
        known = ", ".join(expedition.plan.vehicles)
        raise OperatorError(f"--vehicle {options.vehicle}: the expedition file knows {known}: name one of them")
    if options.with_files and options.format == Format.GPKG:
        raise OperatorError("--with-files: files go into a .zip, not into a GeoPackage: take --format csv or geojson")
    _check_out(options, expedition)
    with telling() as tell:
        choice = Choice(options.dive, options.vehicle)
        kind = Format(options.format)
        counts = export_record(expedition, kind, options.out, choice, options.to, tell, options.with_files)
    _say(options, counts)
    for path in left_behind(expedition.private):
        print(f"{path}: left by a command that was killed, or one at work. Remove it if none is.", file=sys.stderr)
    return 0


def export_record(
    expedition: Expedition,
    kind: Format,
    out: Path,
    choice: Choice,
    to: list[str],
    tell: Telling,
    with_files: bool = False,
) -> dict[str, int]:
    """Write the exact record to a new file, encrypted if there are recipients; return how many rows each table has.

    `with_files`: the finds' photographs and drawings go into the same .zip, and their number is among the counts.
    """
    made = datetime.now(UTC)
    making = Making(expedition.plan.expedition, expedition.ship, f"{made:%Y-%m-%dT%H:%M:%SZ}", version("offing"))

    def told(title: str, count: int) -> None:
        leave_room(expedition.private)
        tell(f"writing: {title}", count)

    with exact_dives(expedition, tell) as dives:
        if choice.dive is not None:
            dives.dive(choice.dive)
        with _plain(out, expedition, to) as plain:
            counts = write_apart(_WRITERS[kind], plain, tables_of(making), dives, choice, made, told)
            if with_files:
                counts["files"] = add_files(plain, expedition.private, files_of(dives, choice), tell)
            if to:
                tell("encrypting", 0)
                encrypt_file(plain, out, to)
    return counts


@contextmanager
def _plain(out: Path, expedition: Expedition, to: list[str]) -> Iterator[Path]:
    """Give the file to write to, in the private folder: in the end it becomes `out`, or goes if that is encrypted."""
    if not to:
        with path_beside(out) as plain:
            yield plain
        return
    try:
        with scratch_file(expedition.private) as plain:
            yield plain
    except OSError as error:
        raise OperatorError(f"{expedition.private} can't be written: {error.strerror or error}") from error


def _check_out(options: argparse.Namespace, expedition: Expedition) -> None:
    """Refuse a place where an exact file mustn't lie, or where one is, and a name that hides that it is encrypted."""
    out = options.out
    if options.to:
        recipients_of(options.to)
        if out.suffix != ENDING:
            raise OperatorError(
                f"{out} would be encrypted, and no program that its name promises could read it: give "
                f"--out {out}{ENDING}"
            )
    check_exact_place(out, expedition, encrypted=bool(options.to))


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
