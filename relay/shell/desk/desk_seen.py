"""What each audience has been sent, for the desk: read back from the released records as they were encoded (R7).

Rules: nothing but the frames that left comes in here, those of closed audiences included; bounded: of each audience the
newest tick, a thinned track of each vehicle, and the newest `NOTES` annotations of the dive that it was last shown.
"""

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from relay.core.release import NO_DIVE, Kind
from relay.core.wire import WireRecord, decode
from relay.shell.desk.trail import Trail
from relay.shell.released.outlet import Frame

NOTES = 400
LATELY_US = 60_000_000
_REPORT = ("heard", "east_m", "north_m", "depth_m", "heading_deg", "altitude", "mode", "leg", "pitch_deg", "roll_deg")


@dataclass(frozen=True, slots=True)
class Note:
    """An annotation that an audience was sent, and the moment it belongs to, where that is known."""

    text: str
    at_us: int | None


@dataclass(slots=True)
class Shown:
    """The dive that an audience was last shown, as far as it has been shown it."""

    dive: int = 0
    records: int = 0
    octets: int = 0
    elapsed_s: float = 0.0
    begun_us: int | None = None
    over: bool = True
    vehicles: tuple[str, ...] = ()
    reports: list[dict[str, Any]] = field(default_factory=list)
    trails: dict[str, Trail] = field(default_factory=dict)
    notes: deque[Note] = field(default_factory=lambda: deque(maxlen=NOTES))

    @property
    def at_us(self) -> int | None:
        """The moment of which the newest tick tells, on the embargo clock."""
        return None if self.begun_us is None else self.begun_us + round(self.elapsed_s * 1e6)


class Seen:
    """What all audiences have been sent. `begun_us` tells when the dive that an audience is shown began."""

    def __init__(self, audiences: Iterable[str], begun_us: Callable[[str], int | None]) -> None:
        self.shown = {name: Shown() for name in audiences}
        self._begun_us = begun_us
        self._sent: dict[str, deque[tuple[int, int]]] = {name: deque() for name in self.shown}

    def take(self, frame: Frame) -> None:
        """Take a frame that leaves, or one of a dive that was over before a restart."""
        record, shown = decode(frame.data), self.shown[frame.audience]
        if record.kind == Kind.DIVE:
            shown = Shown(record.dive, octets=shown.octets, over=False, vehicles=tuple(record.body["vehicles"]))
            shown.trails = {name: Trail() for name in shown.vehicles}
            shown.begun_us = self._begun_us(frame.audience)
            self.shown[frame.audience] = shown
        shown.octets += len(frame.data)
        if frame.instant_us:
            self._sent[frame.audience].append((frame.instant_us, len(frame.data)))
            self._forget(frame.audience, frame.instant_us)
        if record.dive == shown.dive != NO_DIVE:  # what is told of no dive is no part of one
            shown.records += 1
            _read(record, shown)

    def lately(self, audience: str, now_us: int) -> tuple[int, int]:
        """Return how many octets left for an audience within the last minute, and in how many records."""
        self._forget(audience, now_us)
        return sum(octets for _, octets in self._sent[audience]), len(self._sent[audience])

    def _forget(self, audience: str, now_us: int) -> None:
        sent = self._sent[audience]
        while sent and sent[0][0] <= now_us - LATELY_US:
            sent.popleft()


def _read(record: WireRecord, shown: Shown) -> None:
    """Let a record change what an audience has been shown."""
    shown.elapsed_s = record.elapsed_s
    if record.kind == Kind.TICK:
        shown.reports = [_report(row) for row in record.body]
        for name, report in zip(shown.vehicles, shown.reports, strict=True):
            if report["east_m"] is not None or report["depth_m"] is not None:
                shown.trails[name].add(record.elapsed_s, report["east_m"], report["north_m"], report["depth_m"])
    elif record.kind in (Kind.NOTE, Kind.STILL):
        shown.notes.append(Note(record.body[1], shown.at_us))
    elif record.kind == Kind.END:
        shown.over = True


def _report(row: list[Any]) -> dict[str, Any]:
    """Return one vehicle's part of a tick record by name; what an exact audience gets beside stays where it is."""
    report = dict(zip(_REPORT, row[: len(_REPORT)], strict=True))
    return {**report, "heard": report["heard"] == "reporting"}
