"""Station messages: against json, msgpack and a published suite of encodings, and a hundred thousand broken ones."""

import json
import random
from collections import Counter
from pathlib import Path
from typing import Any

import msgpack
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decoder_checks import bytewise, check_events, cut, feed, read_vectors
from relay.core.model import Accepted, Decoder, Event, PassedOver, Rejected
from relay.core.ranges import RANGES
from relay.core.station_message import DEFAULT_LIMIT, STATION_FIELDS, JsonLinesDecoder, MessagePackDecoder

OPENING = 20  # the most bytes kept beyond the limit while the framing is lost


def decoder_of(encoding: str, limit: int = DEFAULT_LIMIT) -> Decoder:
    """Make the decoder of an encoding."""
    return JsonLinesDecoder(limit) if encoding == "json" else MessagePackDecoder(limit)


def encoded(encoding: str, message: Any) -> bytes:
    """Encode with the library of the encoding."""
    if encoding == "json":
        return json.dumps(message).encode() + b"\n"
    packed: bytes = msgpack.packb(message)
    return packed


def most_pending(encoding: str, limit: int = DEFAULT_LIMIT) -> int:
    """Return the bound that the decoder states."""
    return limit - 1 if encoding == "json" else limit + OPENING


both = pytest.mark.parametrize("encoding", ["json", "msgpack"])


@pytest.mark.parametrize("vector", read_vectors("station_message.json"))
def test_vectors_give_their_events(vector: dict[str, Any]) -> None:
    """Each vector gives its events whole, byte by byte, split at every place, and with trailing bytes."""
    data, expected = bytes.fromhex(vector["hex"]), vector["events"]
    encoding, limit = vector["format"], vector.get("limit", DEFAULT_LIMIT)
    bound = most_pending(encoding, limit)
    check_events(feed(decoder_of(encoding, limit), [data], bound), expected)
    check_events(feed(decoder_of(encoding, limit), bytewise(data), bound), expected)
    for place in range(len(data)):
        check_events(feed(decoder_of(encoding, limit), cut(data, [place]), bound), expected)
    if not vector.get("open"):
        if encoding == "json":
            trailing, last = b"\r\n", {"passed_over": "blank line", "why": "says nothing", "size": 2}
        else:
            trailing, last = b"\xc1", {"rejected": "not MessagePack", "size": 1}
        check_events(feed(decoder_of(encoding, limit), [data, trailing], bound), [*expected, last])


@pytest.mark.parametrize("vector", read_vectors("station_message.json"))
def test_vectors_are_what_the_libraries_read(vector: dict[str, Any]) -> None:
    """What is accepted or passed over is an object to json or msgpack; "not JSON" and cut messages are none."""
    decoder = decoder_of(vector["format"], vector.get("limit", DEFAULT_LIMIT))
    for event in feed(decoder, [bytes.fromhex(vector["hex"])], 10**6):
        if isinstance(event, Accepted):
            library = json.loads(event.raw) if vector["format"] == "json" else msgpack.unpackb(event.raw)
            told = {name: value for name, value in library.items() if value is not None}
            assert told.keys() == {_sent_as(name) for name in _named(event)}
        elif isinstance(event, Rejected) and event.reason == "not JSON" and b"NaN" not in event.raw:
            with pytest.raises(json.JSONDecodeError):
                json.loads(event.raw)
        elif isinstance(event, Rejected) and event.reason == "message cut short":
            with pytest.raises(ValueError, match="incomplete"):
                msgpack.unpackb(event.raw)


def _named(event: Accepted) -> set[str]:
    return {name for name in (*STATION_FIELDS, "clock_s") if getattr(event.observation, name, None) is not None}


def _sent_as(name: str) -> str:
    return "t" if name == "clock_s" else name


def suite_cases(suite: dict[str, list[dict[str, Any]]]) -> list[tuple[bytes, Any]]:
    """Return every (encoding, value) of the published suite; timestamps and extensions as msgpack has them."""
    cases: list[tuple[bytes, Any]] = []
    for group in suite.values():
        for case in group:
            kind = next(kind for kind in case if kind != "msgpack")
            value: Any = int(case["bignum"]) if "bignum" in case else case[kind]
            if kind == "binary":
                value = bytes.fromhex(value.replace("-", ""))
            elif kind == "timestamp":
                value = msgpack.Timestamp(*value)
            elif kind == "ext":
                value = msgpack.ExtType(value[0], bytes.fromhex(value[1].replace("-", "")))
            cases += [(bytes.fromhex(text.replace("-", "")), value) for text in case["msgpack"]]
    return cases


@pytest.fixture
def suite(shared_data: Path) -> list[tuple[bytes, Any]]:
    """The encodings of kawanet/msgpack-test-suite with their values."""
    return suite_cases(json.loads((shared_data / "vectors" / "msgpack-test-suite.json").read_text()))


def test_every_published_encoding_is_framed_as_one_object(suite: list[tuple[bytes, Any]]) -> None:
    """Each encoding of the suite, between messages, is one event of exactly its bytes, which hold its value."""
    between = encoded("msgpack", {"depth_m": 5})
    for raw, value in suite:
        for chunks in ([between + raw + between], bytewise(between + raw + between)):
            first, event, last = feed(MessagePackDecoder(), chunks, most_pending("msgpack"))
            assert event.raw == raw
            assert first.raw == last.raw == between
            told = msgpack.unpackb(event.raw, strict_map_key=False)
            assert told == value
            assert isinstance(told, bool) == isinstance(value, bool)
            assert isinstance(event, PassedOver) == (value == {})
    assert len(suite) > 100


def test_every_published_number_is_read_as_its_value(suite: list[tuple[bytes, Any]]) -> None:
    """Each encoding of a number in the suite is the depth it says, or out of the range of a depth."""
    low, high = RANGES["depth_m"]
    accepted = 0
    for raw, value in suite:
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        (event,) = feed(MessagePackDecoder(), [b"\x81\xa7depth_m" + raw], most_pending("msgpack"))
        if low <= value <= high:
            assert isinstance(event, Accepted)
            assert event.observation.depth_m == value
            accepted += 1
        else:
            assert isinstance(event, Rejected)
            assert event.reason == "depth_m out of range"
    assert accepted > 50


def test_every_published_text_is_read_as_its_value(suite: list[tuple[bytes, Any]]) -> None:
    """Each encoding of a text in the suite is the note it says; any other kind of value is of the wrong type."""
    texts = 0
    for raw, value in suite:
        (event,) = feed(MessagePackDecoder(), [b"\x81\xa4note" + raw], most_pending("msgpack"))
        if isinstance(value, str) and value:
            assert isinstance(event, Accepted)
            assert event.observation.note == value
            texts += 1
        elif value is not None and value != "":
            assert isinstance(event, Rejected)
            assert event.reason == "note is of the wrong type"
    assert texts > 20


messages = st.fixed_dictionaries(
    {},
    optional={
        "t": st.floats(0, 4e9),
        "vehicle": st.sampled_from(["Lantern", "Moth"]),
        "depth_m": st.one_of(st.floats(-10, 12_000), st.integers(-10, 12_000)),
        "pressure_dbar": st.floats(-10, 12_500),
        "altitude_m": st.floats(0, 12_000),
        "heading_deg": st.floats(0, 360, exclude_max=True),
        "pitch_deg": st.floats(-90, 90),
        "roll_deg": st.floats(-180, 180),
        "speed_mps": st.floats(0, 50),
        "mode": st.sampled_from(["tethered", "autonomous", "surface"]),
        "note": st.text(st.characters(min_codepoint=32, exclude_categories=["Cc", "Cs", "Z"]), min_size=1, max_size=50),
    },
)


@both
@settings(max_examples=200, deadline=None)
@given(message=messages, fix=st.none() | st.tuples(st.floats(-90, 90), st.floats(-180, 180)))
def test_good_messages_come_through_unchanged(
    encoding: str, message: dict[str, Any], fix: tuple[float, float] | None
) -> None:
    """Any message in range, written by json or msgpack, is read with exactly its values and nothing else."""
    if fix is not None:
        message = {**message, "latitude_deg": fix[0], "longitude_deg": fix[1]}
    raw = encoded(encoding, message)
    (event,) = feed(decoder_of(encoding), [raw], most_pending(encoding))
    if not message.keys() - {"vehicle"}:
        assert event == PassedOver(raw, "station message", "says nothing")
        return
    assert isinstance(event, Accepted)
    assert {_sent_as(name): getattr(event.observation, name) for name in _named(event)} == message


@both
def test_deep_nesting_is_rejected(encoding: str) -> None:
    """Tens of thousands of nested arrays end as one rejected message, not as an exception."""
    for field in (b"depth_m", b"what"):
        if encoding == "json":
            raw = b'{"' + field + b'":' + b"[" * 30_000 + b"]" * 30_000 + b"}\n"
        else:
            raw = b"\x81" + bytes((0xA0 | len(field),)) + field + b"\x91" * 30_000 + b"\xc0"
        (event,) = feed(decoder_of(encoding), [raw], most_pending(encoding))
        assert isinstance(event, Rejected)
        assert event.raw == raw


@both
def test_limit_holds_at_it_and_one_past_it(encoding: str) -> None:
    """A message of exactly the limit is read, one byte more is not, and the message after it is."""
    message = {"note": "n" * 40}
    raw, after = encoded(encoding, message), encoded(encoding, {"depth_m": 5})
    at_limit = feed(decoder_of(encoding, len(raw)), [raw + after], 10**6)
    assert [type(event) for event in at_limit] == [Accepted, Accepted]
    past_limit = feed(decoder_of(encoding, len(raw) - 1), [raw + after], 10**6)
    assert isinstance(past_limit[0], Rejected)
    assert past_limit[0].reason.endswith("too long")
    assert isinstance(past_limit[-1], Accepted)
    assert past_limit[-1].raw == after


@both
def test_endless_message_never_grows_the_buffer(encoding: str) -> None:
    """A line without end, or noise without end, is let go of in pieces no longer than the limit."""
    limit = 100
    decoder = decoder_of(encoding, limit)
    events = feed(decoder, [b"\xc1" * 37] * 500, most_pending(encoding, limit))
    assert sum(len(event.raw) for event in events) == 37 * 500
    assert max(len(event.raw) for event in events) == limit


def test_json_and_msgpack_say_the_same() -> None:
    """One message in both encodings makes one and the same observation."""
    message = {"t": 5.5, "vehicle": "Moth", "depth_m": 12, "heading_deg": 359.5, "mode": "surface", "note": "Up."}
    (first,) = feed(JsonLinesDecoder(), [encoded("json", message)], 10**6)
    (second,) = feed(MessagePackDecoder(), [encoded("msgpack", message)], 10**6)
    assert isinstance(first, Accepted)
    assert isinstance(second, Accepted)
    assert first.observation == second.observation


def wire_shaped(random_: random.Random, encoding: str) -> bytes:
    """Return a message as a bad sender or a bad line might deliver it."""
    names = random_.sample([*STATION_FIELDS, "extra"], random_.randrange(5))
    odd: list[Any] = [None, True, "", "text", -1, 2**40, 91.5, [1], {"depth_m": 5}, float("nan"), 1e300]
    message = {name: random_.choice(odd) if random_.random() < 0.2 else random_.uniform(0, 80) for name in names}
    for name, word in (("vehicle", "Lantern"), ("mode", "tethered"), ("note", "Mud.")):
        if name in message and random_.random() < 0.8:
            message[name] = word
    if ("latitude_deg" in message) != ("longitude_deg" in message) and random_.random() < 0.9:
        message.update(latitude_deg=1.5, longitude_deg=2.5)
    raw = bytearray(encoded(encoding, message))
    damage = random_.randrange(8)
    if damage == 0:
        return random_.randbytes(random_.randrange(1, 30))
    if damage == 1:
        return bytes(raw[: random_.randrange(len(raw))])
    if damage == 2:
        del raw[random_.randrange(len(raw))]
    elif damage == 3:
        raw[random_.randrange(len(raw))] = random_.choice((0xC1, 0xDB, 0xDF, 0x81, 0x0A, random_.randrange(256)))
    return bytes(raw)


@both
@pytest.mark.slow
def test_a_hundred_thousand_broken_messages_are_accounted_for(encoding: str) -> None:
    """Seeded, wire-shaped damage: no exception, every byte accounted for, pending bounded, no impossible value."""
    random_ = random.Random(20_262)
    stream = (wire_shaped(random_, encoding) for _ in range(100_000))
    counted: Counter[str] = Counter()
    for event in feed(decoder_of(encoding, 2_000), stream, most_pending(encoding, 2_000)):
        counted[type(event).__name__] += 1
        if isinstance(event, Accepted):
            for name, (low, high) in RANGES.items():
                value = getattr(event.observation, name)
                assert value is None or low <= value <= high
    assert counted["Accepted"] > 5_000
    assert counted["Rejected"] > 20_000


@both
@settings(max_examples=150, deadline=None)
@given(data=st.data(), places=st.lists(st.integers(min_value=0, max_value=10_000), max_size=8))
def test_chunking_never_changes_events(encoding: str, data: st.DataObject, places: list[int]) -> None:
    """Messages, noise and false openings give the same events however the stream was cut, under a small limit too."""
    vectors = [
        bytes.fromhex(param.values[0]["hex"])
        for param in read_vectors("station_message.json")
        if param.values[0]["format"] == encoding
    ]
    piece = st.one_of(
        st.sampled_from(vectors),
        st.binary(max_size=20),
        st.sampled_from(
            [b"\xc1", b"\x81\xa7dep", b"\x81\xa7depth_m", b"\xde\x00\x01\xa1", b"\xdb\x00\x00\x00\x10", b"\n"]
        ),
    )
    limit = data.draw(st.sampled_from([16, 40, DEFAULT_LIMIT]))
    stream = b"".join(data.draw(st.lists(piece, max_size=6)))
    whole: list[Event] = feed(decoder_of(encoding, limit), [stream], most_pending(encoding, limit))
    assert feed(decoder_of(encoding, limit), cut(stream, places), most_pending(encoding, limit)) == whole
    assert feed(decoder_of(encoding, limit), bytewise(stream), most_pending(encoding, limit)) == whole
