"""MAVLink: against pymavlink's own decoding, a real telemetry log, vectors, and a hundred thousand broken frames."""

import gzip
import json
import random
import struct
import sys
from collections import Counter
from importlib import import_module
from itertools import pairwise
from math import degrees, hypot
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decoder_checks import bytewise, check_events, cut, feed, read_vectors
from relay.core.errors import OperatorError
from relay.core.mavlink import LONGEST_FRAME, DepthFrom, MavlinkDecoder, split_tlog
from relay.core.model import Accepted, Event, PassedOver, Rejected

dialect: Any = import_module("pymavlink.dialects.v20.ardupilotmega")

MOST_PENDING = 2 * LONGEST_FRAME - 1
USED = {"SYSTEM_TIME", "ATTITUDE", "GLOBAL_POSITION_INT", "DISTANCE_SENSOR", "SCALED_PRESSURE2"}


def decoder_of(vector: dict[str, Any]) -> MavlinkDecoder:
    """Make the decoder a vector asks for."""
    return MavlinkDecoder(
        system=vector.get("system", 1),
        component=vector.get("component", 1),
        depth_from=DepthFrom(vector.get("depth_from", "relative_alt")),
    )


def frame(message_id: int, payload: bytes, *, sender: tuple[int, int] = (1, 1), version: int = 2) -> bytes:
    """Lay out a frame as the MAVLink guide, "Packet Serialization", has it; pymavlink gives CRC_EXTRA and the sum."""
    if version == 1:
        head = bytes((0xFE, len(payload), 0, *sender, message_id))
    else:
        head = bytes((0xFD, len(payload), 0, 0, 0, *sender)) + message_id.to_bytes(3, "little")
    body = head[1:] + payload
    checksum = dialect.x25crc(body + bytes((dialect.mavlink_map[message_id].crc_extra,))).crc
    return head[:1] + body + struct.pack("<H", checksum)


@pytest.fixture
def rows(shared_data: Path) -> list[dict[str, Any]]:
    """The 235 frames with pymavlink 2.4.50's reading of them (source: README of the data set)."""
    with gzip.open(shared_data / "mavlink-submersible" / "frames.jsonl.gz", "rt") as file:
        return [json.loads(line) for line in file]


@pytest.fixture(scope="module")
def tlog(shared_data: Path) -> bytes:
    """A real telemetry log of a submersible."""
    return gzip.decompress((shared_data / "mavlink-submersible" / "surface-test.tlog.gz").read_bytes())


@pytest.fixture(scope="module")
def stream(tlog: bytes) -> bytes:
    """The log's frames as they were sent, without its times."""
    return b"".join(piece for _, piece in split_tlog(tlog))


@pytest.fixture(scope="module")
def read_whole(stream: bytes) -> list[Event]:
    """What the stream gives in one piece."""
    return feed(MavlinkDecoder(), [stream], len(stream))


def reference_observation(row: dict[str, Any]) -> dict[str, float]:
    """Turn pymavlink's fields of a used message into ours by the units of the common message set."""
    fields = row["fields"]
    if row["name"] == "ATTITUDE":
        heading_deg = degrees(fields["yaw"]) + (360.0 if fields["yaw"] < 0 else 0.0)
        return {
            "roll_deg": degrees(fields["roll"]),
            "pitch_deg": degrees(fields["pitch"]),
            "heading_deg": heading_deg,
        }
    assert row["name"] == "GLOBAL_POSITION_INT"
    return {
        "latitude_deg": fields["lat"] * 1e-7,
        "longitude_deg": fields["lon"] * 1e-7,
        "depth_m": -fields["relative_alt"] * 1e-3,
        "speed_mps": hypot(fields["vx"], fields["vy"]) * 1e-2,
        "heading_deg": fields["hdg"] * 1e-2,
    }


def test_checksum_of_pymavlink_is_the_published_one() -> None:
    """The sum the decoder relies on gives the check value of CRC-16/MCRF4XX, 0x6F91 (from memory of the catalogue)."""
    assert dialect.x25crc(b"123456789").crc == 0x6F91


@pytest.mark.parametrize("vector", read_vectors("mavlink.json"))
def test_vectors_give_their_events(vector: dict[str, Any]) -> None:
    """Each vector gives its events whole, byte by byte, split at every place, and with trailing bytes."""
    data, expected = bytes.fromhex(vector["hex"]), vector["events"]
    check_events(feed(decoder_of(vector), [data], MOST_PENDING), expected)
    check_events(feed(decoder_of(vector), bytewise(data), MOST_PENDING), expected)
    for place in range(len(data)):
        check_events(feed(decoder_of(vector), cut(data, [place]), MOST_PENDING), expected)
    if not vector.get("open"):
        trailing = [*expected, {"rejected": "noise between frames", "size": 3}]
        check_events(feed(decoder_of(vector), [data, b"\x00\r\n"], MOST_PENDING), trailing)


@pytest.mark.parametrize("vector", read_vectors("mavlink.json"))
def test_vectors_hold_the_frames_pymavlink_sees(vector: dict[str, Any]) -> None:
    """pymavlink, given each frame we accepted or passed over, calls it the same and takes it for valid."""
    parser = dialect.MAVLink(None)
    for event in feed(decoder_of(vector), [bytes.fromhex(vector["hex"])], MOST_PENDING):
        if not isinstance(event, Rejected):
            assert parser.decode(bytearray(event.raw)).get_type() == event.kind


def test_published_frames_read_as_pymavlink_reads_them(rows: list[dict[str, Any]]) -> None:
    """Of 235 real frames the four invalid ones are rejected and the rest say what pymavlink reads in them."""
    invalid, used = 0, 0
    for row in rows:
        raw = bytes.fromhex(row["hex"])
        (event,) = feed(MavlinkDecoder(), [raw], MOST_PENDING)
        assert event.raw == raw
        if not row["valid"]:
            assert event == Rejected(raw, "bad checksum")
            invalid += 1
        elif (row["sysid"], row["compid"]) != (1, 1):
            assert event == PassedOver(raw, row["name"], "other sender")
        elif isinstance(event, Accepted):
            assert event.kind == row["name"]
            check_events(
                [event],
                [{"accepted": row["name"], "size": len(raw), "observation": reference_observation(row)}],
            )
            used += 1
        else:
            assert isinstance(event, PassedOver)
            assert event.kind == row["name"]
            assert event.kind not in {"ATTITUDE", "GLOBAL_POSITION_INT"}
    assert len(rows) == 235
    assert invalid == 4
    assert used == sum(row.get("name") in {"ATTITUDE", "GLOBAL_POSITION_INT"} for row in rows)


def test_published_pressure_reads_above_the_standard_atmosphere(rows: list[dict[str, Any]]) -> None:
    """With depth from pressure, hPa become dbar above 1013.25 hPa: 100 hPa to the dbar, by definition of both."""
    pressures = [row for row in rows if row.get("name") == "SCALED_PRESSURE2"]
    for row in pressures:
        (event,) = MavlinkDecoder(depth_from=DepthFrom.PRESSURE).receive(bytes.fromhex(row["hex"]))
        assert isinstance(event, Accepted)
        told_hpa = event.observation.pressure_dbar * 100.0 + 1013.25 if event.observation.pressure_dbar else None
        assert told_hpa == pytest.approx(row["fields"]["press_abs"])
        assert event.observation.depth_m is None
    assert len(pressures) == 5


def test_published_frames_split_at_every_boundary(rows: list[dict[str, Any]]) -> None:
    """However two neighbouring frames are cut in two, they give the same events."""
    frames = [bytes.fromhex(row["hex"]) for row in rows]
    for first, second in pairwise(frames):
        data = first + second
        expected = feed(MavlinkDecoder(), [data], MOST_PENDING)
        assert [event.raw for event in expected] == [first, second]
        decoder = MavlinkDecoder()
        for place in range(1, len(data)):
            told = decoder.receive(data[:place])
            assert told + decoder.receive(data[place:]) + decoder.end() == expected


def test_telemetry_log_reads_as_pymavlink_reads_it(tlog: bytes) -> None:
    """Frame by frame pymavlink's own parser names the same messages, and the same four have a bad checksum."""
    parser = dialect.MAVLink(None)
    parser.robust_parsing = True
    pieces = list(split_tlog(tlog))
    events = feed(MavlinkDecoder(), [piece for _, piece in pieces], MOST_PENDING)
    assert [event.raw for event in events] == [piece for _, piece in pieces]
    names = [parser.parse_char(piece).get_type() for _, piece in pieces]
    assert ["BAD_DATA" if isinstance(event, Rejected) else event.kind for event in events] == names
    counted = Counter(type(event) for event in events)
    assert counted[Rejected] == 4
    assert counted[Accepted] == names.count("ATTITUDE") + names.count("GLOBAL_POSITION_INT")
    assert counted.total() == 35_916


@pytest.mark.parametrize("size", [7, 4096])
def test_telemetry_log_in_chunks_gives_the_same_events(stream: bytes, size: int, read_whole: list[Event]) -> None:
    """A real stream in any chunks gives the events it gives whole, and the account balances after every chunk."""
    chunks = (stream[at : at + size] for at in range(0, len(stream), size))
    assert feed(MavlinkDecoder(), chunks, MOST_PENDING) == read_whole


def test_telemetry_log_byte_by_byte_gives_the_same_events(stream: bytes, read_whole: list[Event]) -> None:
    """A real stream byte by byte gives the events it gives whole."""
    decoder = MavlinkDecoder()
    told = [event for byte in bytewise(stream) for event in decoder.receive(byte)]
    assert told + decoder.end() == read_whole


def test_heading_has_two_sources_that_agree(tlog: bytes) -> None:
    """In the real log the heading of GLOBAL_POSITION_INT is that of the last ATTITUDE to 0.1 degrees."""
    last_deg: float | None = None
    compared = 0
    decoder = MavlinkDecoder()
    for _, piece in split_tlog(tlog):
        for event in decoder.receive(piece):
            if not isinstance(event, Accepted) or event.observation.heading_deg is None:
                continue
            if event.kind == "ATTITUDE":
                last_deg = event.observation.heading_deg
            elif last_deg is not None:
                assert abs((event.observation.heading_deg - last_deg + 180.0) % 360.0 - 180.0) < 0.1
                compared += 1
    assert compared > 700


@pytest.mark.parametrize("version", [1, 2])
def test_false_magic_bytes_swallow_no_good_frame(version: int) -> None:
    """Noise full of magic bytes that claim long frames leaves every good frame behind it found."""
    good = frame(30, struct.pack("<I6f", 1, 0.1, 0.2, 0.3, 0, 0, 0), version=version)
    noise = random.Random(5)
    for _ in range(200):
        junk = bytes(noise.choices((0xFD, 0xFE, 0x00, 0x1E, 0xFF, 33), k=noise.randrange(1, 40)))
        events = feed(MavlinkDecoder(), [junk + good * 3], MOST_PENDING)
        assert [event.raw for event in events if isinstance(event, Accepted)] == [good] * 3


def test_unknown_ids_made_of_noise_are_never_frames() -> None:
    """pymavlink takes a frame of an id it does not know for good; here it is rejected."""
    unknown = bytes((0xFD, 4, 0, 0, 1, 1, 1, 0xEE, 0xEE, 0xEE, 1, 2, 3, 4, 9, 9))
    assert dialect.MAVLink(None).decode(bytearray(unknown)).get_type().startswith("UNKNOWN")
    assert feed(MavlinkDecoder(), [unknown], MOST_PENDING) == [Rejected(unknown, "unknown message id")]


def test_checksum_counts_whatever_the_environment_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """pymavlink's switch to ignore checksums does not reach the decoder."""
    monkeypatch.setattr(dialect, "MAVLINK_IGNORE_CRC", 1)
    damaged = bytearray(frame(30, bytes(28)))
    damaged[-1] ^= 0x10
    dialect.MAVLink(None).decode(bytearray(damaged))
    assert feed(MavlinkDecoder(), [bytes(damaged)], MOST_PENDING) == [Rejected(bytes(damaged), "bad checksum")]


def test_missing_pymavlink_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the extra the decoder names the command that installs it."""
    monkeypatch.setitem(sys.modules, "pymavlink.dialects.v20.ardupilotmega", None)
    with pytest.raises(OperatorError, match=r"pip install --require-hashes .* -r requirements-mavlink\.lock"):
        MavlinkDecoder()


def test_longest_frames_fill_the_bound_and_no_more() -> None:
    """A frame of 280 bytes is read, and a cut one behind a failed claim keeps pending below two of them."""
    signed = bytearray(frame(30, bytes(255)))
    signed[2] |= 1
    body = bytes(signed[1:-2])
    signed[-2:] = struct.pack("<H", dialect.x25crc(body + bytes((39,))).crc)
    longest = bytes(signed) + bytes(13)
    assert len(longest) == LONGEST_FRAME
    (event,) = feed(MavlinkDecoder(), bytewise(longest), LONGEST_FRAME - 1)
    assert isinstance(event, Accepted)
    false_head = longest[:10]
    failed = false_head + bytes(LONGEST_FRAME - 11) + longest
    decoder = MavlinkDecoder()
    decoder.receive(failed[:-1])
    assert LONGEST_FRAME < len(decoder.pending) <= MOST_PENDING
    assert (decoder.receive(failed[-1:]) + decoder.end())[-1] == event


def wire_shaped(random_: random.Random, frames: list[bytes]) -> bytes:
    """Return a frame as a bad line or a bad sender might deliver it."""
    raw = bytearray(random_.choice(frames))
    damage = random_.randrange(8)
    if damage == 0:
        return random_.randbytes(random_.randrange(1, 60))
    if damage == 1:
        return bytes(raw[: random_.randrange(1, len(raw))])
    if damage == 2:
        del raw[random_.randrange(len(raw))]
    elif damage == 3:
        raw.insert(random_.randrange(len(raw)), random_.randrange(256))
    elif damage <= 5:
        for _ in range(random_.randrange(1, 4)):
            raw[random_.randrange(len(raw))] = random_.choice((0, 0xFD, 0xFE, 0xFF, random_.randrange(256)))
    elif damage == 6:
        known = random_.choice((2, 30, 33, 132, 137, random_.choice(list(dialect.mavlink_map))))
        version = 1 if known < 256 and random_.random() < 0.5 else 2
        return frame(known, random_.randbytes(random_.randrange(256)), version=version)
    return bytes(raw)


@pytest.mark.slow
def test_a_hundred_thousand_broken_frames_are_accounted_for() -> None:
    """Seeded, wire-shaped damage: no exception, every byte accounted for, pending bounded, no impossible value."""
    random_ = random.Random(20_261)
    frames = [bytes.fromhex(param.values[0]["hex"]) for param in read_vectors("mavlink.json")]
    stream = (wire_shaped(random_, frames) for _ in range(100_000))
    counted: Counter[str] = Counter()
    for event in feed(MavlinkDecoder(), stream, MOST_PENDING):
        counted[type(event).__name__] += 1
        if isinstance(event, Accepted):
            observation = event.observation
            assert observation.latitude_deg is None or -90 <= observation.latitude_deg <= 90
            assert observation.heading_deg is None or 0 <= observation.heading_deg < 360
            assert observation.pitch_deg is None or -90 <= observation.pitch_deg <= 90
    assert min(counted["Accepted"], counted["PassedOver"], counted["Rejected"]) > 10_000


pieces_of_a_stream = st.lists(
    st.one_of(
        st.sampled_from([bytes.fromhex(param.values[0]["hex"]) for param in read_vectors("mavlink.json")]),
        st.binary(max_size=30),
        st.lists(st.sampled_from([0xFD, 0xFE, 0, 1, 30, 255]), max_size=12).map(bytes),
    ),
    max_size=6,
)


@settings(max_examples=300, deadline=None)
@given(pieces_of_a_stream, st.lists(st.integers(min_value=0, max_value=10_000), max_size=8))
def test_chunking_never_changes_events(pieces: list[bytes], places: list[int]) -> None:
    """Frames, noise and false magic bytes give the same events however the stream was cut."""
    data = b"".join(pieces)
    whole: list[Event] = feed(MavlinkDecoder(), [data], max(len(data), 1))
    assert feed(MavlinkDecoder(), cut(data, places), MOST_PENDING) == whole
    assert feed(MavlinkDecoder(), bytewise(data), MOST_PENDING) == whole


def test_tlog_times_are_those_pymavlink_reads(tlog: bytes, tmp_path: Path) -> None:
    """pymavlink's own reader of telemetry logs gives the same times for the same frames."""
    mavutil: Any = import_module("pymavlink.mavutil")
    pieces = list(split_tlog(tlog))[:2_000]
    size = sum(len(piece) + 8 for _, piece in pieces)
    (tmp_path / "start.tlog").write_bytes(tlog[:size])
    log = mavutil.mavlink_connection(str(tmp_path / "start.tlog"), robust_parsing=True, dialect="ardupilotmega")
    for t_s, piece in pieces:
        message = log.recv_msg()
        assert bytes(message.get_msgbuf()) == piece
        assert message._timestamp == pytest.approx(t_s, abs=1e-6)
    log.close()


def record(t_s: float, data: bytes) -> bytes:
    """Return a telemetry log record."""
    return int(t_s * 1e6).to_bytes(8, "big") + data


GOOD = frame(30, bytes(range(28)))


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", []),
        (record(10.5, GOOD), [(10.5, GOOD)]),
        (record(10, GOOD) + record(9, GOOD), [(10.0, GOOD), (9.0, GOOD)]),
        (b"\xff" * 20, [(0.0, b"\xff" * 20)]),
        (b"\xff" * 20 + record(10, GOOD), [(0.0, b"\xff" * 20), (10.0, GOOD)]),
        (record(10, GOOD) + b"\xff" * 9 + record(11, GOOD), [(10.0, GOOD), (10.0, b"\xff" * 9), (11.0, GOOD)]),
        (
            record(1e9, GOOD) + b"\xff\xff" + record(5, b"\xfd\x01") + record(1e9 + 1, GOOD),
            [(1e9, GOOD), (1e9, b"\xff\xff" + record(5, b"\xfd\x01")), (1e9 + 1, GOOD)],
        ),
        (record(10, GOOD) + record(11, GOOD)[:-3], [(10.0, GOOD), (11.0, GOOD[:-3])]),
        (record(10, GOOD) + record(11, GOOD)[:9], [(10.0, GOOD), (11.0, GOOD[:1])]),
        (record(10, GOOD) + record(11, GOOD)[:5], [(10.0, GOOD), (10.0, record(11, GOOD)[:5])]),
    ],
)
def test_tlog_splits_into_frames_and_noise(data: bytes, expected: list[tuple[float, bytes]]) -> None:
    """Records give their frames and times; what begins no record is noise at the time before; a cut tail comes too."""
    assert list(split_tlog(data)) == expected


@settings(max_examples=200, deadline=None)
@given(st.lists(st.one_of(st.binary(max_size=40), st.just(record(1e9, GOOD)), st.just(record(2e9, GOOD))), max_size=8))
def test_tlog_loses_no_byte_but_times(parts: list[bytes]) -> None:
    """Pieces in order are the file without 8 bytes before some of them."""
    data = b"".join(parts)
    assert covers(data, 0, list(split_tlog(data)))


def covers(data: bytes, at: int, pieces: list[tuple[float, bytes]]) -> bool:
    """Tell whether the pieces make up the data from `at` on, each with its time before it or with none."""
    if not pieces:
        return at == len(data)
    (t_s, piece), rest = pieces[0], pieces[1:]
    if data.startswith(piece, at) and covers(data, at + len(piece), rest):
        return True
    timed = int.from_bytes(data[at : at + 8], "big") / 1e6 == t_s and data.startswith(piece, at + 8)
    return timed and covers(data, at + 8 + len(piece), rest)
