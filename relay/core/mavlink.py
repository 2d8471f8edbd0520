"""MAVLink 1 and 2 in, events out: own framing, the extra `mavlink` (pymavlink) for checksums and fields.

Rules:

1. A candidate frame begins at a magic byte; only its checksum, seeded with the CRC_EXTRA of its message id, makes
   it a frame. A message id the dialect does not know cannot be verified, so it is never a frame.
2. When a candidate fails, the search goes on from the byte after its magic: a magic byte made of noise never
   swallows a good frame behind it. What lies between good frames is one `Rejected`, up to the claimed end of the
   candidate that failed first, so that one damaged frame counts once.
3. Decisions depend on the bytes alone, never on how they were cut; `pending` stays below two of the longest frames.
4. Only the configured system and component speak for the vehicle. A signature is skipped, not checked: Offing
   holds no signing key, and the network of the control station is trusted as far as its owner trusts it.
5. One field has one source. Position, speed over the ground and (by default) depth: GLOBAL_POSITION_INT. Roll and
   pitch: ATTITUDE. Heading: both, because they carry the same estimate of the same filter. VFR_HUD repeats those
   more coarsely and is passed over. Depth from pressure is chosen by `depth_from`, and then `relative_alt` is not
   read; else SCALED_PRESSURE2 is passed over. Nothing is made of STATUSTEXT.

Source: the MAVLink guide, "Packet Serialization" (layouts, checksum, zero-trimmed payloads, signature) and the
common message set (fields, units, "unknown" values).
"""

import re
from collections.abc import Callable, Iterator
from enum import StrEnum
from importlib import import_module
from math import degrees, hypot, pi
from typing import Any

from relay.core.errors import OperatorError
from relay.core.model import Accepted, Event, Observation, PassedOver, Rejected
from relay.core.ranges import RANGES, out_of_range

MAGIC_V1 = 0xFE
MAGIC_V2 = 0xFD
HEADER_V1 = 6
HEADER_V2 = 10
CHECKSUM = 2
SIGNATURE = 13
SIGNED = 0x01
LONGEST_FRAME = HEADER_V2 + 255 + CHECKSUM + SIGNATURE

STANDARD_ATMOSPHERE_HPA = 1013.25
HPA_PER_DBAR = 100.0
DOWNWARD = 25  # MAV_SENSOR_ROTATION_PITCH_270
UNKNOWN_HEADING_CDEG = 65535
INVALID_SIGNAL = 1  # DISTANCE_SENSOR.signal_quality: 0 is unset, 1 is an invalid signal

DAY_S = 86_400.0

_MAGIC = re.compile(rb"[\xfd\xfe]")

# A version 1 frame has no zero trimming: its payload holds all the base fields of its message at least.
_PAYLOAD_V1 = {2: 12, 30: 28, 33: 28, 132: 14, 137: 14}


class DepthFrom(StrEnum):
    """Which report tells the depth; the other one is not read.

    RELATIVE_ALT is what the vehicle itself calls its depth, zeroed by its pilot at the surface. PRESSURE leaves the
    conversion to TEOS-10, which is better in deep water.
    """

    RELATIVE_ALT = "relative_alt"
    PRESSURE = "pressure"


Fields = dict[str, Any]
_Reading = Callable[[Any], Fields | str]  # the fields of one message, or why it is passed over


class Fault(StrEnum):
    """Why bytes are no frame."""

    NOISE = "noise between frames"
    CUT_SHORT = "frame cut short"
    FLAGS = "unknown incompatibility flags"
    MESSAGE_ID = "unknown message id"
    CHECKSUM = "bad checksum"


class MavlinkDecoder:
    """Decode a MAVLink stream or datagrams of one vehicle (see `relay.core.model.Decoder`).

    `system` and `component` name the autopilot whose frames are believed. Raises OperatorError if the extra
    `mavlink` is not installed.
    """

    def __init__(self, *, system: int = 1, component: int = 1, depth_from: DepthFrom = DepthFrom.RELATIVE_ALT) -> None:
        dialect = _dialect()
        self._messages: dict[int, Any] = dialect.mavlink_map
        self._checksum: Callable[[bytes], Any] = dialect.x25crc
        self._decode: Callable[[bytearray], Any] = dialect.MAVLink(None).decode
        self._sender = (system, component)
        self._readings, self._passed = _readings(DepthFrom(depth_from))
        self._buffer = bytearray()
        # buffer[start:at] is a run that begins no frame, for the reason `fault`; it is closed by `run_end`.
        self._start = self._at = self._run_end = 0
        self._fault = Fault.NOISE

    @property
    def pending(self) -> bytes:
        """The bytes of the unfinished frame, fewer than two of the longest frames."""
        return bytes(self._buffer)

    @property
    def at_rest(self) -> bool:
        """Whether no frame has begun, nor a run of bytes that are none."""
        return not self._buffer

    def receive(self, data: bytes) -> list[Event]:
        """Take the next bytes of the stream and return the events they complete."""
        self._buffer += data
        return self._drain(final=False)

    def end(self) -> list[Event]:
        """Turn what is pending into events; whole frames behind a false magic byte are still found."""
        return self._drain(final=True)

    def _drain(self, final: bool) -> list[Event]:
        events: list[Event] = []
        while self._at < len(self._buffer):
            if self._buffer[self._at] not in (MAGIC_V1, MAGIC_V2):
                self._skip(events, Fault.NOISE, LONGEST_FRAME, self._next_magic())
            elif not self._take(events, final):
                break
        if final:
            self._close(events)
        del self._buffer[: self._start]
        self._at -= self._start
        self._run_end -= self._start
        self._start = 0
        return events

    def _take(self, events: list[Event], final: bool) -> bool:
        """Take the candidate at a magic byte; return False if more bytes must come first."""
        if self._fault is Fault.NOISE:
            self._close(events)
        size, fault = self._judge()
        if fault is Fault.CUT_SHORT and not final:
            return False
        if fault:
            self._skip(events, fault, size, self._at + 1)
            return True
        self._close(events)
        self._at += size
        events.append(self._event(bytes(self._buffer[self._start : self._at])))
        self._start = self._at
        return True

    def _skip(self, events: list[Event], fault: Fault, claimed: int, to: int) -> None:
        """Add the bytes up to `to` to the run, or begin one of at most `claimed` bytes for the reason `fault`."""
        if self._at == self._start:
            self._fault, self._run_end = fault, self._start + claimed
        self._at = min(to, self._run_end)
        if self._at == self._run_end:
            self._close(events)

    def _close(self, events: list[Event]) -> None:
        """Reject the run, if there is one."""
        if self._at > self._start:
            events.append(Rejected(bytes(self._buffer[self._start : self._at]), self._fault.value))
            self._start = self._at

    def _next_magic(self) -> int:
        found = _MAGIC.search(self._buffer, self._at, self._at + LONGEST_FRAME)
        return found.start() if found else min(len(self._buffer), self._at + LONGEST_FRAME)

    def _judge(self) -> tuple[int, Fault | None]:
        """Return the claimed size of the candidate and its first fault, as soon as the bytes there show it."""
        at = self._at
        size = frame_size(self._buffer, at)
        if size is None:
            return LONGEST_FRAME, Fault.CUT_SHORT
        if self._buffer[at] == MAGIC_V2 and self._buffer[at + 2] & ~SIGNED:
            return size, Fault.FLAGS
        held = len(self._buffer) - at
        if held < (HEADER_V2 if self._buffer[at] == MAGIC_V2 else HEADER_V1):
            return size, Fault.CUT_SHORT
        message = self._messages.get(_message_id(self._buffer, at))
        if message is None:
            return size, Fault.MESSAGE_ID
        if held < size:
            return size, Fault.CUT_SHORT
        return size, None if self._verified(at, size, message) else Fault.CHECKSUM

    def _verified(self, at: int, size: int, message: Any) -> bool:
        """Tell whether the checksum holds ("Packet Serialization": from after the magic, then CRC_EXTRA).

        Asked of pymavlink's sum, not of its `decode`, which an environment variable can tell to look away.
        """
        signed = self._buffer[at] == MAGIC_V2 and self._buffer[at + 2] & SIGNED
        end = at + size - (SIGNATURE if signed else 0)
        body = bytes(self._buffer[at + 1 : end - CHECKSUM]) + bytes((message.crc_extra,))
        return bool(self._checksum(body).crc == int.from_bytes(self._buffer[end - CHECKSUM : end], "little"))

    def _event(self, raw: bytes) -> Event:
        """Read one verified frame."""
        message_id = _message_id(raw, 0)
        kind: str = self._messages[message_id].msgname
        sender = (raw[5], raw[6]) if raw[0] == MAGIC_V2 else (raw[3], raw[4])
        if sender != self._sender:
            return PassedOver(raw, kind, "other sender")
        reading = self._readings.get(message_id)
        if reading is None:
            return PassedOver(raw, kind, self._passed.get(message_id, "not used"))
        if raw[0] == MAGIC_V1 and raw[1] < _PAYLOAD_V1[message_id]:
            return Rejected(raw, "payload too short")
        return _told(raw, kind, reading(self._decode(bytearray(raw))))


def _dialect() -> Any:
    """Import pymavlink's generated dialect, which is an extra because of its size and licence."""
    try:
        return import_module("pymavlink.dialects.v20.ardupilotmega")
    except ImportError as error:
        raise OperatorError(
            "a feed of format 'mavlink' needs pymavlink, which is not installed: run pip install "
            "--require-hashes -r requirements.lock -r requirements-mavlink.lock"
        ) from error


def frame_size(data: bytes | bytearray, at: int) -> int | None:
    """Return the size claimed by the frame whose magic byte is at `at`, or None if too little of it is there."""
    if data[at] == MAGIC_V1:
        return HEADER_V1 + data[at + 1] + CHECKSUM if len(data) > at + 1 else None
    if len(data) <= at + 2:
        return None
    return HEADER_V2 + data[at + 1] + CHECKSUM + (SIGNATURE if data[at + 2] & SIGNED else 0)


def _message_id(data: bytes | bytearray, at: int) -> int:
    """Return the message id: one byte in version 1, three little-endian ones in version 2."""
    if data[at] == MAGIC_V1:
        return data[at + 5]
    return data[at + 7] | data[at + 8] << 8 | data[at + 9] << 16


def _told(raw: bytes, kind: str, fields: Fields | str) -> Event:
    """Make the event of a reading; a value no vehicle can have rejects the whole frame."""
    if isinstance(fields, str):
        return PassedOver(raw, kind, fields)
    for name, value in fields.items():
        if reason := out_of_range(name, value):
            return Rejected(raw, reason)
    return Accepted(raw, kind, Observation(**fields)) if fields else PassedOver(raw, kind, "says nothing")


def _readings(depth_from: DepthFrom) -> tuple[dict[int, _Reading], dict[int, str]]:
    """Return what is read, by message id, and why some of the rest is passed over."""
    by_pressure = depth_from is DepthFrom.PRESSURE
    readings: dict[int, _Reading] = {
        2: _clock,
        30: _attitude,
        33: _position if by_pressure else _position_and_depth,
        132: _distance,
    }
    passed = {74: "told better elsewhere", 253: "text is not published"}
    if by_pressure:
        readings[137] = _pressure
    else:
        passed[137] = "depth comes from elsewhere"
    return readings, passed


def _clock(message: Any) -> Fields | str:
    """SYSTEM_TIME: microseconds since 1970, zero while the autopilot does not know."""
    return {"clock_s": message.time_unix_usec / 1e6} if message.time_unix_usec else "clock not set"


def _attitude(message: Any) -> Fields | str:
    """ATTITUDE: radians; yaw in -pi to pi, so that a turn more than a whole one is no angle."""
    heading_deg = degrees(message.yaw)
    if abs(message.yaw) <= 2 * pi:
        heading_deg = _turned(heading_deg)
    return {"roll_deg": degrees(message.roll), "pitch_deg": degrees(message.pitch), "heading_deg": heading_deg}


def _position(message: Any) -> Fields:
    """GLOBAL_POSITION_INT: 1e-7 degrees, cm/s, hundredths of a degree.

    Without a fix the autopilot sends latitude and longitude 0 (common practice, no source); its speed is then no
    more known than its place.
    """
    fields: Fields = {}
    if message.lat or message.lon:
        fields["latitude_deg"] = message.lat / 1e7
        fields["longitude_deg"] = message.lon / 1e7
        fields["speed_mps"] = hypot(message.vx, message.vy) / 100.0
    if message.hdg != UNKNOWN_HEADING_CDEG:
        fields["heading_deg"] = message.hdg / 100.0 if message.hdg > 36_000 else _turned(message.hdg / 100.0)
    return fields


def _position_and_depth(message: Any) -> Fields:
    """GLOBAL_POSITION_INT with the depth: `relative_alt` is mm above home, which a submersible sets at the surface."""
    return {**_position(message), "depth_m": 0.0 - message.relative_alt / 1000.0}


def _pressure(message: Any) -> Fields:
    """SCALED_PRESSURE2, the outer sensor of a submersible (common practice, no source): hPa, absolute.

    The gauge pressure is taken above the standard atmosphere of 1013.25 hPa, as TEOS-10 defines sea pressure
    (10.1325 dbar below absolute); the weather moves it by about 0.3 dbar.
    """
    return {"pressure_dbar": (message.press_abs - STANDARD_ATMOSPHERE_HPA) / HPA_PER_DBAR}


def _distance(message: Any) -> Fields | str:
    """DISTANCE_SENSOR looking down: centimetres, of use only inside the sensor's own range."""
    if message.orientation != DOWNWARD:
        return "not looking down"
    if message.signal_quality == INVALID_SIGNAL:
        return "no bottom echo"
    if not message.min_distance <= message.current_distance <= message.max_distance:
        return "no bottom echo"
    return {"altitude_m": message.current_distance / 100.0}


def _turned(angle_deg: float) -> float:
    """Bring an angle into [0, 360); a tiny negative one rounds to 360, which is 0."""
    turned = angle_deg % 360.0
    return 0.0 if turned == 360.0 else turned


def split_tlog(data: bytes) -> Iterator[tuple[float, bytes]]:
    """Split a telemetry log into (Unix seconds, frame or noise) in the order of the file.

    Each record is 8 bytes of big-endian microseconds since 1970, then one frame. The pieces joined are the file
    without those times. Bytes that begin no record go out as noise with the time of the record before (0.0 at the
    start); a frame cut off by the end of the file goes out as it is. Checksums are the decoder's work.
    """
    at, t_s = 0, 0.0
    while at < len(data):
        start = at if _is_record(data, at) else _next_record(data, at, t_s)
        if start > at:
            yield t_s, data[at:start]
        if start == len(data):
            return
        t_s = _time_s(data, start)
        size = frame_size(data, start + 8)
        at = len(data) if size is None else min(start + 8 + size, len(data))
        yield t_s, data[start + 8 : at]


def _is_record(data: bytes, at: int) -> bool:
    """Tell whether a record can begin at `at`: a time that can be, then a magic byte."""
    low_s, high_s = RANGES["clock_s"]
    return data[at + 8 : at + 9] in (b"\xfe", b"\xfd") and low_s < _time_s(data, at) <= high_s


def _next_record(data: bytes, at: int, t_s: float) -> int:
    """Return where the next record begins after noise; its time must lie within a day of the last one, if any."""
    for found in _MAGIC.finditer(data, at + 8):
        start = found.start() - 8
        if _is_record(data, start) and (t_s == 0.0 or abs(_time_s(data, start) - t_s) <= DAY_S):
            return start
    return len(data)


def _time_s(data: bytes, at: int) -> float:
    return int.from_bytes(data[at : at + 8], "big") / 1e6
