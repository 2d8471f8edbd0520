"""The words of the trade as values: observations, decoder events, journal rows.

Rules: an observation says only what one report said; a missing field is None, never zero; units and
frames are in the names; depth is positive down, heading is true and in [0, 360), roll is positive
starboard down, pitch positive bow up.
"""

from dataclasses import dataclass
from enum import StrEnum
from operator import attrgetter
from typing import Any, Protocol

import msgspec


class Mode(StrEnum):
    """How a vehicle is being run."""

    TETHERED = "tethered"
    AUTONOMOUS = "autonomous"
    SURFACE = "surface"


class Observation(msgspec.Struct, frozen=True, kw_only=True):
    """One decoded report from a feed, some fields only.

    `vehicle` is None where the format has no name for it: the feed's configuration then says whose it is.
    `clock_s` (Unix seconds) and `time_of_day_s` (seconds after midnight UTC) are the sender's own clock. They
    time a capture that has no receipt times; they never decide a release.
    """

    vehicle: str | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    depth_m: float | None = None
    pressure_dbar: float | None = None
    altitude_m: float | None = None
    heading_deg: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    rate_of_turn_deg_min: float | None = None
    speed_mps: float | None = None
    course_deg: float | None = None
    water_speed_mps: float | None = None
    mode: Mode | None = None
    note: str | None = None
    clock_s: float | None = None
    time_of_day_s: float | None = None

    @property
    def tells_only_time(self) -> bool:
        """Whether nothing but the sender's clock was reported: no news of the vehicle."""
        return _state(self) == _NO_STATE

    def but(self, **others: Any) -> "Observation":
        """Return the same with other values for some fields."""
        return msgspec.structs.replace(self, **others)


_NOT_STATE = ("vehicle", "clock_s", "time_of_day_s")
OBSERVATION_FIELDS = Observation.__struct_fields__
_state = attrgetter(*(name for name in OBSERVATION_FIELDS if name not in _NOT_STATE))
_NO_STATE = (None,) * (len(OBSERVATION_FIELDS) - len(_NOT_STATE))


class Accepted(msgspec.Struct, frozen=True):
    """A well-formed frame that told us something."""

    raw: bytes
    kind: str
    observation: Observation


@dataclass(frozen=True, slots=True)
class PassedOver:
    """A well-formed frame that holds nothing Offing uses; `why` is a short, countable phrase."""

    raw: bytes
    kind: str
    why: str


@dataclass(frozen=True, slots=True)
class Rejected:
    """Bytes that are not a good frame, or say something impossible; `reason` is a short, countable phrase."""

    raw: bytes
    reason: str


Event = Accepted | PassedOver | Rejected


class Decoder(Protocol):
    """Bytes in, events out: sans-I/O, incremental, and every byte accounted for.

    At any moment the `raw` of all events returned so far, joined in order, followed by `pending`, is exactly
    the bytes received. How the bytes were cut into chunks never changes the events. `pending` is bounded.
    """

    def receive(self, data: bytes) -> list[Event]:
        """Take the next bytes of the stream and return the events they complete."""
        ...

    def end(self) -> list[Event]:
        """The stream or datagram ended: turn what is pending into events; the decoder is fresh afterwards."""
        ...

    @property
    def pending(self) -> bytes:
        """The bytes of the unfinished frame."""
        ...

    @property
    def at_rest(self) -> bool:
        """Whether a fresh decoder would read what follows just as well."""
        ...


class RowKind(StrEnum):
    """What a journal row holds: a piece of a byte stream, a whole datagram or message, or an operator's decision."""

    STREAM = "stream"
    WHOLE = "whole"
    DECISION = "decision"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the journal: bytes as they came, with the moment of receipt.

    `embargo_us` is the embargo clock in microseconds: only provably passed time. `wall_s` is the ship's wall
    clock, for the exact record alone; it never decides anything.
    """

    seq: int
    embargo_us: int
    wall_s: float
    source: str
    kind: RowKind
    data: bytes
