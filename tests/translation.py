"""Dives that lie nowhere, and laying them anywhere on the Earth by geographiclib, an independent geodesic library.

A dive is a list of reports, each with the geodesic azimuth and length from the dive's first fix to its own. To lay it
at a site is to go that way from the site, and to turn every heading by what the meridians turn on it. The relay works
with PROJ's geodesics; nothing of it is used here but the sentence form of its inputs.
"""

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import gsw
from geographiclib.geodesic import Geodesic

from nmea_sentences import sentence
from relay.core.model import Row, RowKind

Site = tuple[float, float]
WGS84 = Geodesic.WGS84
NMEA_STEPS_A_DEGREE = 60 * 100_000  # minutes with five decimals
METRES_A_DEGREE = 111_694.0  # the longest degree of latitude or longitude on WGS84 (near the pole), from memory


@dataclass(frozen=True, slots=True)
class Report:
    """One report: when it comes, from where (degrees and metres about the first fix), and what no place changes.

    `heading_deg` is turned as if the dive's first meridian were north everywhere. `pressed`: the depth is sent as the
    sea pressure that belongs to it at the place (TEOS-10, gsw).
    """

    at_us: int
    azimuth_deg: float | None = None
    reach_m: float = 0.0
    heading_deg: float | None = None
    said: Mapping[str, object] | None = None
    pressed: bool = False


@dataclass(frozen=True, slots=True)
class Laid:
    """A report at its place."""

    at_us: int
    latitude_deg: float | None
    longitude_deg: float | None
    heading_deg: float | None
    said: Mapping[str, object]


def about_first_fix(messages: Iterable[Mapping[str, object]], origin_s: float) -> Iterator[Report]:
    """Yield the reports of a track: every fix as the geodesic from the first one, headings freed of the meridians."""
    first: Site | None = None
    start_deg = end_deg = 0.0
    azimuth_deg: float | None = None
    reach_m = 0.0
    for message in messages:
        said = dict(message)
        at_us = 5_000_000 + round((float(str(said.pop("t"))) - origin_s) * 1e6)
        latitude, longitude = said.pop("latitude_deg", None), said.pop("longitude_deg", None)
        heading = said.pop("heading_deg", None)
        if latitude is not None:
            fix = float(str(latitude)), float(str(longitude))
            first = first or fix
            way = WGS84.Inverse(*first, *fix)
            azimuth_deg, start_deg, end_deg, reach_m = way["azi1"], way["azi1"], way["azi2"], way["s12"]
        free_deg = None if heading is None else float(str(heading)) - end_deg + start_deg
        yield Report(at_us, azimuth_deg if latitude is not None else None, reach_m, free_deg, said)


def laid(dive: Sequence[Report], site: Site) -> Iterator[Laid]:
    """Yield the reports of a dive whose first fix lies at `site`."""
    way: dict[str, float] = {}
    gone: tuple[float | None, float] = (None, 0.0)
    for report in dive:
        if report.azimuth_deg is not None and (report.azimuth_deg, report.reach_m) != gone:
            gone = report.azimuth_deg, report.reach_m
            way = WGS84.Direct(*site, report.azimuth_deg, report.reach_m)
        heading_deg = report.heading_deg
        if heading_deg is not None:
            heading_deg = (heading_deg + (way["azi2"] - way["azi1"] if way else 0.0)) % 360.0
        place = (way["lat2"], way["lon2"]) if report.azimuth_deg is not None else (None, None)
        said = dict(report.said or {})
        if report.pressed and place[0] is not None:
            said["pressure_dbar"] = float(gsw.p_from_z(-float(str(said.pop("depth_m"))), place[0]))
        yield Laid(report.at_us, *place, heading_deg, said)


def station_rows(dive: Sequence[Report], site: Site) -> list[Row]:
    """Return the journal rows of a dive at a site as station messages, every number in full precision."""
    rows = []
    for seq, report in enumerate(laid(dive, site), 1):
        told = {
            "latitude_deg": report.latitude_deg, "longitude_deg": report.longitude_deg,
            "heading_deg": report.heading_deg, **report.said,
        }  # fmt: skip
        line = json.dumps({name: value for name, value in told.items() if value is not None}).encode() + b"\n"
        rows.append(Row(seq, report.at_us, report.at_us / 1e6, "station", RowKind.STREAM, line))
    return rows


def nmea_rows(dive: Sequence[Report], site: Site) -> list[Row]:
    """Return the rows of a dive at a site: places and headings as NMEA 0183 sentences, the rest as station messages."""
    pieces: list[tuple[int, str, bytes]] = []
    for report in laid(dive, site):
        if report.latitude_deg is not None and report.longitude_deg is not None:
            fix = f"{minutes(report.latitude_deg, 'NS', 2)},{minutes(report.longitude_deg, 'EW', 3)}"
            pieces.append((report.at_us, "position", sentence(f"GPGGA,,{fix},1,08,0.9,0.0,M,0.0,M,,")))
        if report.heading_deg is not None:
            pieces.append((report.at_us, "position", sentence(f"HEHDT,{report.heading_deg:.4f},T")))
        if set(report.said) - {"vehicle"}:
            pieces.append((report.at_us, "station", json.dumps(dict(report.said)).encode() + b"\n"))
    numbered = enumerate(pieces, 1)
    return [Row(seq, at_us, at_us / 1e6, feed, RowKind.STREAM, data) for seq, (at_us, feed, data) in numbered]


def minutes(angle_deg: float, sides: str, width: int) -> str:
    """Return an angle as NMEA 0183 has it: degrees and minutes with five decimals, and the side."""
    steps = nmea_steps(abs(angle_deg))
    degrees, rest = divmod(steps, NMEA_STEPS_A_DEGREE)
    return f"{degrees:0{width}d}{rest // 100_000:02d}.{rest % 100_000:05d},{sides[angle_deg < 0]}"


def nmea_steps(angle_deg: float) -> int:
    """Return an angle in the smallest step that five decimals of a minute tell."""
    return round(angle_deg * NMEA_STEPS_A_DEGREE)


# A fix and the origin are each off by half a step north and half a step east; the frame may be turned any way.
NMEA_ROUNDING_M = 2 * math.sqrt(2) * 0.5 * METRES_A_DEGREE / NMEA_STEPS_A_DEGREE
