"""The one door: the only place where a released record is made.

Rules (R1): the logs here alone hold the key that mints a `ReleasedRecord`, and `wire` encodes nothing else;
sequence numbers are gapless from 0 within a dive; dives are numbered from 1 within an audience. The programme is of no
dive: its records have the dive number 0 (`NO_DIVE`) and a sequence of their own, gapless from 0 within an audience.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from relay.core.disclosure import Report
from relay.core.errors import OneDoorError
from relay.core.policy import Disclosed, Place, Plan, Policy
from relay.core.quantise import plain
from relay.core.still import Still

MICROSECONDS = 1_000_000
FORMAT, VERSION = "offing recording", 1
NO_DIVE = 0
HEAD_BYTES = 32  # SHA-256, the hash of RFC 9162's trees
_KEY = object()


class Kind(IntEnum):
    """What a released record tells."""

    DIVE = 0
    TICK = 1
    NOTE = 2
    END = 3
    TARGET = 4
    STILL = 5
    PROGRAMME = 6
    HEAD = 7


@dataclass(frozen=True, slots=True)
class ReleasedRecord:
    """One record that has left the policy. `elapsed_us` is dive time, a multiple of the tick."""

    audience: str
    dive: int
    seq: int
    kind: Kind
    elapsed_us: int
    body: Any
    minted: object

    def __post_init__(self) -> None:
        if self.minted is not _KEY:
            raise OneDoorError("only a release log makes released records")


class ReleaseLog:
    """The append-only sequence of records of one dive for one audience."""

    def __init__(self, policy: Policy, plan: Plan, dive: int, begun_us: int, key: bytes | None = None) -> None:
        """`key`: the public one, with which readers check the records; None: nobody signs them."""
        self._policy, self._plan, self._key = policy, plan, key
        self.dive = dive
        self._begun_us = begun_us
        self._seq = 0

    def open(self, at_us: int) -> ReleasedRecord:
        """Return the record that begins the dive and says how it is shown."""
        return self._mint(Kind.DIVE, at_us, self._header())

    def tick(self, at_us: int, reports: Sequence[Report]) -> ReleasedRecord:
        """Return the record of one tick, a report for each vehicle of the expedition in its order."""
        exact = self._policy.place is Place.EXACT
        return self._mint(Kind.TICK, at_us, [_row(report) + (_exact(report) if exact else []) for report in reports])

    def note(self, at_us: int, vehicle: int | None, text: str) -> ReleasedRecord:
        """Return the record of an annotation."""
        return self._mint(Kind.NOTE, at_us, [vehicle, text])

    def still(self, at_us: int, vehicle: int | None, text: str, still: Still) -> ReleasedRecord:
        """Return the record of an annotation with its picture: of the still, the pixels and their size alone."""
        return self._mint(Kind.STILL, at_us, [vehicle, text, *still.size, still.jpeg])

    def target(self, at_us: int, vehicle: int | None, name: str, verdict: str) -> ReleasedRecord:
        """Return the record of a target and its verdict."""
        return self._mint(Kind.TARGET, at_us, [vehicle, name, verdict])

    def head(self, at_us: int, head: bytes) -> ReleasedRecord:
        """Return the record of a tree head of the exact record: no count and no minute stands beside it.

        Raises ValueError for a head of another length.
        """
        if len(head) != HEAD_BYTES:
            raise ValueError(f"a tree head has {HEAD_BYTES} bytes, not {len(head)}")
        return self._mint(Kind.HEAD, at_us, [head])

    def end(self, at_us: int) -> ReleasedRecord:
        """Return the record that ends the dive."""
        return self._mint(Kind.END, at_us, None)

    def _mint(self, kind: Kind, at_us: int, body: Any) -> ReleasedRecord:
        seq, self._seq = self._seq, self._seq + 1
        return ReleasedRecord(self._policy.audience, self.dive, seq, kind, at_us - self._begun_us, body, _KEY)

    def _header(self) -> dict[str, Any]:
        policy = self._policy
        named = policy.fields
        return {
            "format": FORMAT,
            "version": VERSION,
            "expedition": self._plan.expedition,
            "audience": policy.audience,
            "vehicles": list(self._plan.vehicles),
            "tick_s": seconds(policy.tick_us),
            "delay_s": [seconds(policy.delay_us), seconds(policy.delay_us + policy.extra_us)],
            "cell_m": plain(policy.cell_m) if Disclosed.TRACK in named else None,
            "depth_step_m": plain(policy.depth_step_m) if Disclosed.DEPTH in named else None,
            "heading_step_deg": plain(policy.heading_step_deg) if Disclosed.HEADING in named else None,
            "fields": [str(field) for field in Disclosed if field in named],
            "place": str(policy.place),
            "depth": "relative" if policy.depth_relative else "absolute",
            "area": self._plan.area.name if self._plan.area is not None else None,
            "swath_m": None if self._plan.swath_m is None else plain(self._plan.swath_m),
            **({} if self._key is None else {"key": self._key.hex()}),
        }


class ProgrammeLog:
    """The append-only sequence of an audience's programme."""

    def __init__(self, audience: str) -> None:
        self._audience = audience

    def programme(
        self, number: int, pinned: str | None, schedule: Sequence[str], left_s: int | None, dive: int
    ) -> ReleasedRecord:
        """Return the record of a programme: `left_s` until the dive of number `dive`, in coarse steps."""
        body = [pinned, list(schedule), left_s, dive]
        return ReleasedRecord(self._audience, NO_DIVE, number, Kind.PROGRAMME, 0, body, _KEY)


def seconds(microseconds: int) -> float:
    """Return seconds, an int where they are whole."""
    return microseconds // MICROSECONDS if microseconds % MICROSECONDS == 0 else microseconds / MICROSECONDS


def _exact(report: Report) -> list[Any]:
    return list(report.position) if report.position is not None else [None, None]


def _row(report: Report) -> list[Any]:
    return [
        "reporting" if report.heard else "no report",
        report.east_m,
        report.north_m,
        report.depth_m,
        report.heading_deg,
        report.altitude,
        report.mode,
        report.leg,
        report.pitch_deg,
        report.roll_deg,
    ]
