"""Dives for the tests of what is told besides the track, as they really leave the ship, and builds that leak.

A leaky build is the relay with a defence taken out (by `monkeypatch`), run like any other.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from audited import journal
from dives import INVENTED_SITE, SECOND, SECRETS, message, plan, policy, rows, run, sealed
from relay.audit.attacks.attack import Dive
from relay.core import release
from relay.core.channel import Due
from relay.core.disclosure import Disclosure, Report
from relay.core.fuse import VehicleState
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Plan
from relay.core.release import ReleaseLog
from relay.core.wire import decode, pad_start

Steps = Sequence[dict[str, float]]


def survey(seconds: int, every_s: int = 4, speed_mps: float = 0.5, leg_s: int = 400) -> list[dict[str, float]]:
    """Return a survey on the bottom in lanes of `leg_s` seconds that turn by 75 degrees each, so on many courses."""
    out, east, north = [], 0.0, 0.0
    for second in range(0, seconds, every_s):
        heading = 75.0 * (second // leg_s) % 360
        east += every_s * speed_mps * math.sin(math.radians(heading))
        north += every_s * speed_mps * math.cos(math.radians(heading))
        deep = 1_098.0 + 3.0 * math.sin(second / 300)
        out.append({"east": east, "north": north, "depth": deep, "altitude": 3.0, "heading": heading})
    return out


def lane(length_m: float, bearing_deg: float, every_m: float = 2.0) -> list[dict[str, float]]:
    """Return a straight run on the bottom."""
    bearing = math.radians(bearing_deg)
    return [
        {"east": at * math.sin(bearing), "north": at * math.cos(bearing), "depth": 1_098.0, "altitude": 3.0,
         "heading": bearing_deg}
        for at in np.arange(0.0, length_m, every_m)
    ]  # fmt: skip


def released(journal_rows: Iterable[Row], shown: Plan | None = None, started_s: float = 0.0) -> dict[str, Dive]:
    """Return each audience's recording of a dive, its frames signed as on the ship.

    `started_s`: what the clock of who follows said when the ship's embargo clock began.
    """
    return taken(run(Pipeline(shown or plan(), SECRETS), journal_rows), started_s)


def taken(due: Sequence[Due], started_s: float = 0.0) -> dict[str, Dive]:
    """Return what was due of the first dive as the recordings of those who took it."""
    due = [item for item in due if item.record.dive == 1]
    names = dict.fromkeys(item.record.audience for item in due)
    return {name: _recording([item for item in due if item.record.audience == name], name, started_s) for name in names}


def _recording(due: Sequence[Due], name: str, started_s: float) -> Dive:
    records = tuple(decode(sealed(item.record)) for item in due)
    return Dive(name, records[0].body, records, tuple(started_s + item.instant_us / SECOND for item in due))


def surveyed(shown: Plan | None = None, *, seconds: int = 1_200, site: tuple[float, float] = INVENTED_SITE) -> Dive:
    """Return the public's recording of a survey."""
    return released(journal(survey(seconds), 4, site), shown)["public"]


def noted(texts: Iterable[str], shown: Plan | None = None, site: tuple[float, float] = INVENTED_SITE) -> Dive:
    """Return the public's recording of a dive with these annotations, by the vehicle's own messages."""
    texts = list(texts)
    steps = zip(survey(4 * len(texts)), texts, strict=True)
    said = [(SECOND * (1 + 4 * at), message(step, site, note=text)) for at, (step, text) in enumerate(steps)]
    return released(rows(said), shown)["public"]


def unchecked() -> Plan:
    """Return the plan of a build that reads no annotation."""
    return plan(policy(check_text=False))


def beyond_the_row(
    monkeypatch: pytest.MonkeyPatch, value: Callable[[VehicleState], list[Any]], audience: str | None = None
) -> None:
    """Take the one door away: tick records get what `value` says of the state, behind their columns.

    `audience`: for that one alone.
    """
    kept, row = Disclosure.report, release._row
    said: dict[int, tuple[Report, list[Any]]] = {}

    def report(self: Disclosure, state: VehicleState, ground: Any, at_us: int) -> Report:
        made = kept(self, state, ground, at_us)
        if audience in (None, self._policy.audience):
            said[id(made)] = made, value(state)
        return made

    monkeypatch.setattr(Disclosure, "report", report)
    monkeypatch.setattr(release, "_row", lambda made: row(made) + said.get(id(made), (made, []))[1])


def names_fields(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    """Let the header name fields that no policy has."""
    header = ReleaseLog._header
    monkeypatch.setattr(
        ReleaseLog, "_header", lambda log: (made := header(log)) | {"fields": [*made["fields"], *names]}
    )


def exact_place(state: VehicleState) -> list[Any]:
    """Return the vehicle's exact position, as a leak would have it."""
    return list(state.last("position") or (None, None))


def in_cells_of(step_deg: float) -> Callable[[VehicleState], list[Any]]:
    """Return the leak of a position rounded to whole steps of degrees."""
    return lambda state: [
        None if value is None else round(round(value / step_deg) * step_deg, 9) for value in exact_place(state)
    ]


def named(dive: Dive, name: str, **changes: Any) -> Dive:
    """Return a recording under another name."""
    return replace(dive, name=name, **changes)


def with_pad(frame: bytes, content: bytes) -> bytes:
    """Return a frame whose padding begins with `content` instead of what the ship put there."""
    start = pad_start(frame)
    return (frame[:start] + content)[: len(frame)] + frame[start + len(content) :]
