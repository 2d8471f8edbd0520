"""What a recording tells of a dive, gathered for its report: released records and nothing else (R7).

Rules: the same records give the same dive; a value that wasn't told isn't guessed; a leg lasts until another is told,
silence in between included; times are seconds of dive time, as the records have them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from relay.core.release import Kind
from relay.core.wire import Recording, WireRecord
from relay.shell.report.report_drawing import Spot

Place = tuple[float, float]


@dataclass(slots=True)
class Span:
    """Something that lasted: a leg, a silence. `most_m`: the deepest that was told in it."""

    what: str
    from_s: float
    to_s: float
    most_m: float | None = None


@dataclass(slots=True)
class VehicleTold:
    """What was told of one vehicle, tick by tick: how often, how deep, in which legs, where, and when nothing."""

    name: str
    ticks: int = 0
    heard: int = 0
    placed: int = 0
    deepest_m: float | None = None
    legs: list[Span] = field(default_factory=list)
    modes: list[Span] = field(default_factory=list)
    silences: list[Span] = field(default_factory=list)
    depths: list[list[Spot]] = field(default_factory=list)
    track: list[list[Spot]] = field(default_factory=list)
    _was_deep: bool = False
    _was_placed: bool = False

    def take(self, row: Sequence[Any], at_s: float, tick_s: float) -> None:
        """Take the vehicle's part of a tick."""
        heard, right_m, up_m, depth_m = row[0] == "reporting", row[1], row[2], row[3]
        self.ticks, self.heard = self.ticks + 1, self.heard + heard
        self.placed += right_m is not None
        until_s = at_s + tick_s
        _lengthen(self.legs, row[7], at_s, until_s)
        _lengthen(self.modes, row[6], at_s, until_s)
        if not heard:
            self._silent(at_s, until_s)
        self._was_deep = _append(self.depths, None if depth_m is None else (at_s, depth_m), self._was_deep)
        spot = None if right_m is None or up_m is None else (right_m, up_m)
        self._was_placed = _append(self.track, spot, self._was_placed)
        if depth_m is not None:
            self.deepest_m = depth_m if self.deepest_m is None else max(self.deepest_m, depth_m)
            if row[7] is not None:
                leg = self.legs[-1]
                leg.most_m = depth_m if leg.most_m is None else max(leg.most_m, depth_m)

    def _silent(self, from_s: float, to_s: float) -> None:
        last = self.silences[-1] if self.silences else None
        if last is not None and last.to_s >= from_s:
            last.to_s = to_s
        else:
            self.silences.append(Span("no report", from_s, to_s))


def _lengthen(spans: list[Span], what: str | None, at_s: float, until_s: float) -> None:
    """Take what lasts at a tick; None: it isn't told, and whatever was told last goes on."""
    if what is not None and (not spans or spans[-1].what != what):
        if spans:
            spans[-1].to_s = at_s
        spans.append(Span(what, at_s, until_s))
    elif spans:
        spans[-1].to_s = until_s


def _append(pieces: list[list[Spot]], spot: Spot | None, unbroken: bool) -> bool:
    """Add a spot to the last piece, or begin one; return whether the next one belongs to the same."""
    if spot is None:
        return False
    if not unbroken:
        pieces.append([])
    pieces[-1].append(spot)
    return True


class Said(NamedTuple):
    """An annotation, still or target: whose, when, where its vehicle was shown then, and the record itself."""

    kind: int
    at_s: float
    vehicle: str | None
    text: str
    place: Spot | None
    exact: Place | None
    record: WireRecord


@dataclass(slots=True)
class DiveTold:
    """A dive as a recording tells it; `heads_s`: when tree heads of the ship's record came."""

    recording: Recording
    vehicles: list[VehicleTold]
    said: list[Said] = field(default_factory=list)
    left_out: list[Span] = field(default_factory=list)
    heads_s: list[float] = field(default_factory=list)
    length_s: float = 0.0

    @property
    def header(self) -> dict[str, Any]:
        """The record that begins the dive."""
        return self.recording.header

    def end(self) -> None:
        """Let nothing last longer than what there is of the dive."""
        for vehicle in self.vehicles:
            for span in (*vehicle.legs, *vehicle.modes, *vehicle.silences):
                span.to_s = min(span.to_s, self.length_s)


def dive_told(recording: Recording) -> DiveTold:
    """Return what a recording tells."""
    header = recording.header
    dive = DiveTold(recording, [VehicleTold(name) for name in header["vehicles"]])
    tick_s, due_s = header["tick_s"], None
    shown: list[tuple[Spot | None, Place | None]] = [(None, None)] * len(dive.vehicles)
    for record in recording.records:
        dive.length_s = max(dive.length_s, record.elapsed_s)
        if record.kind == Kind.TICK:
            if due_s is not None and record.elapsed_s > due_s:
                dive.left_out.append(Span("not shown", due_s, record.elapsed_s))
            due_s = record.elapsed_s + tick_s
            for vehicle, row in zip(dive.vehicles, record.body, strict=True):
                vehicle.take(row, record.elapsed_s, tick_s)
            shown = [_where(row) for row in record.body]
        elif record.kind in (Kind.NOTE, Kind.STILL, Kind.TARGET):
            dive.said.append(_said(record, dive.vehicles, shown))
        elif record.kind == Kind.HEAD:
            dive.heads_s.append(record.elapsed_s)
    dive.end()
    return dive


def _where(row: Sequence[Any]) -> tuple[Spot | None, Place | None]:
    spot = None if row[1] is None or row[2] is None else (row[1], row[2])
    exact = (row[10], row[11]) if len(row) > 11 and row[10] is not None else None
    return spot, exact


def _said(
    record: WireRecord, vehicles: Sequence[VehicleTold], shown: Sequence[tuple[Spot | None, Place | None]]
) -> Said:
    whose, text, *_ = record.body
    spot, exact = (None, None) if whose is None else shown[whose]
    return Said(
        record.kind, record.elapsed_s, None if whose is None else vehicles[whose].name, text, spot, exact, record
    )
