"""How fast each feed format is decoded, beside the least that a program could do with the same bytes.

The bytes are those of the invented dive; MAVLink frames of the same kinds as a vehicle sends are packed by
pymavlink. The baseline of each format checks or parses every message and makes nothing of it.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce
from io import BytesIO
from itertools import islice
from math import sin
from operator import xor
from time import perf_counter

import msgpack
from pymavlink.dialects.v20 import ardupilotmega as mavlink

from relay.core.model import Accepted, Decoder
from relay.core.policy import SourcePlan
from relay.core.sources import decoder_for
from relay.shell.demo.simulated import simulate

SECONDS_OF_DIVE = 3_600
CHUNK = 4_096
REPEATS = 5
SEED = 7


@dataclass(frozen=True, slots=True)
class Rate:
    """Messages a second, ours and the baseline's, each the best of `REPEATS` interleaved runs."""

    name: str
    messages: int
    accepted: int
    ours_per_s: float
    baseline_per_s: float
    baseline: str

    @property
    def ratio(self) -> float:
        """How many times the baseline's time one message takes."""
        return self.baseline_per_s / self.ours_per_s


def rates() -> list[Rate]:
    """Measure the four formats."""
    sentences, messages = _dive()
    packed = [msgpack.packb(json.loads(message)) for message in messages]
    return [
        _rate("NMEA 0183", "nmea0183", sentences, "split and checksum by hand", _split_by_hand),
        _rate("MAVLink", "mavlink", _mavlink_frames(6_000), "pymavlink parse_buffer", _pymavlink),
        _rate("JSON lines", "station-json", messages, "json.loads a line", _json_loads),
        _rate("MessagePack", "station-msgpack", packed, "msgpack.Unpacker", _unpacker),
    ]


def _dive() -> tuple[list[bytes], list[bytes]]:
    """Return the sentences and the station lines of an hour of the invented dive."""
    sent = [item for item in islice(simulate(SEED), SECONDS_OF_DIVE * 20) if item.t_s < SECONDS_OF_DIVE]
    lines = [line for item in sent for line in item.data.splitlines(keepends=True)]
    return [line for line in lines if line[:1] == b"$"], [line for line in lines if line[:1] == b"{"]


def _mavlink_frames(count: int) -> list[bytes]:
    link = mavlink.MAVLink(BytesIO(), srcSystem=1, srcComponent=1)
    frames = []
    for number in range(count // 3):
        angle = sin(number / 50)
        for message in (
            mavlink.MAVLink_attitude_message(number * 50, angle / 10, -angle / 20, angle, 0.0, 0.0, 0.0),
            mavlink.MAVLink_global_position_int_message(
                number * 50, int(-1e8 * angle), int(2e8 * angle), 0, -1_000 * (number % 900), 1, -1, 0, number % 36_000
            ),
            mavlink.MAVLink_vfr_hud_message(0.1, 0.2, number % 360, 40, -100.0, 0.0),
        ):
            frames.append(bytes(message.pack(link)))
            link.seq = (link.seq + 1) % 256
    return frames


def _rate(name: str, source: str, messages: list[bytes], said: str, baseline: Callable[[bytes], int]) -> Rate:
    """Decode all messages in chunks as a socket gives them, in turn with the baseline."""
    data = b"".join(messages)
    plan = SourcePlan(name="bench", format=source, vehicle="Lantern", sounder="altitude")
    best_ours = best_baseline = float("inf")
    accepted = 0
    for _ in range(REPEATS):
        begun = perf_counter()
        accepted = _decode(decoder_for(plan), data)
        best_ours = min(best_ours, perf_counter() - begun)
        begun = perf_counter()
        seen = baseline(data)
        best_baseline = min(best_baseline, perf_counter() - begun)
        assert seen >= 0.99 * len(messages), f"the baseline saw {seen} of {len(messages)}"
    assert accepted > 0
    return Rate(name, len(messages), accepted, len(messages) / best_ours, len(messages) / best_baseline, said)


def _decode(decoder: Decoder, data: bytes) -> int:
    accepted = 0
    for start in range(0, len(data), CHUNK):
        accepted += sum(isinstance(event, Accepted) for event in decoder.receive(data[start : start + CHUNK]))
    return accepted


def _split_by_hand(data: bytes) -> int:
    seen = 0
    for line in data.split(b"\r\n"):
        body, star, checksum = line[1:].partition(b"*")
        if star and f"{reduce(xor, body, 0):02X}".encode() == checksum:
            seen += len(body.decode("ascii").split(",")) > 1
    return seen


def _pymavlink(data: bytes) -> int:
    link = mavlink.MAVLink(BytesIO())
    link.robust_parsing = True
    return sum(len(link.parse_buffer(data[start : start + CHUNK]) or ()) for start in range(0, len(data), CHUNK))


def _json_loads(data: bytes) -> int:
    return sum(isinstance(json.loads(line), dict) for line in data.splitlines())


def _unpacker(data: bytes) -> int:
    unpacker, seen = msgpack.Unpacker(), 0
    for start in range(0, len(data), CHUNK):
        unpacker.feed(data[start : start + CHUNK])
        seen += sum(1 for _ in unpacker)
    return seen
