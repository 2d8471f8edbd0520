"""The demo joins the invented dive in the middle: what has already happened, and what is still to come.

Rules: the joining moment is a little before the fourth survey line is announced, whatever the seed, so that the
first live minutes show a line being run, the ship being found, and Moth leaving her garage after about three.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from json import dumps
from pathlib import Path

from relay.shell.demo.simulated import FOURTH_LINE_NOTE, simulate
from relay.shell.demo.station_reports import Sent

DEMO_SEED = 7
FIRST_SEED = 5  # of the dive before, whose recording is in recordings/
LEAD_IN_S = 8.0

_TEMPLATE = Path(__file__).with_name("demo_expedition.toml")
_ANNOUNCED = dumps(FOURTH_LINE_NOTE).encode()


@dataclass(frozen=True, slots=True)
class DiveSoFar:
    """The dive cut at `joined_s`: `past` was sent before that moment, `coming` is sent from then on."""

    joined_s: float
    past: tuple[Sent, ...]
    coming: Iterator[Sent]


def dive_so_far(seed: int, seconds: float | None = None) -> DiveSoFar:
    """Cut the dive of a seed at `seconds`, or, without them, `LEAD_IN_S` before the fourth line is announced."""
    stream = simulate(seed)
    begun: list[Sent] = []
    for sent in stream:
        begun.append(sent)
        if seconds is None and _ANNOUNCED in sent.data:
            seconds = sent.t_s - LEAD_IN_S
        if seconds is not None and sent.t_s >= seconds:
            break
    joined_s = seconds if seconds is not None else (begun[-1].t_s if begun else 0.0)
    past = tuple(sent for sent in begun if sent.t_s < joined_s)
    return DiveSoFar(joined_s, past, chain(begun[len(past) :], stream))


def expedition_text(*, port: int, nmea_port: int, station_port: int, desk_port: int = 0) -> str:
    """Return the demo's expedition file, listening and receiving on the loopback at these ports."""
    ports = {"port": port, "nmea_port": nmea_port, "station_port": station_port, "desk_port": desk_port}
    return _TEMPLATE.read_text(encoding="utf-8").format(**ports)
