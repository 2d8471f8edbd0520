"""Records as bytes: vectors both languages read, one door, torn tails, altered recordings."""

import json
from pathlib import Path

import msgpack
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import dives
import make_wire_vectors
from relay.core.disclosure import Report
from relay.core.errors import OneDoorError, RecordingError
from relay.core.release import Kind, ReleasedRecord, ReleaseLog
from relay.core.wire import BLOCK, SIGNATURE_OCTETS, decode, encode, footer, read_recording, whole_octets

VECTORS = json.loads((Path(__file__).parent / "vectors" / "wire.json").read_text())
FRAMES = [bytes.fromhex(frame["hex"]) for frame in VECTORS["frames"]]
RECORDING = b"".join(FRAMES) + bytes.fromhex(VECTORS["footer_hex"])


def test_encoder_still_gives_the_pinned_vectors() -> None:
    """A change of one byte on the wire fails here: it needs a new version."""
    assert json.loads(json.dumps(make_wire_vectors.vectors())) == VECTORS


def test_frames_are_plain_messagepack_arrays_of_six() -> None:
    """The general-purpose library msgpack alone reads every frame; the last item is a signature and zero padding."""
    for frame, expected in zip(FRAMES, VECTORS["frames"], strict=True):
        dive, seq, kind, elapsed_s, body, pad = msgpack.unpackb(frame)
        body = make_wire_vectors.hexed(body)
        assert [dive, seq, kind, elapsed_s, body] == [expected[k] for k in ("dive", "seq", "kind", "elapsed_s", "body")]
        assert len(pad) >= SIGNATURE_OCTETS
        assert not any(pad[SIGNATURE_OCTETS:])


def test_lengths_tell_nothing_that_content_does_not() -> None:
    """Ticks of one expedition have one length whether a vehicle reports or not; all others come in blocks."""
    ticks = {len(frame) for frame in FRAMES if decode(frame).kind == Kind.TICK}
    assert len(ticks) == 1
    assert all(len(frame) % BLOCK == 0 for frame in FRAMES)


@settings(deadline=None)
@given(st.integers(1, 16), st.data())
def test_ticks_of_an_expedition_have_one_length_whatever_they_tell(vehicles: int, data: st.DataObject) -> None:
    """Any values of any vehicles: the same length, and the length is a multiple of the block."""
    number = st.none() | st.integers(-(10**6), 10**6) | st.floats(-1e6, 1e6)
    words = st.sampled_from([None, "on the bottom", "near the bottom", "mid-water", "autonomous", "descent"])
    report = st.builds(Report, st.booleans(), number, number, number, number, words, words, words, number, number)
    lengths = {tick_length(data.draw(st.lists(report, min_size=vehicles, max_size=vehicles))) for _ in range(2)}
    lengths.add(tick_length([Report(heard=False)] * vehicles))
    assert len(lengths) == 1
    assert lengths.pop() % BLOCK == 0


def tick_length(reports: list[Report]) -> int:
    """Return the length of a tick record's frame."""
    policy = dives.policy()
    log = ReleaseLog(policy, dives.plan(policy), 1, 0)
    log.open(0)
    return len(encode(log.tick(0, reports)))


@pytest.mark.parametrize("impostor", [b"bytes", [1, 0, 1, 0, None], {"dive": 1}, None, decode(FRAMES[0])])
def test_encode_takes_released_records_alone(impostor: object) -> None:
    """Nothing but a minted record can be encoded, not even one that was read back (R1)."""
    with pytest.raises(OneDoorError):
        encode(impostor)  # type: ignore[arg-type]


def test_released_record_can_not_be_made_elsewhere() -> None:
    """The constructor wants the release log's own key (R1)."""
    with pytest.raises(OneDoorError):
        ReleasedRecord("public", 1, 0, Kind.TICK, 0, [], object())


def test_recording_reads_back_whole() -> None:
    """A closed recording gives its records and the header."""
    recording = read_recording(RECORDING)
    assert recording.closed
    assert [record.data for record in recording.records] == FRAMES
    assert recording.header["expedition"] == "The search for the Isoline Marr"


def test_recording_is_read_by_five_lines_of_another_reader() -> None:
    """Any MessagePack reader streams it: objects one after the other, the last one the footer."""
    unpacker = msgpack.Unpacker()
    unpacker.feed(RECORDING)
    *records, end = list(unpacker)
    assert len(records) == len(FRAMES)
    assert end[:2] == ["end", len(FRAMES)]


def test_recording_cut_anywhere_recovers_a_prefix() -> None:
    """Cut at every byte: the whole records before the cut come back, the torn rest is counted, nothing is made up."""
    ends = [sum(map(len, FRAMES[: at + 1])) for at in range(len(FRAMES))]
    for cut in range(len(FRAMES[0]), len(RECORDING)):
        recording = read_recording(RECORDING[:cut])
        whole = sum(end <= cut for end in ends)
        assert len(recording.records) == whole
        assert not recording.closed
        assert recording.torn_bytes == cut - ends[whole - 1]
        assert whole_octets(RECORDING[:cut]) == ends[whole - 1]
    assert whole_octets(RECORDING) == len(RECORDING)
    assert whole_octets(b"".join(FRAMES) + b"\xc1") == ends[-1] + 1


@pytest.mark.parametrize("at", [3, 700, 1_500])
def test_recording_altered_in_one_bit_is_refused(at: int) -> None:
    """One flipped bit is noticed: by MessagePack, by the order, or by the footer's digest."""
    altered = bytearray(RECORDING)
    altered[at] ^= 1
    with pytest.raises(RecordingError):
        read_recording(bytes(altered))


def test_recording_with_a_gap_a_double_or_a_wrong_version_is_refused() -> None:
    """Sequence numbers are gapless, and only the known version is read."""
    with pytest.raises(RecordingError, match="was due"):
        read_recording(b"".join([FRAMES[0], FRAMES[2]]))
    with pytest.raises(RecordingError, match="was due"):
        read_recording(b"".join([FRAMES[0], FRAMES[0]]))
    value = msgpack.unpackb(FRAMES[0])
    value[4]["version"] = 2
    with pytest.raises(RecordingError, match="version 2; this Offing reads 1"):
        read_recording(msgpack.packb(value))
    with pytest.raises(RecordingError, match="no first record"):
        read_recording(b"")
    with pytest.raises(RecordingError, match="after the footer"):
        read_recording(RECORDING + b"\xc0")


def test_footer_counts_and_digests() -> None:
    """The footer is mark, count and SHA-256 of the frames, as hashlib computes it over the joined bytes."""
    from hashlib import sha256

    assert msgpack.unpackb(footer(FRAMES)) == ["end", len(FRAMES), sha256(b"".join(FRAMES)).hexdigest()]
