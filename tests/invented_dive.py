"""The demo's dive, made once for all tests: the exact truth, and what the stations sent."""

import json
from functools import cache
from math import cos, radians, sin
from typing import Any

from geographiclib.geodesic import Geodesic
from pynmeagps import NMEAReader
from pynmeagps.exceptions import NMEAParseError

from relay.shell.demo.demo import DEMO_SEED
from relay.shell.demo.seabed import INVENTED_PLACE, Point
from relay.shell.demo.simulated import Moment, Stations, dive
from relay.shell.demo.station_reports import Sent


@cache
def moments() -> tuple[Moment, ...]:
    """Return the truth of the demo's dive, indexed by the second."""
    return tuple(dive(DEMO_SEED))


@cache
def stream() -> tuple[Sent, ...]:
    """Return everything the stations sent in it."""
    stations = Stations(DEMO_SEED)
    return tuple(sent for moment in moments() for sent in stations.second(moment))


@cache
def _datagrams() -> tuple[tuple[Sent, Any], ...]:
    return tuple((sent, parsed_or_none(sent.data)) for sent in stream() if sent.feed == "position")


def parsed_or_none(datagram: bytes) -> Any:
    """Return what pynmeagps makes of a datagram, or None if it refuses it or the line is cut short."""
    if not datagram.endswith(b"\r\n"):
        return None
    try:
        return NMEAReader.parse(datagram)
    except NMEAParseError:
        return None


def sentences() -> list[tuple[float, Any]]:
    """Return the sentences that pynmeagps, an independent parser, takes, with the moment each was sent."""
    return [(sent.t_s, sentence) for sent, sentence in _datagrams() if sentence is not None]


def hurt() -> list[Sent]:
    """Return the datagrams that it refuses, or that are cut short."""
    return [sent for sent, sentence in _datagrams() if sentence is None]


@cache
def fix_errors() -> dict[int, Point]:
    """Return by the second how far east and north of the truth each fix of Lantern lies."""
    errors = {}
    for t_s, fix in sentences():
        if fix.msgID == "GGA":
            truth, said = moments()[int(t_s)].lantern.place, local(fix.lat, fix.lon)
            errors[int(t_s)] = said.plus(-truth.east_m, -truth.north_m)
    return errors


def local(latitude_deg: float, longitude_deg: float) -> Point:
    """Return a position as metres from the invented place: the inverse geodesic by geographiclib (Karney 2013)."""
    line = Geodesic.WGS84.Inverse(*INVENTED_PLACE, latitude_deg, longitude_deg)
    return Point(line["s12"] * sin(radians(line["azi1"])), line["s12"] * cos(radians(line["azi1"])))


@cache
def messages(vehicle: str) -> tuple[tuple[float, dict[str, Any]], ...]:
    """Return the station's messages of one vehicle, with the moment each was sent."""
    read = ((sent.t_s, json.loads(sent.data)) for sent in stream() if sent.feed == "station")
    return tuple((t_s, message) for t_s, message in read if message["vehicle"] == vehicle)
