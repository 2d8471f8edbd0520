"""Invented dives for tests: plans, and journal rows placed on the Earth by geographiclib (an independent library)."""

import json
import math
import random
from collections.abc import Iterable
from dataclasses import replace

from geographiclib.geodesic import Geodesic

from relay.core.channel import Due
from relay.core.decision import Decision, write_decision
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed, DiveLimits, Leg, Plan, Policy, SourcePlan
from relay.core.release import ReleasedRecord
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.core.wire import encode
from remembering_signer import RememberingSigner

SECOND = 1_000_000
SECRETS = Secrets(bytes(range(32)))
SIGNER = Signer(SECRETS.signing_seed)
_REMEMBERING = RememberingSigner(SECRETS.signing_seed)
INVENTED_SITE = (-38.61472, -21.93306)


def policy(audience: str = "public", **changes: object) -> Policy:
    """Return a quick policy that shows every field: 20 s delay, up to 10 s extra, a 2 s tick."""
    values: dict[str, object] = {
        "audience": audience, "delay_us": 20 * SECOND, "extra_us": 10 * SECOND, "tick_us": 2 * SECOND,
        "fields": frozenset(Disclosed), "cell_m": 10.0, "depth_step_m": 5.0, "track_legs": frozenset(Leg),
    }  # fmt: skip
    return Policy(**{**values, **changes})  # type: ignore[arg-type]


def plan(*policies: Policy, dive: DiveLimits | None = None) -> Plan:
    """Return a plan of two vehicles and one feed of station messages as JSON lines."""
    return Plan(
        expedition="The search for the Isoline Marr", vehicles=("Lantern", "Moth"),
        sources=(SourcePlan(name="station", format="station-json"),), policies=policies or (policy(),),
        dive=dive or DiveLimits(quiet_us=60 * SECOND),
    )  # fmt: skip


def walk(seconds: int, seed: int = 1) -> list[dict[str, float]]:
    """Return a believable walk about the site, one step a second: metres east and north, depth, altitude, heading."""
    chance, east, north, heading = random.Random(seed), 0.0, 0.0, chance_heading(seed)
    out = []
    for second in range(seconds):
        heading = (heading + chance.gauss(0, 4)) % 360
        east += 0.5 * math.sin(math.radians(heading))
        north += 0.5 * math.cos(math.radians(heading))
        depth = min(1_100.0, 4.0 + 20.0 * second) + chance.gauss(0, 0.3)
        out.append(
            {"east": east, "north": north, "depth": depth, "altitude": max(2.0, 1_103.0 - depth), "heading": heading}
        )
    return out


def chance_heading(seed: int) -> float:
    """Return where a walk first heads."""
    return random.Random(seed + 1_000).uniform(0, 360)


def message(
    step: dict[str, float], site: tuple[float, float], vehicle: str = "Lantern", note: str | None = None
) -> bytes:
    """Return a station message of a step, its place worked out by geographiclib about `site`."""
    azimuth, reach = math.degrees(math.atan2(step["east"], step["north"])), math.hypot(step["east"], step["north"])
    there = Geodesic.WGS84.Direct(*site, azimuth, reach)
    heading = (step["heading"] + there["azi2"] - azimuth) % 360 if reach else step["heading"]
    values: dict[str, object] = {
        "vehicle": vehicle, "latitude_deg": there["lat2"], "longitude_deg": there["lon2"], "depth_m": step["depth"],
        "altitude_m": step["altitude"], "heading_deg": heading, "mode": "tethered",
    }  # fmt: skip
    if note is not None:
        values["note"] = note
    return json.dumps(values).encode() + b"\n"


def rows(messages: Iterable[tuple[int, bytes]], first: int = 1) -> list[Row]:
    """Return journal rows of (microsecond, bytes) pairs from the feed "station"."""
    return [Row(first + at, us, us / 1e6, "station", RowKind.STREAM, data) for at, (us, data) in enumerate(messages)]


def decided(at_us: int, decision: Decision) -> Row:
    """Return the row of a decision that is taken at a moment; `in_order` gives it its number."""
    return Row(0, at_us, at_us / 1e6, "desk", RowKind.DECISION, write_decision(decision, "a test"))


def in_order(*parts: Iterable[Row]) -> list[Row]:
    """Return rows of several kinds as one journal, by their moments and numbered anew."""
    ordered = sorted((row for part in parts for row in part), key=lambda row: row.embargo_us)
    return [replace(row, seq=at) for at, row in enumerate(ordered, 1)]


def dive_rows(seconds: int, site: tuple[float, float] = INVENTED_SITE, seed: int = 1, start_s: int = 5) -> list[Row]:
    """Return the rows of a dive of `seconds`, a message a second, with an annotation every 25 s."""
    steps = enumerate(walk(seconds, seed))
    return rows(
        (
            (start_s + second) * SECOND + 137_000,
            message(step, site, note=f"note {second}" if second % 25 == 9 else None),
        )
        for second, step in steps
    )


def run(pipeline: Pipeline, journal: Iterable[Row], until_us: int | None = None) -> list[Due]:
    """Feed rows and let the clock run on, to `until_us` or until nothing more is due."""
    out: list[Due] = []
    for row in journal:
        out += pipeline.receive(row)
    while (moment := pipeline.next_us()) is not None and (until_us is None or moment <= until_us):
        out += pipeline.advance(moment)
    return out


def owed(pipeline: Pipeline, journal: Iterable[Row]) -> list[Row]:
    """Return the rows that a pipeline needs to go on from its checkpoint."""
    return [row for row in journal if row.seq >= pipeline.record_row]


def sent(due: Iterable[Due]) -> list[tuple[int, str, bytes]]:
    """Return what an outsider can observe: when, to whom, which bytes."""
    return [(item.instant_us, item.record.audience, sealed(item.record)) for item in due]


def sealed(record: ReleasedRecord) -> bytes:
    """Return a record's frame as the ship of these tests sends it."""
    return _REMEMBERING.seal(record.audience, encode(record))
