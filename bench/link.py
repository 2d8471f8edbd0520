"""The link over a poor satellite, long: `far_voyage.py` of the tests, run as a program (root: it makes namespaces).

Eight hours of a dive, outages of seconds and minutes, 600 ms there and back, 2 % loss, 256 kbit/s, everything counted.
"""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
HOURS = 8


@dataclass(frozen=True, slots=True)
class Carried:
    """What came of it: bits a second of the dive; outage, records missed and seconds to be up to date; the rest."""

    congestion: str
    bits_per_s: float
    records_measured: int
    minutes_measured: float
    current_s: list[tuple[float, int, float]]
    records: int
    whole: bool
    octets: int


def carried() -> Carried | str:
    """Measure; or return why that can't be done here."""
    environment = {**os.environ, "PYTHONPATH": f"{ROOT}:{ROOT / 'tests'}"}
    program = [sys.executable, str(ROOT / "tests" / "far_voyage.py")]
    told = json.loads(subprocess.run(program, env=environment, stdout=subprocess.PIPE, check=True).stdout)
    return str(told["unable"]) if "unable" in told else Carried(**told)
