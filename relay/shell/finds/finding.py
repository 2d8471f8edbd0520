"""`offing find`: a record of a find, with its files, from the archaeologist's hand to the running relay.

Rules: everything given is read and judged before a file is copied; the copies are on the disk before the record is in
the journal. What is answered is for the operator alone.
"""

import argparse
import asyncio
import getpass
import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from relay.core.decision import read_decision
from relay.core.errors import OperatorError
from relay.core.find import Drawing, Drawn, FileReference, read_file
from relay.core.geodesy import distance_m
from relay.shell.desk.control import ask_control
from relay.shell.finds.find_files import FOLDER, keep_file
from relay.shell.finds.outlines import read_outlines
from relay.shell.plan.expedition import expedition_file, read_expedition
from relay.shell.plan.quantities import length_m


def find(options: argparse.Namespace) -> int:
    """Take the record in `options` to the relay, and print what became of it."""
    private = read_expedition(expedition_file(options.expedition)).private
    answer = asyncio.run(_recorded(options, private))
    print(json.dumps(answer, indent=2, ensure_ascii=False) if options.json else say_find(options.name, answer, private))
    return 0


async def _recorded(options: argparse.Namespace, private: Path) -> dict[str, Any]:
    drawn = [drawing for kind in Drawn for path in getattr(options, kind) for drawing in read_outlines(path, kind)]
    elsewhere = [
        read_file({"name": name, "sha256": sha256, "octets": _whole(octets)})
        for name, sha256, octets in options.photo_elsewhere
    ]
    _checked(find_message(options, drawn, elsewhere))
    await ask_control(private, {"do": "status"})
    photographs = [*(keep_file(private, path) for path in options.photo), *elsewhere]
    kind = Drawn(options.drawing_is)
    files = [Drawing(kind=kind, file=keep_file(private, path)) for path in options.drawing]
    message = find_message(options, [*drawn, *files], photographs)
    _checked(message)
    answer = await ask_control(private, {**message, "who": options.who or getpass.getuser()})
    return {**answer, "but": words} if (words := drawn_elsewhere(drawn, answer["place"])) is not None else answer


def _checked(message: dict[str, Any]) -> None:
    """Refuse here what the relay would refuse by the message alone."""
    read_decision(json.dumps(message).encode())


def find_message(
    options: argparse.Namespace, drawings: list[Drawing], photographs: list[FileReference]
) -> dict[str, Any]:
    """Return a record as a message, with these drawings and photographs."""
    message = {
        "do": "find",
        "name": options.name.strip(),
        "what": options.what,
        "description": options.description,
        "target": options.target,
        "place": _place(options),
        "depth_m": None if options.depth is None else _metres("--depth", options.depth),
        "vehicle": options.vehicle,
        "supersedes": options.supersedes,
        "adds": options.supersedes is not None and not options.afresh,
        "drawings": [asdict(drawing) for drawing in drawings],
        "photographs": [asdict(photograph) for photograph in photographs],
    }
    return {name: value for name, value in message.items() if value is not None}


def _place(options: argparse.Namespace) -> dict[str, float] | None:
    if options.at is None:
        if options.within is not None:
            raise OperatorError("--within says how well --at is known: give both (a target brings its own)")
        return None
    place = {"latitude_deg": options.at[0], "longitude_deg": options.at[1]}
    return place if options.within is None else {**place, "radius_95_m": _metres("--within", options.within)}


def drawn_elsewhere(drawings: Sequence[Drawing], place: dict[str, Any] | None) -> str | None:
    """Return a caution where a drawing lies farther from a find than its place is uncertain and the drawing is large.

    None where there is nothing to say: a place that isn't known, or drawings about it.
    """
    if place is None:
        return None
    at, radius_m = (place["latitude_deg"], place["longitude_deg"]), place["radius_95_m"] or 0.0
    for drawing in drawings:
        points = [(latitude_deg, longitude_deg) for longitude_deg, latitude_deg in drawing.points]
        size_m = max(distance_m(points[0], point) for point in points)
        away_m = min(distance_m(at, point) for point in points)
        if away_m > radius_m + size_m:
            return (
                f"the {drawing.kind} lies {away_m:.0f} m from where the find was recorded: it is kept as it was "
                "drawn. If one of the two is wrong, supersede this record"
            )
    return None


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdecimal()):
        raise OperatorError(f"--photo-elsewhere: {text!r} is not a size in bytes, such as 4200000")
    return int(text[:20])


def _metres(name: str, text: str) -> float:
    try:
        return length_m(text)
    except ValueError as error:
        raise OperatorError(f"{name}: {error}") from error


def say_find(name: str, answer: dict[str, Any], private: Path) -> str:
    """Return in words what was recorded."""
    row, place = answer["row"], answer["place"]
    if answer["as_found"]:
        lines = [f'Find "{name}", as found: row {row}. Nothing overwrites it; --supersedes {row} adds a later record.']
    else:
        lines = [f'Find "{name}": row {row} supersedes row {answer["supersedes"]}, which stays.']
    lines.append(f"  {_where(place)}. It stays on the ship.")
    if answer["photographs"] or answer["drawings"]:
        counts = f"photographs: {answer['photographs']}, drawings: {answer['drawings']}"
        lines.append(f"  {counts}; files are kept in {private / FOLDER}.")
    return "\n".join([*lines, *([f"BUT {answer['but']}."] if "but" in answer else [])])


def _where(place: dict[str, Any] | None) -> str:
    if place is None:
        return "Where it lies isn't recorded"
    radius_m = place["radius_95_m"]
    known = "how well isn't said" if radius_m is None else f"95 % within {radius_m:.3g} m"
    of = "" if place["target"] is None else f', as the target "{place["target"]}"'
    return f"It lies at {place['latitude_deg']:.8f}, {place['longitude_deg']:.8f} ({known}){of}"
