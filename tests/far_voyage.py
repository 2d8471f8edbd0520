"""The link over a poor satellite, long: `make bench` runs this as a program, which prints what came of it as JSON.

600 ms there and back, 2 % loss, 256 kbit/s, in network namespaces (root). What it costs is measured at five times the
dive's pace, where a tick is still five times as long as the way there and back; the eight hours go by sixty times as
fast. An outage lasts as long as it says. `far_voyage.py PACE SECONDS...` chooses pace and outages: `10 60 1800` takes
some fifty minutes.
"""

import asyncio
import json
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from far_dive import recording, seen, set_congestion_control, voyage
from satellite import satellite, unable

HOURS, QUICK, REAL = 8, 60.0, 5.0
COSTS_S, OUTAGES_S = 120.0, (1.0, 5.0, 20.0, 60.0, 170.0)


@dataclass(frozen=True, slots=True)
class Carried:
    """What came of it: bits a second of the dive, seconds to be up to date after each outage, whether all arrived."""

    congestion: str
    bits_per_s: float
    records_measured: int
    minutes_measured: float
    current_s: tuple[tuple[float, int, float], ...]
    records: int
    whole: bool
    octets: int


def carried(pace: float, outages_s: Sequence[float]) -> Carried | str:
    """Measure; or return why that can't be done here."""
    return unable() or asyncio.run(_carried(pace, outages_s))


async def _carried(pace: float, outages_s: Sequence[float]) -> Carried:
    dive = await asyncio.to_thread(recording, HOURS * 3_600)
    with tempfile.TemporaryDirectory() as first, tempfile.TemporaryDirectory() as second:
        congestion, bits_per_s, measured = await _costs(Path(first), dive)
        current, octets, records = await _outages(Path(second), dive, pace, outages_s)
        had = seen(Path(second))
        return Carried(
            congestion, bits_per_s, measured, COSTS_S * REAL / 60, tuple(current), records, _is_whole(dive, had), octets
        )


def _is_whole(dive: bytes, had: bytes) -> bool:
    """Whether a follower has had the dive to its end: all but the footer, which is no record."""
    return dive.startswith(had) and 0 < len(dive) - len(had) < 96


async def _costs(folder: Path, dive: bytes) -> tuple[str, float, int]:
    """Return the congestion control, the bits a second of the dive's time, and over how many records."""
    async with satellite() as link:
        congestion = set_congestion_control(link)
        async with voyage(link, folder, dive, REAL, 10 / REAL) as here:
            await here.until(lambda: here.up and here.seen > 0, 60)
            before, records = await link.count(), here.seen
            await here.passed(COSTS_S)
            octets = await link.count() - before
            return congestion, octets * 8 / (COSTS_S * REAL), here.seen - records


async def _outages(
    folder: Path, dive: bytes, pace: float, outages_s: Sequence[float]
) -> tuple[list[tuple[float, int, float]], int, int]:
    """Return outage, records missed and seconds to be up to date for each outage; octets; records in all."""
    out = []
    async with satellite() as link:
        set_congestion_control(link)
        async with voyage(link, folder, dive, pace, 10 / pace) as here:
            await here.until(lambda: here.up and here.seen > 0, 60)
            for outage_s in outages_s:
                await here.passed(5.0)
                link.say("down")
                before = here.seen
                await here.passed(outage_s)
                link.say("up")
                missed = int(here.told["released"]) - before
                out.append((outage_s, missed, await here.until(lambda: here.is_current, 120)))
            await here.until(lambda: _is_whole(dive, seen(folder)), HOURS * 3_600 / pace + 60)
            return out, await link.count(), here.seen


if __name__ == "__main__":
    pace, *outages_s = map(float, sys.argv[1:]) if sys.argv[1:] else (QUICK, *OUTAGES_S)
    told = carried(pace, outages_s)
    json.dump({"unable": told} if isinstance(told, str) else asdict(told), sys.stdout)
