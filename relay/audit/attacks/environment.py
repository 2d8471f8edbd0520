"""The attack on what is measured of the sea and of the Earth beside the track: tide, temperature, pressure, compass.

Rules: nothing of it is in a sound release, so a field of it is a leak even where no grid says what it tells; texts may
tell a measurement, and depth told finely enough tells the tide. What is told is held against grids of what it would be
(`Case.grids`; no command reads one, so `offing audit` says what was told and lays pressure alone on the chart), each
cell by its difference:

- NAME_UNIT (`temperature_c`, `salinity`, ...): a field or a text with a number of that name;
- `declination_deg`: headings that are magnetic differ from the course by the declination; both are in one turned frame;
- `tide_amplitude_m`, `tide_high_water_s` (Unix time of any high water there): the tide's range, and its time if sends
  are dated;
- pressure beside depth needs no grid: their ratio is gravity's, which goes with latitude (TEOS-10, by `gsw`).

How wrong a grid is (`FIELD_ERROR`): common practice, no source.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot, pi

import gsw
import numpy as np

from relay.audit.attacks.attack import Case, Dive, Finding, Progress, quiet
from relay.audit.attacks.compass import compass_of
from relay.audit.attacks.shown_track import ShownTrack, tracks_of
from relay.audit.attacks.tide import M2_S, Tide, tide_of
from relay.audit.attacks.told_texts import listed, names_beyond, texts_of
from relay.audit.charts.chart import Chart, Floats

FIELD_ERROR = {"temperature": 0.3, "salinity": 0.05, "declination": 0.5, "sound": 1.0, "oxygen": 0.2}
UNIX_S = 1e9
_FINEST_DBAR = 1e-4
_TEXT = re.compile(
    r"\b(temperature|temp|water|salinity|declination|variation|sound speed|oxygen)\b[^\d\n]{0,12}?"
    r"(-?\d{1,4}(?:[.,]\d{1,4})?)\s?(°\s?C\b|C\b|PSU\b|m/s\b|°|deg|ml/l\b)?",
    re.IGNORECASE,
)
_STEMS = {"temp": "temperature", "water": "temperature", "variation": "declination", "sound speed": "sound"}


@dataclass(frozen=True)
class Measured:
    """Something that was told of the sea: what, how much, how exactly, and where it stood."""

    stem: str
    value: float
    error: float
    where: str
    is_field: bool


class Environment:
    """Reads the sea and the Earth out of what was told."""

    name = "environment"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return where the measurements fit, and which of them should not be there."""
        logs, said, leaks, facts = list[Floats](), list[str](), list[str](), dict[str, float]()
        for at, dive in enumerate(case.dives):
            for log, words, leak in (*_fields(case, dive), *_pressures(case, dive), *_tides(case, dive, facts)):
                logs += [] if log is None else [log]
                said.append(f"{dive.name}: {words}")
                leaks += [f"{dive.name}: {leak}"] if leak else []
            progress("reading the sea", (at + 1) / len(case.dives))
        for log, words, leak in _compass(case, facts):
            logs += [] if log is None else [log]
            said.append(words)
            leaks += [leak] if leak else []
        if not said:
            words = (
                "Nothing measured of the sea was told, depths are too coarse or the dive too short to show a tide, "
                "and headings too few to show a compass."
            )
            return Finding(self.name, words, worked=False, facts=facts)
        log = None if not logs else np.sum([_filled(log) for log in logs], axis=0)
        return Finding(self.name, " ".join(said), log_likelihood=log, leaks=tuple(leaks), facts=facts)


def _filled(log: Floats) -> Floats:
    """Return a log likelihood with cells of which a grid knows nothing as likely as the others on average."""
    known = np.isfinite(log)
    if known.all() or not known.any():
        return np.nan_to_num(log, nan=0.0)
    average = np.logaddexp.reduce(log[known]) - np.log(known.sum())
    return np.where(known, log, average)


Told = tuple[Floats | None, str, str | None]


def _fields(case: Case, dive: Dive) -> Iterator[Told]:
    """Yield what fields beyond the policy's, and texts, tell that a grid knows."""
    for measured in (*_in_columns(dive), *_in_texts(dive)):
        grid = next((grid for name, grid in case.grids.items() if name.split("_")[0] == measured.stem), None)
        tells = f"{measured.stem} {measured.value:.4g} stands in {measured.where}"
        leak = f"{tells}, which no policy has" if measured.is_field else None
        if grid is None:
            yield None, f"{tells}; whoever has a grid of it knows where that is, this audit had none.", leak
            continue
        error = hypot(measured.error, FIELD_ERROR.get(measured.stem, 0.02 * float(np.nanstd(grid)) or 1.0))
        log = -0.5 * ((grid - measured.value) / error) ** 2
        yield log, f"{tells}, and the grid says where that is.", leak


def _in_columns(dive: Dive) -> Iterator[Measured]:
    for track in tracks_of(dive):
        names = names_beyond(dive.header, track.more.shape[1])
        for name, column in zip(names, track.more.T, strict=True):
            stem = _stem(name)
            if stem in ("pressure", "latitude", "longitude", "column"):
                continue
            values = column[_at_the_bottom(track) & np.isfinite(column)]
            if len(values):
                error = float(values.std() / np.sqrt(len(values)))
                yield Measured(stem, float(values.mean()), error, f"the field “{name}”", True)


def _at_the_bottom(track: ShownTrack) -> np.ndarray:
    bottom = np.array([leg == "bottom" for leg in track.leg])
    return bottom if bottom.any() else np.ones(len(track.leg), dtype=bool)


def _stem(name: str) -> str:
    first = re.split(r"[_\s]", name.lower())
    return "temperature" if {"temperature", "temp"} & set(first) else first[0]


def _in_texts(dive: Dive) -> Iterator[Measured]:
    for _, what, text in texts_of(dive):
        for match in _TEXT.finditer(text):
            word, figure, unit = match[1].lower(), match[2].replace(",", "."), (match[3] or "").lower()
            stem = _STEMS.get(word, word)
            if word in ("water", "temp") and "c" not in unit:
                continue  # "water 900 m deep"
            decimals = len(figure.partition(".")[2])
            yield Measured(stem, float(figure), 0.5 / 10**decimals, f"the {what} “{text}”", False)


def _pressures(case: Case, dive: Dive) -> Iterator[Told]:
    """Yield the latitude that pressure beside depth tells."""
    for track in tracks_of(dive):
        names = names_beyond(dive.header, track.more.shape[1])
        for name, column in zip(names, track.more.T, strict=True):
            if _stem(name) != "pressure":
                continue
            known = np.isfinite(column) & np.isfinite(track.depth_m) & (track.depth_m > 10)
            leak = f"the field “{name}” stands beside depth"
            if not known.any():
                yield None, f"{leak}.", leak
                continue
            log = _by_gravity(case.chart, column[known], track.depth_m[known])
            yield log, f"{leak}, and their ratio tells the latitude.", leak


def _by_gravity(chart: Chart, pressure_dbar: Floats, depth_m: Floats) -> Floats:
    """Return the log likelihood (rows, columns) of pressures beside depths (readings,)."""
    chosen = np.unique(np.linspace(0, len(depth_m) - 1, 2_000).astype(int))
    pressure_dbar, depth_m = pressure_dbar[chosen], depth_m[chosen]
    off = pressure_dbar[None, :] - gsw.p_from_z(-depth_m[None, :], chart.latitude_deg[:, None])
    error = max(_FINEST_DBAR, float(off.std(axis=1).min()) / np.sqrt(len(chosen)))
    log: Floats = np.repeat(-0.5 * (off.mean(axis=1) / error)[:, None] ** 2, chart.shape[1], axis=1)
    return log


def _tides(case: Case, dive: Dive, facts: dict[str, float]) -> Iterator[Told]:
    tide = tide_of(dive) if dive.header.get("depth") == "absolute" else None
    if tide is None:
        return
    facts["tide_amplitude_m"], facts["tide_error_m"] = tide.amplitude_m, tide.error_m
    if not tide.is_there:
        yield (
            None,
            f"in {tide.span_s / 3600:.1f} h on the seabed its depths are told too coarsely to show a tide.",
            None,
        )
        return
    words = f"depths on the seabed show a tide of {tide.amplitude_m:.2f} m (± {tide.error_m:.2f} m) about its middle"
    log, dated = _by_tide(case, dive, tide)
    yield log, f"{words}{', and when high water was' if dated else ''}.", None


def _by_tide(case: Case, dive: Dive, tide: Tide) -> tuple[Floats | None, bool]:
    logs = []
    amplitude, high = case.grids.get("tide_amplitude_m"), case.grids.get("tide_high_water_s")
    if amplitude is not None:
        logs.append(-0.5 * ((amplitude - tide.amplitude_m) / hypot(tide.error_m, 0.05)) ** 2)
    dated = dive.sent_s is not None and min(dive.sent_s, default=0.0) > UNIX_S
    delay = listed(dive.header.get("delay_s"))
    if high is not None and dated and len(delay) == 2 and dive.sent_s is not None:
        lag_s = float(
            np.median([sent - record.elapsed_s for sent, record in zip(dive.sent_s, dive.records, strict=False)])
        )
        began_s = lag_s - (float(delay[0]) + float(delay[1])) / 2
        error_s = hypot(
            tide.error_m / tide.amplitude_m / (2 * pi) * M2_S, (float(delay[1]) - float(delay[0])) / 3.5, 120.0
        )
        off_s = (high - (began_s + tide.high_water_s) + M2_S / 2) % M2_S - M2_S / 2
        logs.append(-0.5 * (off_s / error_s) ** 2)
    return (np.sum(logs, axis=0) if logs else None), dated and high is not None


def _compass(case: Case, facts: dict[str, float]) -> Iterator[Told]:
    """Yield what headings against courses tell: nothing where they are true, the declination where magnetic."""
    compass = compass_of(case.dives)
    if compass is None:
        return
    facts["heading_minus_course_deg"], facts["heading_error_deg"] = compass.off_deg, compass.error_deg
    if abs(compass.off_deg) < 3 * compass.error_deg:
        yield None, "Headings agree with the courses made good: they are true ones, and tell no declination.", None
        return
    leak = f"headings differ from the courses made good by {compass.off_deg:.1f}°: they look magnetic"
    grid = case.grids.get("declination_deg")
    if grid is None:
        yield None, f"{leak}, which tells the declination; this audit had no grid of it.", leak
        return
    # A magnetic heading is the true one less the declination (east positive).
    off_deg = (grid + compass.off_deg + 180) % 360 - 180
    log = -0.5 * (off_deg / hypot(compass.error_deg, FIELD_ERROR["declination"])) ** 2
    yield log, f"{leak}, and the grid says where that is.", leak
