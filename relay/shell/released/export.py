"""Released data for other programs: GeoJSON in metres of the local frame, CSV.

Rules: written from a recording alone, so that a file tells nothing that wasn't released; the same recording gives the
same bytes; a file that is there is never written over unless that is asked for.

GeoJSON (RFC 7946) has longitude and latitude; its section 4 lets another reference system stand by prior arrangement.
Ours is metres in a secret, turned frame, and every file says so in a member of its own.
"""

import csv
import json
from collections.abc import Iterator, Sequence
from io import StringIO
from itertools import groupby
from pathlib import Path
from typing import Any

from relay.core.errors import OperatorError
from relay.core.release import Kind
from relay.core.wire import Recording, WireRecord

NOTICE = (
    "Coordinates are metres right and up in a frame without a place, shifted and turned by a secret; they are not "
    "longitude and latitude, and up is not north. By prior arrangement (RFC 7946, section 4)."
)
CAUTION = "Not for navigation, vehicle control or collision avoidance."
COLUMNS = (
    "kind", "elapsed_s", "vehicle", "status", "east_m", "north_m", "depth_m", "heading_deg", "altitude", "mode", "leg",
    "pitch_deg", "roll_deg", "text", "verdict",
)  # fmt: skip
ENDINGS = (".geojson", ".csv")


def export(recording: Recording, to: Path, force: bool = False) -> None:
    """Write a recording as the file's ending says; OperatorError for another ending, or a file that is there."""
    if to.suffix not in ENDINGS:
        raise OperatorError(f"{to}: name a file that ends in {' or '.join(ENDINGS)}")
    if to.exists() and not force:
        raise OperatorError(f"{to} is there already: name another file, or add --force")
    text = geojson(recording) if to.suffix == ".geojson" else as_csv(recording)
    beside = to.with_name(f".{to.name}.new")
    try:
        beside.write_text(text, encoding="utf-8", newline="")
        beside.replace(to)
    except OSError as error:
        raise OperatorError(f"{to} can't be written: {error.strerror}") from error


def as_csv(recording: Recording) -> str:
    """Return a row for each vehicle at each tick, each annotation and each target (RFC 4180; UTF-8, one head line).

    What was withheld is empty. A text that a spreadsheet would take for a formula has an apostrophe before it.
    """
    out = StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    vehicles = recording.header["vehicles"]
    for record in recording.records:
        for row in _rows(record, vehicles):
            writer.writerow({name: _cell(value) for name, value in row.items()})
    return out.getvalue()


def _rows(record: WireRecord, vehicles: Sequence[str]) -> Iterator[dict[str, Any]]:
    first = {"elapsed_s": record.elapsed_s}
    if record.kind == Kind.TICK:
        for vehicle, row in zip(vehicles, record.body, strict=True):
            values = dict(zip(_TICK, row[: len(_TICK)], strict=True))
            yield {"kind": "tick", **first, "vehicle": vehicle, **values}
    elif record.kind in _SAID:
        vehicle, text, *_ = record.body
        yield {"kind": _SAID[record.kind], **first, "vehicle": _named(vehicle, vehicles), "text": text}
    elif record.kind == Kind.TARGET:
        vehicle, name, verdict = record.body
        yield {"kind": "target", **first, "vehicle": _named(vehicle, vehicles), "text": name, "verdict": verdict}


_SAID: dict[int, str] = {Kind.NOTE: "note", Kind.STILL: "still"}  # of a still, the words: pictures are in the recording
_TICK = ("status", "east_m", "north_m", "depth_m", "heading_deg", "altitude", "mode", "leg", "pitch_deg", "roll_deg")


def _named(vehicle: int | None, vehicles: Sequence[str]) -> str | None:
    return None if vehicle is None else vehicles[vehicle]


def _cell(value: Any) -> Any:
    """Return a value as a cell, harmless to a spreadsheet."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value


def geojson(recording: Recording) -> str:
    """Return tracks (one feature a vehicle, leg and unbroken piece), annotations and targets as a FeatureCollection.

    A track's `elapsed_s` and `depth_m` have one entry a position. A note or target without a place has no geometry.
    """
    header = recording.header
    features = [*_tracks(recording), *_points(recording)]
    whole = {
        "type": "FeatureCollection",
        "coordinates": {"unit": "metre", "frame": "local, without a place", "notice": NOTICE},
        "caution": CAUTION,
        "expedition": header["expedition"],
        "audience": header["audience"],
        "dive": recording.records[0].dive,
        "closed": recording.closed,
        "cell_m": header.get("cell_m"),
        "delay_s": header["delay_s"],
        "features": features,
    }
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def _tracks(recording: Recording) -> Iterator[dict[str, Any]]:
    ticks = [record for record in recording.records if record.kind == Kind.TICK]
    for at, vehicle in enumerate(recording.header["vehicles"]):
        rows = [(record.elapsed_s, record.body[at]) for record in ticks]
        for (placed, leg), group in groupby(rows, lambda item: (item[1][1] is not None, item[1][7])):
            piece = list(group)
            if placed:
                yield _feature(
                    _line([[row[1], row[2]] for _, row in piece]),
                    kind="track",
                    vehicle=vehicle,
                    leg=leg,
                    elapsed_s=[elapsed_s for elapsed_s, _ in piece],
                    depth_m=[row[3] for _, row in piece],
                )


def _line(points: list[list[float]]) -> dict[str, Any]:
    """Return a line, or a point where there is but one position (RFC 7946, section 3.1.4: a line has two or more)."""
    if len(points) == 1:
        return {"type": "Point", "coordinates": points[0]}
    return {"type": "LineString", "coordinates": points}


def _points(recording: Recording) -> Iterator[dict[str, Any]]:
    """Yield annotations and targets where their vehicle was shown by then."""
    vehicles = recording.header["vehicles"]
    shown: list[list[float] | None] = [None] * len(vehicles)
    for record in recording.records:
        if record.kind == Kind.TICK:
            shown = [None if row[1] is None else [row[1], row[2]] for row in record.body]
        elif record.kind in (*_SAID, Kind.TARGET):
            vehicle, text, *more = record.body
            place = None if vehicle is None else shown[vehicle]
            geometry = None if place is None else {"type": "Point", "coordinates": place}
            kind = _SAID.get(record.kind, "target")
            verdict = {"verdict": more[0]} if record.kind == Kind.TARGET else {}
            yield _feature(
                geometry, kind=kind, vehicle=_named(vehicle, vehicles), elapsed_s=record.elapsed_s, text=text, **verdict
            )


def _feature(geometry: dict[str, Any] | None, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}
