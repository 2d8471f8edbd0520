"""What an outsider has, put together from files: recordings, charts, the declared area, the ship's track, wrecks.

Rules: recordings are read as anybody ashore reads them, and must be of one expedition; a recording whose end is missing
was taken from the live page; when each record arrived is read where `offing rehearse` wrote it beside the recordings.
"""

import argparse
import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

import numpy as np

from relay.audit.attacks.attack import Case, Dive
from relay.audit.attacks.well_formed import fault_in
from relay.audit.charts.chart import Chart, Mask
from relay.audit.charts.chart_files import read_chart
from relay.audit.charts.chart_merge import merge
from relay.audit.declared import declared_cells
from relay.audit.matching.known_seabed import KnownSeabed, known_seabed
from relay.core.area import Area
from relay.core.errors import OperatorError, RecordingError
from relay.core.wire import Recording
from relay.shell.audit.ship_track_file import read_ship_track
from relay.shell.audit.wreck_list_file import read_wreck_list
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.released.printable import printable
from relay.shell.released.recording import load_signed


@dataclass(frozen=True)
class Given:
    """The case, what its trials are made on, the expedition file if one was given, and what is to be said (`notes`)."""

    case: Case
    seabed: KnownSeabed
    expedition: Expedition | None
    notes: tuple[str, ...]


def read_case(options: argparse.Namespace) -> Given:
    """Read everything that `offing audit` was given; OperatorError says which file is wrong, and what to do."""
    path = options.expedition or options.area
    expedition = None if path is None else read_expedition(path)
    dives, notes = read_dives(options.recordings)
    chart, finer = read_charts(options.chart), None if options.seabed is None else read_chart(options.seabed)
    if not options.chart_error > 0:
        raise OperatorError(f"--chart-error {options.chart_error}: how many times its own error the chart is off")
    area = None if expedition is None else expedition.plan.area
    prior = None if area is None else _declared(chart, area)
    ship = None if options.ship_track is None else read_ship_track(options.ship_track)
    wrecks = () if options.wrecks is None else read_wreck_list(options.wrecks)
    if expedition is not None:
        notes += _of_area(path, expedition, dives[0])
    if finer is None:
        notes.append(
            "trials are made on the chart with every second node left out; for trials on a seabed that is known "
            "better, give a finer chart that outsiders lack (--seabed; another --chart is one that they have)"
        )
    seabed = _seabed(options, chart, finer)
    case = Case(seabed.chart, tuple(dives), prior, ship, wrecks)
    return Given(case, seabed, expedition, tuple(notes))


def _of_area(path: Path, expedition: Expedition, dive: Dive) -> Iterator[str]:
    """Yield what is to be said of the declared area."""
    own, other = expedition.plan.expedition, str(dive.header["expedition"])
    if own != other:
        yield f"{path} is of {own!r}, the recordings are of {other!r}: is its declared area theirs?"
    if expedition.plan.area is None:
        yield f"{path} declares no area ([area]): all of the chart is searched"


def _seabed(options: argparse.Namespace, chart: Chart, finer: Chart | None) -> KnownSeabed:
    """Learn how wrong the chart is."""
    try:
        return known_seabed(chart, np.random.default_rng(options.seed), finer, options.chart_error)
    except ValueError as error:
        raise OperatorError(f"{error}: give a chart with water, and a seabed (--seabed) of the same place") from error


def read_dives(given: Sequence[Path]) -> tuple[list[Dive], list[str]]:
    """Read recordings, or folders of them; and what is to be said of them."""
    if not given:
        raise OperatorError("name a recording, or a folder of them: offing audit RECORDING... --chart CHART")
    dives, notes = list[Dive](), list[str]()
    for path in _paths(given):
        recording = _load(path)
        if not recording.signed:
            notes.append(f"{path}: unsigned: nobody can check that it is the ship's")
        sent_s = _sent(path, len(recording.records))
        dives.append(_sound(Dive(str(path), recording.header, recording.records, sent_s, not recording.closed)))
    names = sorted({str(dive.header["expedition"]) for dive in dives})
    if len(names) > 1:
        raise OperatorError(
            f"the recordings are of {' and of '.join(map(printable, names))}: audit each expedition by itself"
        )
    return dives, notes


def _load(path: Path) -> Recording:
    try:
        return load_signed(path)
    except RecordingError as error:
        if path.suffix == ".recording":
            raise
        raise OperatorError(
            f"{path} is no recording ({error}): rehearse the dive (offing rehearse), and give what it wrote, "
            "released/AUDIENCE/dive-001.recording, or that folder"
        ) from error


def _sound(dive: Dive) -> Dive:
    """Return a dive that every attack can take; OperatorError says in which record it is no recording of a ship's."""
    fault = fault_in(dive)
    if fault is not None:
        raise OperatorError(f"{dive.name}: {fault}: no relay wrote that; ask for the recording anew, or leave it out")
    return dive


def _paths(given: Sequence[Path]) -> Iterator[Path]:
    for path in given:
        found = sorted(path.glob("dive-*.recording")) if path.is_dir() else [path]
        if not found:
            below = next(iter(sorted(path.glob("**/dive-*.recording"))), None)
            hint = "" if below is None else f", such as {below.parent}"
            raise OperatorError(
                f"{path} holds no dive-NNN.recording: name the folder of one audience's recordings{hint}"
            )
        yield from found


def _sent(recording: Path, count: int) -> tuple[float, ...] | None:
    """Return when each record left, seconds, as a rehearsal wrote it; None where it isn't known of all of them."""
    audience = recording.resolve().parent
    table = audience.parents[1] / "send-times" / f"{audience.name}-{recording.stem}.csv"
    try:
        with table.open(encoding="utf-8", newline="") as file:
            times = tuple(_finite(row["sent_s"]) for row in csv.DictReader(file))
    except FileNotFoundError:
        return None
    except (OSError, KeyError, ValueError, TypeError, csv.Error) as error:
        raise OperatorError(f"{table} is no table of send times ({error}): rehearse again, or move it away") from error
    return times if len(times) == count else None


def _finite(cell: str) -> float:
    if not isfinite(number := float(cell)):
        raise ValueError(f"{cell} is no time")
    return number


def read_charts(paths: Sequence[Path], error_factor: float = 1.0) -> Chart:
    """Read one chart or several as one."""
    if not paths:
        raise OperatorError("name the chart that an outsider has: --chart FILE (NetCDF, GeoTIFF or CSV)")
    return merge([read_chart(path, error_factor=error_factor) for path in paths])


def _declared(chart: Chart, area: Area) -> Mask:
    where = declared_cells(chart, area)
    if not (where & chart.candidates).any():
        raise OperatorError(f"{chart.name} has no water in the declared area {area.name!r}: give a chart of that place")
    return where
