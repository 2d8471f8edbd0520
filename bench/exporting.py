"""A day's journal exported: two vehicles, ten reports a second each, eight hours; once as messages, once as NMEA 0183.

Invented; the journal is made anew for each turn, and the export runs as the command does, in a process of its own.
"""

import json
import math
import os
import resource
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import reduce
from operator import xor
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from relay.core.model import Row, RowKind
from relay.shell.record.journal import JournalFile

HOURS, RATE_HZ = 8, 10
MOST_S = 60.0
VEHICLES = ("Lantern", "Moth")
FORMATS = ("gpkg", "csv", "geojson")
BLOCK = 600
EXPEDITION = """
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
wreck = "Isoline Marr"

[area]
name = "South Atlantic"
centre = [-30, -22]
radius = "600 km"

[[audience]]
name = "public"
preset = "public"
"""
VEHICLE = """
[[vehicle]]
name = "{0}"

[[feed]]
name = "{1}-station-json"
format = "station-json"
from = "tcp-listen://127.0.0.1:{2}"
vehicle = "{0}"

[[feed]]
name = "{1}-nmea0183"
format = "nmea0183"
from = "udp://127.0.0.1:{3}"
vehicle = "{0}"
"""


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export took: seconds by the clock and of processor, the most memory, the file's size, its reports."""

    kind: str
    form: str
    seconds: float
    cpu_s: float
    most_mib: float
    size_mib: float
    reports: int


def exports(hours: float = HOURS) -> Iterator[Exported]:
    """Measure each kind of journal in each format."""
    for kind, data in (("station-json", _message), ("nmea0183", _sentences)):
        with TemporaryDirectory() as folder:
            site = Path(folder)
            vehicles = (
                VEHICLE.format(name, name.lower(), 4_010 + 2 * at, 4_011 + 2 * at) for at, name in enumerate(VEHICLES)
            )
            (site / "EXPEDITION.toml").write_text(EXPEDITION + "".join(vehicles), encoding="utf-8")
            _journal(site / "private", kind, data, hours)
            for form in FORMATS:
                yield _exported(site, kind, form)


def _exported(site: Path, kind: str, form: str) -> Exported:
    out = site / "private" / f"day.{form}"
    words = ["journal", "export", str(site), "--format", form, "--out", str(out), "--json"]
    begun = perf_counter()
    process = subprocess.Popen([sys.executable, "-m", "relay", *words], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    told = process.stdout.read()
    _, code, used = _waited(process.pid)
    process.returncode = code
    assert code == 0
    seconds = perf_counter() - begun
    size_mib = out.stat().st_size / 2**20
    out.unlink()
    cpu_s = used.ru_utime + used.ru_stime
    return Exported(kind, form, seconds, cpu_s, used.ru_maxrss / 1024, size_mib, json.loads(told)["rows"]["fixes"])


def _waited(process: int) -> tuple[int, int, resource.struct_rusage]:
    return os.wait4(process, 0)


def _journal(private: Path, kind: str, data: Callable[[int, int], bytes], hours: float) -> None:
    file, seq = JournalFile(private), 0
    for first in range(0, round(hours * 3_600 * RATE_HZ), BLOCK):
        rows = []
        for at in range(first, first + BLOCK):
            for number, vehicle in enumerate(VEHICLES):
                seq += 1
                moment_us = round(at / RATE_HZ * 1e6) + number + 1_000
                wall_s = 1.8e9 + moment_us / 1e6
                rows.append(Row(seq, moment_us, wall_s, f"{vehicle.lower()}-{kind}", RowKind.WHOLE, data(at, number)))
        file.commit(rows, {})
    file.close()


def _values(at: int, number: int) -> tuple[float, float, float, float]:
    """Return latitude, longitude, depth and heading."""
    return (
        -30.25 + 0.01 * number + 0.001 * math.sin(at / 7_000),
        -22.5 + 0.001 * math.cos(at / 9_000),
        min(600.0, at / RATE_HZ) + math.sin(at / 90),
        at / 50 % 360,
    )


def _message(at: int, number: int) -> bytes:
    latitude_deg, longitude_deg, depth_m, heading_deg = _values(at, number)
    told = {
        "t": 1.8e9 + at / RATE_HZ,
        "vehicle": VEHICLES[number],
        "latitude_deg": latitude_deg,
        "longitude_deg": longitude_deg,
        "depth_m": depth_m,
        "altitude_m": 10 + math.sin(at / 100),
        "heading_deg": heading_deg,
        "pitch_deg": 1.5 * math.sin(at / 30),
        "roll_deg": math.cos(at / 20),
        "speed_mps": 0.5,
    }
    return json.dumps(told).encode() + b"\n"


def _sentences(at: int, number: int) -> bytes:
    latitude_deg, longitude_deg, _, heading_deg = _values(at, number)
    day_s = (1.8e9 + at / RATE_HZ) % 86_400
    clock = f"{int(day_s // 3_600):02d}{int(day_s // 60 % 60):02d}{day_s % 60:05.2f}"
    south, west = -latitude_deg, -longitude_deg
    fix = f"{int(south):02d}{south % 1 * 60:09.6f},S,{int(west):03d}{west % 1 * 60:09.6f},W"
    return _sentence(f"GPGGA,{clock},{fix},1,09,0.9,0.0,M,0.0,M,,") + _sentence(f"HEHDT,{heading_deg:.2f},T")


def _sentence(content: str) -> bytes:
    return b"$%s*%02X\r\n" % (content.encode(), reduce(xor, content.encode(), 0))
