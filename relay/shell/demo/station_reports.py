"""What the invented ship's instruments say of the truth: NMEA 0183 sentences and JSON lines, with their faults.

Rules: noise only here, never in the motion; every fault is one a real station has (a fix that wanders or jumps,
reports that stay away, a sounder that loses the bottom, a sentence hurt on its way). The sizes are common
practice, no source: an acoustic fix is good to about 0.2 % of the slant range.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import reduce
from json import dumps
from math import atan2, degrees, hypot
from operator import xor
from random import Random

from pyproj import Geod

from relay.core.model import Mode
from relay.shell.demo.seabed import INVENTED_PLACE, Place, Point
from relay.shell.demo.vehicle_motion import Pose, Wander

# An invented day: the vehicle's own clock, which never decides a release.
CLOCK_START = datetime(2027, 2, 11, 10, 42, 0, tzinfo=UTC)
SOUNDER_REACH_M = 100.0
HURT_ONE_IN = 500
JUMP_ONE_IN = 700
SILENCE_ONE_IN = 650
BLIND_ONE_IN = 350
KNOTS_PER_MPS = 3600.0 / 1852.0

_WGS84 = Geod(ellps="WGS84")


@dataclass(frozen=True, slots=True)
class Sent:
    """Bytes a control station sends on one feed at a moment (seconds since the stream's own zero)."""

    t_s: float
    feed: str
    data: bytes


def place_on_earth(point: Point) -> Place:
    """Return the position of a point of the invented site (pyproj `Geod.fwd`: the direct geodesic, WGS 84)."""
    azimuth = degrees(atan2(point.east_m, point.north_m))
    distance = hypot(point.east_m, point.north_m)
    longitude, latitude, _ = _WGS84.fwd(INVENTED_PLACE.longitude_deg, INVENTED_PLACE.latitude_deg, azimuth, distance)
    return Place(latitude, longitude)


class Fixes:
    """Acoustic positions: an error that wanders, a little jitter, and now and then a jump for a few fixes."""

    def __init__(self, random: Random) -> None:
        self._random = random
        self._wander = [Wander(random, 1.0, 30.0) for _ in range(2)]
        self._jump, self._jump_left = (0.0, 0.0), 0
        self._last_s = 0.0

    def take(self, pose: Pose, t_s: float) -> Place:
        """Return the fix of a moment; moments only go forward."""
        elapsed_s, self._last_s = t_s - self._last_s, t_s
        spread_m = 0.4 + 0.0014 * pose.depth_m
        self._maybe_jump(pose.depth_m)
        east, north = (
            spread_m * wander.step(elapsed_s) + self._random.gauss(0.0, 0.12 + 0.0001 * pose.depth_m) + jump
            for wander, jump in zip(self._wander, self._jump, strict=True)
        )
        return place_on_earth(pose.place.plus(east, north))

    def _maybe_jump(self, depth_m: float) -> None:
        self._jump_left -= 1
        if self._jump_left <= 0:
            self._jump = (0.0, 0.0)
        if depth_m > 50.0 and self._jump_left < 0 and self._random.random() < 1 / JUMP_ONE_IN:
            self._jump = (self._random.uniform(-16.0, 16.0), self._random.uniform(-16.0, 16.0))
            self._jump_left = self._random.randint(1, 4)


class Lapses:
    """Seconds during which something stays away: begins once in about `one_in` seconds, lasts within `between_s`."""

    def __init__(self, random: Random, one_in: int, between_s: tuple[int, int]) -> None:
        self._random, self._one_in, self._between_s, self._left = random, one_in, between_s, 0

    def lapsed(self) -> bool:
        """Tell whether the next second is one of them."""
        self._left -= 1
        if self._left < 0 and self._random.random() < 1 / self._one_in:
            self._left = self._random.randint(*self._between_s)
        return self._left >= 0


def sentence(body: str) -> bytes:
    """Return the NMEA 0183 sentence of a body: `$`, checksum (exclusive or of the body), CR LF."""
    return f"${body}*{reduce(xor, body.encode('ascii')):02X}\r\n".encode("ascii")


def degrees_minutes(value_deg: float, width: int, letters: str) -> str:
    """Return an NMEA latitude or longitude with five decimals of a minute and its hemisphere letter."""
    units = round(abs(value_deg) * 6_000_000)
    whole, part = divmod(units, 6_000_000)
    return f"{whole:0{width}d}{part / 100_000:08.5f},{letters[value_deg < 0]}"


class PositionFeed:
    """The positioning system's repeater: GGA, VTG, HDT, XDR and DPT once a second, ZDA every tenth."""

    def __init__(self, random: Random) -> None:
        self._random, self._fixes = random, Fixes(random)
        self._no_fix = Lapses(random, SILENCE_ONE_IN, (12, 40))
        self._silent = Lapses(random, 4 * SILENCE_ONE_IN, (10, 28))
        self._blind = Lapses(random, BLIND_ONE_IN, (2, 9))

    def second(self, pose: Pose, t_s: float) -> Iterator[bytes]:
        """Yield the datagrams of one second."""
        fix, lost, blind = self._fixes.take(pose, t_s), self._no_fix.lapsed(), self._blind.lapsed()
        if self._silent.lapsed() and pose.depth_m > 50.0:
            return
        if not (lost and pose.depth_m > 50.0):
            yield from self._fix(fix, pose, t_s)
        yield self._maybe_hurt(f"HEHDT,{(pose.heading_deg + self._random.gauss(0.0, 0.15)) % 360.0:.1f},T")
        yield self._maybe_hurt(f"YXXDR,A,{pose.pitch_deg:.1f},D,PTCH,A,{pose.roll_deg:.1f},D,ROLL")
        yield self._maybe_hurt(self._sounding(pose, blind))
        if round(t_s) % 10 == 0:
            yield self._maybe_hurt(f"GPZDA,{_clock(t_s):%H%M%S.00,%d,%m,%Y},00,00")
        if round(t_s) % 47 == 0:
            yield sentence(f"PHTN,TETHER,{1.04 * pose.depth_m + 30.0:.0f},M")

    def _fix(self, fix: Place, pose: Pose, t_s: float) -> Iterator[bytes]:
        latitude = degrees_minutes(fix.latitude_deg, 2, "NS")
        longitude = degrees_minutes(fix.longitude_deg, 3, "EW")
        yield self._maybe_hurt(f"GPGGA,{_clock(t_s):%H%M%S.00},{latitude},{longitude},2,11,0.8,0.0,M,,M,,")
        east, north = (speed + self._random.gauss(0.0, 0.02) for speed in (pose.east_mps, pose.north_mps))
        speed, course = hypot(east, north), degrees(atan2(east, north)) % 360.0
        knots, kmh = speed * KNOTS_PER_MPS, speed * 3.6
        yield self._maybe_hurt(f"GPVTG,{course:.1f},T,,M,{knots:.2f},N,{kmh:.2f},K,D")

    def _sounding(self, pose: Pose, blind: bool) -> str:
        if blind or pose.altitude_m > SOUNDER_REACH_M:
            return f"SDDPT,,0.0,{SOUNDER_REACH_M:.0f}"
        altitude = max(0.1, pose.altitude_m + self._random.gauss(0.0, 0.03))
        return f"SDDPT,{altitude:.2f},0.0,{SOUNDER_REACH_M:.0f}"

    def _maybe_hurt(self, body: str) -> bytes:
        """Return the sentence, about once in `HURT_ONE_IN` with one character changed or its end lost."""
        whole = sentence(body)
        if self._random.random() >= 1 / HURT_ONE_IN:
            return whole
        at = self._random.randrange(6, len(whole) - 6)
        if self._random.random() < 0.4:
            return whole[:at]
        return whole[:at] + (b"?" if whole[at : at + 1] != b"?" else b"#") + whole[at + 1 :]


def lantern_line(pose: Pose, mode: Mode, note: str | None, random: Random) -> bytes:
    """Return the station's JSON line for Lantern."""
    report: dict[str, float | str] = {
        "vehicle": "Lantern",
        "depth_m": round(pose.depth_m + random.gauss(0.0, 0.02), 2),
        "mode": mode.value,
    }
    if note is not None:
        report["note"] = note
    return _line(report)


def moth_line(pose: Pose, fix: Place, random: Random) -> bytes:
    """Return the station's JSON line for Moth."""
    return _line({
        "vehicle": "Moth",
        "latitude_deg": round(fix.latitude_deg, 7),
        "longitude_deg": round(fix.longitude_deg, 7),
        "depth_m": round(pose.depth_m + random.gauss(0.0, 0.03), 2),
        "altitude_m": round(max(0.1, pose.altitude_m + random.gauss(0.0, 0.04)), 2),
        "heading_deg": round(pose.heading_deg + random.gauss(0.0, 0.4), 1) % 360.0,
        "mode": Mode.TETHERED.value,
    })  # fmt: skip


def _line(report: dict[str, float | str]) -> bytes:
    return dumps(report, separators=(",", ":")).encode() + b"\n"


def _clock(t_s: float) -> datetime:
    return CLOCK_START + timedelta(seconds=t_s)
