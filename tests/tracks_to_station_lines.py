"""Turn a published track table into Offing's JSON lines, one message per row.

    python tests/tracks_to_station_lines.py IN.csv.gz OUT.jsonl --vehicle NAME

The table is a CSV with a header line, gzipped or not. What is read of it:

| column | becomes | unit |
| --- | --- | --- |
| t_s | t | s: Unix time, or since the first row, as the table has it |
| lat_deg, lon_deg | latitude_deg, longitude_deg, both or neither | deg |
| depth_m, altitude_m | the same | m |
| heading_deg, pitch_deg, roll_deg | the same | deg |

Every other column is left out: they are raw readings of the same things, status, or codes of one make of vehicle.
A cell that is empty stays missing; nothing is filled in, smoothed or resampled. Numbers are those of the table.
A row that tells nothing but its time is left out.
"""

import argparse
import csv
import gzip
import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

COLUMNS = {
    "depth_m": "depth_m",
    "altitude_m": "altitude_m",
    "heading_deg": "heading_deg",
    "pitch_deg": "pitch_deg",
    "roll_deg": "roll_deg",
}


def station_messages(rows: Iterable[Mapping[str, str]], vehicle: str) -> Iterator[dict[str, float | str]]:
    """Yield one station message per row that tells anything; raise ValueError for a cell that is no number."""
    for row in rows:
        told = {field: float(row[column]) for column, field in COLUMNS.items() if row.get(column)}
        if row.get("lat_deg") and row.get("lon_deg"):
            told |= {"latitude_deg": float(row["lat_deg"]), "longitude_deg": float(row["lon_deg"])}
        if told:
            yield {"t": float(row["t_s"]), "vehicle": vehicle, **told}


def read_rows(path: Path) -> list[dict[str, str]]:
    """Return the rows of a track table as text cells by column."""
    with gzip.open(path, "rt", newline="") if path.suffix == ".gz" else path.open(newline="") as table:
        return list(csv.DictReader(table))


def convert(source: Path, target: Path, vehicle: str) -> int:
    """Write the station lines of the table `source` to `target` and return how many."""
    lines = [json.dumps(message) + "\n" for message in station_messages(read_rows(source), vehicle)]
    target.write_text("".join(lines))
    return len(lines)


def main(arguments: list[str] | None = None) -> int:
    """Read the command line, convert, and say what was written."""
    parser = argparse.ArgumentParser(description="Turn a track table into Offing's JSON lines.")
    parser.add_argument("source", type=Path, metavar="IN.csv.gz", help="the track table")
    parser.add_argument("target", type=Path, metavar="OUT.jsonl", help="where the lines go")
    parser.add_argument("--vehicle", required=True, metavar="NAME", help="whose track it is")
    chosen = parser.parse_args(arguments)
    try:
        count = convert(chosen.source, chosen.target, chosen.vehicle)
    except (OSError, EOFError, KeyError, ValueError) as error:
        sys.stderr.write(f"{chosen.source}: not converted ({error!r}); it must be a track table with a column t_s\n")
        return 1
    sys.stdout.write(f"{count} messages in {chosen.target}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
