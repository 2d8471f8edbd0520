"""A site with something for every table of an export, at the antimeridian, and what must be read back of it.

Invented: ship, vehicles and places. The journal has two stations that send Lantern, NMEA 0183 of Moth and of the
ship, a log of Moth's, annotations, targets with and without a place, and a find that was recorded twice, with drawings
and photographs.
"""

import json
import math
from pathlib import Path
from typing import Any

from day_on_board import EXPEDITION
from nmea_sentences import sentence
from record_site import Site, Told
from relay.core.decision import Begin, Decision, End, Say, Target
from relay.core.find import Drawing, Drawn, FileReference, Find, FindPlace, Shape
from relay.core.sighting import SeenFrom, Sighted
from relay.core.target_position import RangeIs

LANTERN = 60
SIGHTED = Sighted(
    bearing_deg=90.0,
    range_m=400.0,
    range_is=RangeIs.HORIZONTAL,
    bearing_sigma_deg=3.0,
    range_sigma_m=5.0,
    heading_sigma_deg=2.0,
    place_sigma_m=2.0,
    seen_from=SeenFrom(-30.25, 179.998, 0.0),
)
BRIDGE = """
[[feed]]
name = "bridge"
format = "nmea0183"
from = "udp://127.0.0.1:4019"
of = "ship"
"""
AREA = ((179.1, -30.1), (179.2, -30.1), (179.2, -30.0), (179.1, -30.1))
FOUND = Find(
    name="The bell",
    what="a bell, bronze",
    place=FindPlace(latitude_deg=-30.100000000123, longitude_deg=179.500000000456, radius_95_m=2.5),
    depth_m=611.25,
    drawings=(Drawing(kind=Drawn.OUTLINE, shape=Shape.AREA, points=AREA),),
    photographs=(FileReference("IMG_1.jpg", "ab" * 32, 1_234),),
    vehicle="Lantern",
)
AGAIN = Find(name="The bell", what="a ship's bell, bronze, with a name", supersedes=9)


def lantern(at: int) -> dict[str, Any]:
    """Return what Lantern's stations tell of second `at`: eastwards over the antimeridian, with odd last digits."""
    longitude_deg = 179.99 + at * 0.000333333333
    return {
        "t": 4_000.0 + at,
        "vehicle": "Lantern",
        "latitude_deg": -30.25 + 0.001 * math.sin(at / 7),
        "longitude_deg": longitude_deg if longitude_deg <= 180 else longitude_deg - 360,
        "depth_m": 600.0 + at / 8,
        "heading_deg": (at * 7) % 360,
    }


def exported_site(folder: Path) -> Site:
    """Make the site."""
    told: list[tuple[float, Told | Decision]] = [
        (1.0, Begin()),
        (2.0, Say(text='The bow, "upright".', vehicle="Lantern")),
        (2.5, Say(text="Gold?", wait=True)),
        (3.0, Target(name="Contact 1", verdict="unchecked", vehicle="Lantern", sighting=SIGHTED)),
        (4.0, Target(name="Contact 1", verdict="of interest")),
        (5.0, Target(name="Contact 2", verdict="rock")),
        (6.0, ("cable", sentence("GPGGA,012326.00,3015.5000,S,17930.2500,E,1,09,0.9,0.0,M,0.0,M,,"))),
        (6.1, ("cable", sentence("SDDPT,12.5,0.0"))),
        (7.0, FOUND),
        (8.0, AGAIN),
    ]
    for at in range(10, 10 + LANTERN):
        line = json.dumps(lantern(at)).encode() + b"\n"
        told += [(at + 0.02, ("main", line)), (at + 0.05, ("standby", line))]
    told.append((99.0, ("bridge", sentence("GPGGA,012400.00,3015.0000,S,17930.0000,E,1,09,0.9,0.0,M,0.0,M,,"))))
    told.append((100.0, End()))
    site = Site(folder, *told, text=EXPEDITION + BRIDGE)
    logged = {"vehicle": "Moth", "latitude_deg": -30.26, "longitude_deg": -179.5, "depth_m": 100.0}
    site.log({"t": 5_050.5, **logged}, {"t": 5_051.5, **logged, "depth_m": 101.0})
    return site
