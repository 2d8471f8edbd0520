"""A day of eight hours on board, scripted: what the stations, the link and the operator send, and when.

Invented: ship, vehicles, wreck and places. A moment is a time of the embargo clock, which begins with the day.
Lantern's two stations tell the same of one instant 20 ms and 50 ms after it; Moth reports over an acoustic link, and on
the third dive through a cable in NMEA 0183. Positions are laid out by geographiclib. The day, hour by hour:

0:28 to 2:14  Lantern, tethered: down to 600 m at a metre a second, at post A, without fixes on its way to B, along a
              line to C with ten reports a second for two minutes, in which the main station is silent for half a minute
              and the stations contradict each other for ten seconds; up again. Four targets, one of them sighted; an
              annotation waits for approval, another is dismissed; five minutes are cut.
2:55 to 4:20  Moth on its own, a report every half minute, some lost, some late, some overtaken; the dive begun and
              ended by hand; a zone hides some of its way. Lantern reports from the deck. The public is held, and
              resumed. Moth's log is imported at 4:30.
4:59 to 5:15  Moth once more, now by cable; it falls silent on the bottom, and that ends the dive.
"""

import json
from collections.abc import Iterator
from typing import Any, NamedTuple

from geographiclib.geodesic import Geodesic

from nmea_sentences import sentence
from relay.core.area import ZoneAction
from relay.core.decision import (
    Approve,
    Back,
    Begin,
    Cut,
    Decision,
    Dismiss,
    End,
    Expect,
    HideZone,
    Hold,
    LiftZone,
    Resume,
    Say,
    Target,
)
from relay.core.sighting import Sighted
from relay.core.target_position import RangeIs

SECOND = 1_000_000
HOURS = 8
VEHICLE_CLOCK_S = 1_700_000_040  # what the vehicles' clocks tell at the begin of the day, Unix seconds
MAIN_LATE_US, STANDBY_LATE_US, CABLE_LATE_US = 20_000, 50_000, 20_000
A = (-30.25, -22.5)
EXPEDITION = """
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
wreck = "Isoline Marr"

[area]
name = "South Atlantic"
centre = [-30, -22]
radius = "600 km"

[dive]
quiet_ends_after = "10 min"
surfaced_ends_after = "2 min"

[[vehicle]]
name = "Lantern"

[[vehicle]]
name = "Moth"

[[feed]]
name = "main"
format = "station-json"
from = "tcp-listen://127.0.0.1:4010"

[[feed]]
name = "standby"
format = "station-json"
from = "tcp-listen://127.0.0.1:4011"
standby_for = "main"

[[feed]]
name = "acoustic"
format = "station-json"
from = "tcp-listen://127.0.0.1:4012"

[[feed]]
name = "cable"
format = "nmea0183"
from = "udp://127.0.0.1:10110"
vehicle = "Moth"
sounder = "depth"

[[audience]]
name = "public"
preset = "public"
open = true

[[audience]]
name = "funders"
preset = "funders"
stale_after = "2 min"

[[audience]]
name = "heritage"
preset = "heritage"

[[audience]]
name = "families"
fields = ["depth", "altitude", "mode", "leg", "notes"]
delay = "90 min"
extra = "0 s"
tick = "1 min"
depth = "relative"
depth_step = "5 m"
stale_after = "5 min"
"""
Told = tuple[int, str, bytes]  # moment of receipt in microseconds, feed, bytes


def at(text: str) -> float:
    """Return a time of the day, H:MM:SS, in seconds."""
    hours, minutes, seconds = text.split(":")
    return int(hours) * 3_600 + int(minutes) * 60 + float(seconds)


def place(start: tuple[float, float], bearing_deg: float, distance_m: float) -> tuple[float, float]:
    """Return the position that lies so far from another in a direction."""
    found = Geodesic.WGS84.Direct(*start, bearing_deg, distance_m)
    return found["lat2"], found["lon2"]


B = place(A, 70.0, 200.0)
C = place(B, 160.0, 300.0)
E = place(A, 300.0, 900.0)
NMEA_FIX = "3014.50000,S,02229.50000,W"


def json_line(vehicle: str, nominal_s: float, told: dict[str, Any]) -> bytes:
    """Return a station's message about one instant."""
    return json.dumps({"t": VEHICLE_CLOCK_S + nominal_s, "vehicle": vehicle, **told}).encode() + b"\n"


def lantern_at(nominal_s: float) -> dict[str, Any]:
    """Return what Lantern tells of an instant."""
    told: dict[str, Any] = {"mode": "tethered", "pitch_deg": 1.0, "roll_deg": 2.0, **_depths(nominal_s)}
    told["heading_deg"] = _heading(nominal_s)
    if not at("0:50:00") <= nominal_s < at("0:56:40"):
        told["latitude_deg"], told["longitude_deg"] = _lantern_place(nominal_s)
    if nominal_s in NOTES:
        told["note"] = NOTES[nominal_s]
    return told


NOTES = {
    at("1:16:28"): "A row of eleven rivets.",
    at("1:22:00"): "USBL gives 30 14.9 S 22 29.8 W",
    at("1:30:00"): "For the register alone.",
    at("1:33:00"): "A shoe, left where it lies.",
    at("1:35:00"): "Back at the hull.",
}


def _depths(nominal_s: float) -> dict[str, float]:
    """Return depth and altitude of Lantern: 600 m in ten minutes, down and up; off the bottom while it is cut."""
    if nominal_s < at("0:30:00") or nominal_s >= at("2:10:00"):
        return {"depth_m": 0.0}
    if nominal_s < at("0:40:00"):
        return {"depth_m": nominal_s - at("0:30:00")}
    if nominal_s < at("0:56:40"):
        return {"depth_m": 600.0, "altitude_m": 12.0}
    if nominal_s < at("1:10:00"):
        return {"depth_m": 611.0, "altitude_m": 1.0}
    if at("1:30:00") <= nominal_s < at("1:35:00"):
        return {"depth_m": 590.0, "altitude_m": 22.0}
    risen_m = max(0.0, nominal_s - at("2:00:00"))
    return {"depth_m": 606.0 - risen_m} | ({"altitude_m": 6.0 + risen_m} if risen_m <= 92.0 else {})


def _heading(nominal_s: float) -> float:
    turns = (("0:00:00", 40.0), ("0:50:00", 70.0), ("1:10:00", 160.0), ("1:20:00", 250.0), ("2:40:00", 40.0))
    return [heading for moment, heading in turns if nominal_s >= at(moment)][-1]


def _lantern_place(nominal_s: float) -> tuple[float, float]:
    if nominal_s < at("0:56:40") or nominal_s >= at("2:40:00"):
        return A
    along_m = 0.5 * (nominal_s - at("1:10:00"))
    return place(B, 160.0, min(max(along_m, 0.0), 300.0))


def lantern() -> Iterator[Told]:
    """Yield what Lantern's two stations send."""
    for nominal_s in _lantern_instants():
        told = lantern_at(nominal_s)
        if not at("1:13:00") <= nominal_s < at("1:13:30"):
            yield _moment(nominal_s, MAIN_LATE_US), "main", json_line("Lantern", nominal_s, told)
        if at("1:12:40") <= nominal_s < at("1:14:00"):
            told["roll_deg"] = 8.0
        if at("1:14:10") <= nominal_s < at("1:14:20"):
            off = place((told["latitude_deg"], told["longitude_deg"]), 90.0, 300.0)
            told["latitude_deg"], told["longitude_deg"] = off
        yield _moment(nominal_s, STANDBY_LATE_US), "standby", json_line("Lantern", nominal_s, told)


def _lantern_instants() -> Iterator[float]:
    """Yield the instants Lantern reports of: every 4 s, ten times a second for two minutes, every 20 s at rest."""
    yield from _every("0:28:00", "0:41:00", 4)
    yield from _every("0:41:00", "0:49:00", 20)
    yield from _every("0:49:00", "0:57:00", 4)
    yield from _every("0:57:00", "1:09:00", 20)
    yield from _every("1:09:00", "1:12:32", 4)
    yield from (tenth / 10 for tenth in range(round(at("1:12:32") * 10), round(at("1:14:32") * 10)))
    yield from _every("1:14:32", "1:37:00", 4)
    yield from _every("1:37:00", "1:59:00", 20)
    yield from _every("1:59:00", "2:14:04", 4)
    yield from _every("2:55:00", "4:20:20", 20)


def _every(first: str, end: str, seconds: int) -> Iterator[float]:
    return (float(second) for second in range(round(at(first)), round(at(end)), seconds))


def _moment(nominal_s: float, late_us: int) -> int:
    return round(nominal_s * SECOND) + late_us


LOST = (4, 5, 6, 13, 40, 41)
LATE_S = {9: 70.3, 17: 50.3, 30: 130.3, 31: 40.3}
SOON_S = 5.3


def moth_at(nominal_s: float) -> dict[str, Any]:
    """Return what Moth, on its own, tells of an instant: 10 m deeper and 15 m further every half minute."""
    if nominal_s >= at("4:00:00"):
        on_deck = {"depth_m": 0.4, "mode": "surface"}
        return on_deck | dict(zip(("latitude_deg", "longitude_deg"), A, strict=True))
    halves = (nominal_s - at("3:10:00")) / 30
    latitude, longitude = place(E, 200.0, 15.0 * halves)
    return {
        "latitude_deg": latitude, "longitude_deg": longitude, "depth_m": min(200.0 + 10.0 * halves, 800.0),
        "altitude_m": 8.0, "heading_deg": 200.0, "pitch_deg": -3.0, "speed_mps": 0.5, "mode": "autonomous",
    }  # fmt: skip


def acoustic() -> Iterator[Told]:
    """Yield what arrives of Moth over the acoustic link, in the order of its making, which isn't that of arrival."""
    for number in range(91):
        nominal_s = at("3:10:00") + 30 * number
        if number not in LOST:
            late_us = round(LATE_S.get(number, SOON_S) * SECOND)
            yield _moment(nominal_s, late_us), "acoustic", json_line("Moth", nominal_s, moth_at(nominal_s))
    up_s = at("4:00:00")
    yield _moment(up_s, round(SOON_S * SECOND)), "acoustic", json_line("Moth", up_s, moth_at(up_s))


def recovered_log() -> bytes:
    """Return Moth's own log: every 10 s, but nothing for two minutes; at 3:35 another speed than the link told."""
    instants = [second for second in _every("3:10:00", "3:55:10", 10) if not at("3:40:00") < second < at("3:42:00")]
    slower = {at("3:35:00"): {"speed_mps": 0.46}}
    return b"".join(json_line("Moth", second, moth_at(second) | slower.get(second, {})) for second in instants)


def cable() -> Iterator[Told]:
    """Yield Moth's third dive: position, heading and depth every 10 s; one burst of three comes in two pieces."""
    for nominal_s in _every("4:59:00", "5:15:10", 10):
        down_s = nominal_s - at("5:00:00")
        clock_s = round(VEHICLE_CLOCK_S + nominal_s) % 86_400
        clock = f"{clock_s // 3_600:02}{clock_s // 60 % 60:02}{clock_s % 60:02}"
        told = (f"GPGGA,{clock},{NMEA_FIX},1,09,0.9,0,M,,M,,", "HEHDT,300.0,T",
                f"SDDPT,{min(max(down_s, 0.0), 150.0):.1f},0.0")  # fmt: skip
        burst, moment_us = b"".join(map(sentence, told)), _moment(nominal_s, CABLE_LATE_US)
        torn = 40 if nominal_s == at("5:10:00") else len(burst)
        yield moment_us, "cable", burst[:torn]
        if burst[torn:]:
            yield moment_us + 5_000, "cable", burst[torn:]


class OfWaiting(NamedTuple):
    """A decision about what waits with these words: its row isn't known beforehand."""

    text: str
    kind: type[Approve | Dismiss]


def decisions() -> Iterator[tuple[int, Decision | OfWaiting]]:
    """Yield what the operator decides, each half a second after the time that is given here."""
    for text, decision in _DECISIONS:
        yield round(at(text) * SECOND) + SECOND // 2, decision


def us(text: str) -> int:
    """Return a time of the day in microseconds."""
    return round(at(text) * SECOND)


_VERDICTS = (("Contact 1", "rock"), ("Contact 2", "modern debris"), ("Contact 3", "of interest"),
             ("Contact 4", "withheld"))  # fmt: skip
_SEEN = Sighted(bearing_deg=90.0, range_m=50.0, range_is=RangeIs.SLANT, bearing_sigma_deg=1.0, range_sigma_m=0.5,
                heading_sigma_deg=1.0, place_sigma_m=2.0, depression_deg=60.0, depression_sigma_deg=1.0)  # fmt: skip
_HIDDEN = HideZone(name="Isoline's cargo", centre=place(E, 200.0, 15.0 * 70), radius_m=100.0, margin_m=60.0,
                   action=ZoneAction.WITHHOLD)  # fmt: skip
_DECISIONS: list[tuple[str, Decision | OfWaiting]] = [
    ("0:58:00", Say(text="The bow stands upright.", vehicle="Lantern")),
    ("1:02:00", Say(text="Thank you for the lamps.", audiences=("funders",))),
    ("1:12:00", Say(text="The bell is still there.", audiences=("public", "families"), wait=True)),
    ("1:21:00", Say(text="Your grandfathers' ship.", audiences=("heritage", "families"))),
    ("1:23:00", Say(text="30 14.9 S 22 29.8 W, for the register", audiences=("heritage",))),
    ("1:25:00", Say(text="Perhaps a boiler.", wait=True)),
    ("1:26:00", OfWaiting("Perhaps a boiler.", Dismiss)),
    ("1:28:00", OfWaiting("The bell is still there.", Approve)),
    ("1:31:00", Say(text="We look at what nobody should see.")),
    ("1:32:00", Target(name="Contact 0", verdict="unchecked", vehicle="Lantern")),
    ("1:36:00", Cut(from_us=us("1:30:00"), to_us=us("1:35:00"))),
    *((f"1:4{at}:00", Target(name=name, verdict="unchecked", vehicle="Lantern",
                             sighting=_SEEN if name == "Contact 3" else None))
      for at, (name, _) in enumerate(_VERDICTS)),
    *((f"1:4{at + 5}:00", Target(name=name, verdict=verdict, vehicle="Lantern"))
      for at, (name, verdict) in enumerate(_VERDICTS)),
    ("2:30:00", Say(text="Said between dives.")),
    ("3:05:00", Begin()),
    ("3:10:00", Expect(vehicle="Moth", return_in_s=2_700.0, return_grace_s=600.0, report_every_s=30.0,
                       report_grace_s=120.0)),
    ("3:12:00", Say(text="Moth is on its own.", vehicle="Moth")),
    ("3:41:00", _HIDDEN),
    ("3:46:00", LiftZone(name=_HIDDEN.name)),
    ("3:50:00", End()),
    ("4:01:00", Back(vehicle="Moth")),
    ("4:05:00", Hold(audience="public")),
    ("4:25:00", Resume(audience="public")),
]  # fmt: skip
