"""What charts call their values: which way they count, and in which unit.

Rules: the sign of a value is by its name where that says it (a depth is positive down, an elevation or a height
positive up); only where the name says nothing do the values themselves decide, and only where they can.
"""

import re

from relay.audit.charts.chart import Floats
from relay.core.errors import ChartError

UNITS_M = {
    "m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "km": 1e3, "kilometre": 1e3, "kilometres": 1e3,
    "cm": 0.01, "ft": 0.3048, "foot": 0.3048, "feet": 0.3048, "fathom": 1.8288, "fathoms": 1.8288, "fm": 1.8288,
}  # fmt: skip
DOWN = {"depth"}
UP = {"elevation", "elev", "height", "altitude", "topo", "topography"}
LATITUDE, LONGITUDE = {"lat", "latitude"}, {"lon", "long", "lng", "longitude"}
DEGREES = {"", "deg", "degree", "degrees", "degrees_north", "degrees_east", "n", "e"}
TIDAL_M = 20.0  # values as low as this below nought are no drying heights: they are the sea, so up is positive


def word_and_unit(head: str) -> tuple[str, str]:
    """Return the known word that a head begins with and its unit: `depth_m`, `Depth (m)`, `elevation [ft]`, `lat`.

    The word is empty where none is known.
    """
    text = head.strip().lower()
    word = max((known for known in DOWN | UP | LATITUDE | LONGITUDE if text.startswith(known)), key=len, default="")
    return word, re.sub(r"[^a-z_]+", "", text[len(word) :]).strip("_")


def upward(name: str, values: Floats) -> float:
    """Return 1 where values that nobody named look like elevations, -1 where they look like depths.

    Rule: all at or above nought are depths; something lower than -20 makes them elevations. ChartError between these.
    """
    lowest = float(values.min(initial=0.0, where=values == values))
    if lowest >= 0:
        return -1.0
    if lowest < -TIDAL_M:
        return 1.0
    raise ChartError(f"{name}: it is not said whether depths are positive down or up; say so in the variable's name")
