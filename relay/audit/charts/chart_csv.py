"""Charts in text: a matrix of elevations, or single nodes, one to a line.

Rules: columns are found by their names, and the sign and the unit of a value by its own: a depth is positive down, an
elevation or a height positive up. An empty cell is unknown; anything else that is no number is an error with its line.
More than `MOST_NODES` are refused while they are read.
"""

import csv
from array import array
from collections.abc import Iterator, Sequence
from math import nan
from typing import NamedTuple, TextIO

import numpy as np

from relay.audit.charts.chart import Chart, Floats
from relay.audit.charts.chart_grid import chart_of_grid, chart_of_nodes
from relay.audit.charts.chart_words import DEGREES, DOWN, LATITUDE, LONGITUDE, UNITS_M, UP, word_and_unit
from relay.core.errors import ChartError

UNKNOWN = {"", "nan", "na", "null", "none", "-9999", "-9999.0", "-99999", "-32768"}
HIGHEST_M, DEEPEST_M = 9_000.0, 12_000.0
MOST_NODES, LONGEST_LINE = 5_000_000, 2_000_000
# Of text without these, and no longer, the reader of RFC 4180 makes what `split` does in a third of the time.
QUOTING, LONGEST_SIMPLE = '"\r\n\0', 100_000
WHAT = "longitude, latitude and depth_m (positive down) or elevation_m (positive up)"


class _Column(NamedTuple):
    at: int
    up_m: float  # what a value is multiplied by to be metres, positive up


def read_text(name: str, stream: TextIO, error_factor: float = 1.0) -> Chart:
    """Return the chart in a text; raises ChartError with the line of what is wrong."""
    lines = _rows(name, stream)
    number, head = next(lines, (0, []))
    if len(head) < 3:
        raise ChartError(
            f"{name}: line {number} is no head of a chart; write {WHAT}, or a matrix that begins `lat\\lon`"
        )
    if _is_number(head[1]) and _is_number(head[-1]) and not _is_number(head[0]):
        return _matrix(name, head, lines, error_factor)
    return _nodes(name, head, lines, error_factor)


def _rows(name: str, stream: TextIO) -> Iterator[tuple[int, list[str]]]:
    """Yield line number and cells of what is neither empty nor a comment, split by what splits the first such line."""
    split = ""
    for number, line in enumerate(iter(lambda: stream.readline(LONGEST_LINE + 1), ""), start=1):
        if len(line) > LONGEST_LINE:
            raise ChartError(f"{name}: line {number} is longer than {LONGEST_LINE:,} characters; no chart has such")
        text = line.strip().lstrip("\ufeff")
        if not text or text.startswith("#"):
            continue
        if not split:
            split = next((mark for mark in (",", ";", "\t") if mark in text), " ")
        if split == " ":
            cells = text.split()
        elif len(text) < LONGEST_SIMPLE and not any(mark in text for mark in QUOTING):
            cells = text.split(split)
        else:
            cells = _quoted(name, number, text, split)
        yield number, [cell.strip() for cell in cells]


def _quoted(name: str, number: int, text: str, split: str) -> list[str]:
    try:
        return next(csv.reader([text], delimiter=split))
    except csv.Error as error:
        raise ChartError(f"{name}: line {number} can't be split into columns ({error}); write it anew") from error


def _matrix(name: str, head: Sequence[str], lines: Iterator[tuple[int, list[str]]], error_factor: float) -> Chart:
    down = "depth" in head[0].lower()
    longitudes = [_degrees(name, 1, "longitude", cell, 360) for cell in head[1:]]
    latitudes, heights_m = [], array("d")
    for number, cells in lines:
        if len(cells) != len(head):
            raise ChartError(f"{name}: line {number} has {len(cells)} columns, the first has {len(head)}; one is cut")
        latitudes.append(_degrees(name, number, "latitude", cells[0], 90))
        heights_m.extend(_metres(name, number, cell, -1.0 if down else 1.0) for cell in cells[1:])
        _not_too_many(name, len(heights_m))
    if len(latitudes) < 2:
        raise ChartError(f"{name}: a matrix of {len(latitudes)} rows; a chart needs two at least")
    axes: tuple[Floats, Floats] = np.array(latitudes), np.array(longitudes)
    return chart_of_grid(name, *axes, np.array(heights_m).reshape(len(latitudes), -1), error_factor=error_factor)


def _nodes(name: str, head: Sequence[str], lines: Iterator[tuple[int, list[str]]], error_factor: float) -> Chart:
    latitude, longitude, value = _columns(name, head)
    needed = max(latitude, longitude, value.at)
    nodes = array("d")
    for number, cells in lines:
        if len(cells) <= needed:
            raise ChartError(f"{name}: line {number} has {len(cells)} columns, the head has {len(head)}; it is cut")
        north = _degrees(name, number, "latitude", cells[latitude], 90)
        east = _degrees(name, number, "longitude", cells[longitude], 360)
        nodes.extend((north, east, _metres(name, number, cells[value.at], value.up_m)))
        _not_too_many(name, len(nodes) // 3)
    if not nodes:
        raise ChartError(f"{name}: a head and no node below it")
    table: Floats = np.array(nodes).reshape(-1, 3)
    if value.up_m < 0 and (table[:, 2] > 0).mean() > 0.5:
        raise ChartError(
            f"{name}: most of column `{head[value.at]}` is negative; if it is positive up, call it elevation_m"
        )
    return chart_of_nodes(name, table[:, 0], table[:, 1], table[:, 2], error_factor=error_factor)


def _not_too_many(name: str, count: int) -> None:
    if count > MOST_NODES:
        raise ChartError(f"{name}: more than {MOST_NODES:,} nodes; cut it to the area about the dive")


def _columns(name: str, head: Sequence[str]) -> tuple[int, int, _Column]:
    """Return where latitude, longitude and the value are."""
    latitude = longitude = value = None
    for at, cell in enumerate(head):
        word, unit = word_and_unit(cell)
        if word in LATITUDE and unit in DEGREES:
            latitude = at
        elif word in LONGITUDE and unit in DEGREES:
            longitude = at
        elif word in DOWN | UP and (unit in UNITS_M or not unit):
            value = _Column(at, UNITS_M.get(unit, 1.0) * (-1 if word in DOWN else 1))
    if latitude is None or longitude is None or value is None:
        raise ChartError(f"{name}: the columns are {', '.join(head)}; a chart of nodes needs {WHAT} among them")
    return latitude, longitude, value


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return nan


def _degrees(name: str, number: int, axis: str, cell: str, most: float) -> float:
    degrees = _number(cell)
    if not abs(degrees) <= most:
        raise ChartError(f"{name}: line {number}: `{cell}` is no {axis} in degrees")
    return degrees


def _metres(name: str, number: int, cell: str, up_m: float) -> float:
    if cell.lower() in UNKNOWN:
        return nan
    metres = _number(cell) * up_m
    if not -DEEPEST_M <= metres <= HIGHEST_M:
        raise ChartError(f"{name}: line {number}: `{cell}` is no depth or elevation on Earth; leave unknown ones empty")
    return metres
