"""Real tracks, unprotected and by each preset, against real charts: what search area an outsider is left.

    python tests/audit_of_tracks.py SHARED_DATA [--chart NAME] [--trials N]

Two published tracks (`glider-inlet`, `rov-transects` of 2022-10-20) are released by the very pipeline of a ship and
matched with the two charts of `chart-strait-multires` that both lie in. The declared area is all the water of the
chart. Where a dive really was is used to say how far off the most probable place is, and for nothing else. The errors
of chart-500m are learnt from fine-160m, and its level is calibrated over it; fine-160m has no finer one beside it, so
both are done with every second node of itself against all of them (`known_seabed`). `--trials`: at so many random
places; without, the level is 95 % as it stands.
"""

import argparse
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from math import atan2, cos, degrees, hypot, nan, radians, sin
from pathlib import Path
from time import monotonic

import numpy as np
from geographiclib.geodesic import Geodesic

from match_cases import finest
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.chart_match import MOST
from relay.audit.charts.chart_files import read_chart
from relay.audit.matching.calibration import calibrate
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.known_seabed import KnownSeabed, known_seabed
from relay.audit.matching.match import log_likelihood
from relay.audit.matching.posterior import Posterior
from relay.audit.matching.soundings_of import soundings_of, soundings_of_exact
from relay.core.geodesy import Anchor, AnchorSeeker, plane
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.secrets_file import seeded_secrets
from relay.shell.released.recording import load_recording
from relay.shell.ship.rehearse import rehearse
from tracks_to_station_lines import convert, read_rows

TRACKS = {"glider": "glider-inlet/track.csv.gz", "rov": "rov-transects/transects-2022-10-20.csv.gz"}
CHARTS = ("fine-160m", "chart-500m")
PRESETS = ("public", "funders", "heritage")
UNPROTECTED = ("unprotected, north up", "unprotected")
RELEASES = (*UNPROTECTED, *PRESETS)
SECRETS = seeded_secrets(1)
Place = tuple[float, float]

EXPEDITION = """\
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"

[[vehicle]]
name = "Moth"

[[feed]]
name = "station"
format = "station-json"
from = "tcp-listen://127.0.0.1:4010"
"""


@dataclass(frozen=True)
class Told:
    """What an outsider has of a track, and where its first sounding really was; `outright`: every place was told."""

    release: str
    soundings: Soundings | None
    truth: Place
    outright: bool = False


@dataclass(frozen=True)
class Found:
    """What was made of it on a chart: areas in km2 (all of the water first), how far off the best place is.

    `level`: the mass of the region; `covered`: the share of known places that lay in theirs, NaN where none was tried.
    """

    declared_km2: float
    left_km2: float
    off_m: float
    inside: bool
    level: float = 0.95
    covered: float = nan


def fixes(rows: Sequence[dict[str, str]]) -> list[Place]:
    """Return the places of a track table in their order: latitude and longitude."""
    return [(float(row["lat_deg"]), float(row["lon_deg"])) for row in rows if row["lat_deg"] and row["lon_deg"]]


def unprotected(rows: Sequence[dict[str, str]], *, turned: bool = True, tile_m: float = 50.0) -> Told:
    """Return an exact track with depth and altitude, its frame shifted (and turned) but nothing else withheld."""
    start = fixes(rows)[0]
    anchor = first_anchor(rows)
    columns = np.full((5, len(rows)), np.nan)
    for at, row in enumerate(rows):
        columns[0, at] = float(row["t_s"])
        if row["lat_deg"] and row["lon_deg"]:
            columns[1:3, at] = plane(float(row["lat_deg"]), float(row["lon_deg"]), anchor)[:2]
        for line, name in ((3, "depth_m"), (4, "altitude_m")):
            columns[line, at] = float(row[name]) if row[name] else np.nan
    found = soundings_of_exact(*columns, most=MOST, tile_m=tile_m, turned=turned)
    truth = start if found is None else from_plane(rows, float(found.east_m[0]), float(found.north_m[0]))
    return Told(UNPROTECTED[turned], found, truth)


def first_anchor(rows: Sequence[dict[str, str]]) -> Anchor:
    """Return the anchor that a ship lays the site's plane about: the first fix that the next one confirms."""
    seeker = AnchorSeeker()
    return next(anchor for fix in fixes(rows) if (anchor := seeker.offer(*fix, 0)) is not None)


def from_plane(rows: Sequence[dict[str, str]], east_m: float, north_m: float) -> Place:
    """Return latitude and longitude of metres about the anchor (by geographiclib)."""
    anchor = first_anchor(rows)
    azimuth, reach = degrees(atan2(east_m, north_m)), hypot(east_m, north_m)
    there = Geodesic.WGS84.Direct(anchor.latitude_deg, anchor.longitude_deg, azimuth, reach)
    return there["lat2"], there["lon2"]


def from_frame(rows: Sequence[dict[str, str]], east_m: float, north_m: float) -> Place:
    """Return latitude and longitude of a place of the secret frame: what only who has the secrets can do."""
    turn = radians(SECRETS.turn_deg)
    east = east_m * cos(turn) - north_m * sin(turn) - SECRETS.shift_m[0]
    north = north_m * cos(turn) + east_m * sin(turn) - SECRETS.shift_m[1]
    return from_plane(rows, east, north)


def released(source: Path, folder: Path, presets: Sequence[str] = PRESETS) -> dict[str, list[Dive]]:
    """Return the dives of a track as each preset releases them."""
    if not presets:
        return {}
    convert(source, folder / "track.jsonl", "Moth")
    audiences = "".join(f'\n[[audience]]\nname = "{preset}"\npreset = "{preset}"\n' for preset in presets)
    plan = parse_expedition(EXPEDITION + audiences, Path("EXPEDITION.toml")).plan
    rehearse(plan, SECRETS, [str(folder / "track.jsonl")], folder / "out")
    return {
        preset: [
            Dive(path.name, recording.header, recording.records)
            for path in sorted((folder / "out" / "released" / preset).glob("*.recording"))
            for recording in [load_recording(path)]
        ]
        for preset in presets
    }


def told_by(preset: str, dives: Sequence[Dive], rows: Sequence[dict[str, str]], tile_m: float = 50.0) -> Told:
    """Return what a preset tells of a track; where it shows no place, the dive was where the track begins."""
    found = soundings_of(dives, most=MOST, tile_m=tile_m)
    placed = found is not None and bool(np.any(found.east_m))
    truth = from_frame(rows, float(found.east_m[0]), float(found.north_m[0])) if found and placed else fixes(rows)[0]
    return Told(preset, found, truth, outright=any(dive.header["place"] == "exact" for dive in dives))


@cache
def charts_of(data: Path) -> dict[str, KnownSeabed]:
    """Return the charts by name, their errors learnt, each with the seabed on which it is calibrated."""
    fine, coarse = finest(data), read_chart(data / "chart-strait-multires" / f"{CHARTS[1]}.csv.gz")
    known = [known_seabed(fine, np.random.default_rng(1)), known_seabed(coarse, np.random.default_rng(1), fine)]
    return dict(zip(CHARTS, known, strict=True))


def found_on(known: KnownSeabed, told: Told, trials: int = 0, turns: int = 72) -> Found:
    """Return what an outsider makes of a release on a chart, calibrated at `trials` places of its known seabed."""
    assert told.soundings is not None
    level, covered = 0.95, nan
    if trials:
        draw = np.random.default_rng(2)
        calibration = calibrate(known.tried, told.soundings, known.truth, draw, trials=trials, turns=turns)
        level, covered = calibration.level, calibration.covered
    chart = known.chart
    posterior = Posterior.of(chart, log_likelihood(chart, told.soundings, turns=turns))
    truth, best = told.truth, posterior.best
    cell = chart.index(*truth)
    off_m = Geodesic.WGS84.Inverse(*truth, *best)["s12"]
    inside = cell is not None and bool(posterior.region(level)[cell])
    return Found(posterior.prior_km2, posterior.area_km2(level), off_m, inside, level, covered)


def cell_of(known: KnownSeabed, told: Told, trials: int) -> str:
    """Return what the table says of a release on a chart."""
    if told.outright:
        return "every place is told outright"
    if told.soundings is None:
        return "no depth with a height: all of the water"
    begun_s = monotonic()
    found = found_on(known, told, trials)
    where = "inside" if found.inside else "OUTSIDE"
    return (
        f"{len(told.soundings)} soundings: {found.left_km2:.3g} of {found.declared_km2:.0f} km2, best off by "
        f"{found.off_m:.0f} m, truth {where}, level {found.level:.3f} holds {found.covered:.1%}, "
        f"{monotonic() - begun_s:.0f} s"
    )


def lines(track: str, data: Path, charts: Sequence[KnownSeabed], trials: int, releases: Sequence[str]) -> Iterator[str]:
    """Yield the rows of the table for a track, of the releases asked for."""
    rows = read_rows(data / TRACKS[track])
    with tempfile.TemporaryDirectory() as folder:
        dives = released(data / TRACKS[track], Path(folder), [preset for preset in PRESETS if preset in releases])
    for release in releases:
        cells = []
        for known in charts:
            tile_m = min(known.chart.spacing_m) / 3
            if release in UNPROTECTED:
                told = unprotected(rows, turned=release == UNPROTECTED[1], tile_m=tile_m)
            else:
                told = told_by(release, dives[release], rows, tile_m)
            cells.append(cell_of(known, told, trials))
        yield f"| {track} | {release} | " + " | ".join(cells) + " |"


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Audit published tracks on published charts.")
    parser.add_argument("data", type=Path, metavar="SHARED_DATA", help="the folder of published data")
    parser.add_argument("--chart", action="append", choices=CHARTS, help="on this chart alone")
    parser.add_argument("--trials", type=int, default=0, metavar="N", help="calibrate each region at N known places")
    parser.add_argument("--track", action="append", choices=list(TRACKS), help="this track alone")
    parser.add_argument("--release", action="append", choices=RELEASES, help="this release alone")
    chosen = parser.parse_args()
    names = chosen.chart or list(CHARTS)
    every = charts_of(chosen.data)
    charts = [every[name] for name in names]
    sys.stdout.write("| track | release | " + " | ".join(names) + " |\n" + "| --- " * (2 + len(names)) + "|\n")
    for track in chosen.track or TRACKS:
        for line in lines(track, chosen.data, charts, chosen.trials, chosen.release or RELEASES):
            sys.stdout.write(line + "\n")
            sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
