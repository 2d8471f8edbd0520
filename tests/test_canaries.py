"""A scanner for what must never leave finds each canary wherever it is planted, and nothing where there is none."""

import base64
import html
import json
import math
import random
import struct
import urllib.parse
from datetime import UTC, datetime
from pathlib import Path

import msgpack
import pytest
from geographiclib.geodesic import Geodesic

from canaries import REACH_M, Scanner
from canary_signatures import key_text, without_signatures
from canary_spellings import DEGREES_IN_A_KEY, encodings, notations, planes
from relay.core.seal import Signer
from relay.shell.demo.seabed import INVENTED_PLACE

ROOT = Path(__file__).resolve().parents[1]
PLACE = (INVENTED_PLACE.latitude_deg, INVENTED_PLACE.longitude_deg)
KEY = bytes(range(100, 132))
SINCE_S, UNTIL_S = 1_792_000_000.0, 1_792_000_060.0
SECRETS = {"turn": 206.01982539, "shift": -871.3610314}
SCANNER = Scanner([PLACE], moments_s=(SINCE_S, UNTIL_S), secrets=SECRETS, words={"key": KEY, "feed": "buoy-line"})
# These are off by some tens of metres themselves.
ROUGH = ("to 3 places", "tenths of minutes", "MGRS with 3", "NMEA 0183, to 1")
TEXTS, BYTES = notations(PLACE), encodings(PLACE)


def away(metres: float, bearing_deg: float) -> tuple[float, float]:
    """Return a position so far from the canary (geographiclib)."""
    there = Geodesic.WGS84.Direct(*PLACE, bearing_deg, metres)
    return there["lat2"], there["lon2"]


@pytest.mark.parametrize("notation", TEXTS)
def test_canary_in_any_notation_is_found(notation: str) -> None:
    """A position told in text is found in a page, in a header and in JSON, percent-encoded and with entities."""
    for text in TEXTS[notation]:
        page = f"<p>Lantern is at {text}, holding</p>"
        escaped = "".join(f"&#{ord(character)};" if not character.isalnum() else character for character in text)
        for where in (
            page.encode(),
            f"X-Place: {text}\r\n".encode(),
            json.dumps({"note": text, "dive": 1}).encode(),
            urllib.parse.quote(f"/a/{text}?b").encode(),
            f"<i>{escaped}</i>".encode(),
            html.escape(page).encode(),
        ):
            assert SCANNER.find(where), (text, where)


@pytest.mark.parametrize("encoding", BYTES)
def test_canary_in_any_encoding_is_found(encoding: str) -> None:
    """A position as binary numbers is found behind any number of other bytes, however it is aligned, and in a frame."""
    for data in BYTES[encoding]:
        if "MessagePack" not in encoding:
            for before in range(9):
                found = SCANNER.find(b"\x96\x01\x05\x01\x0f\x92\xc4\x1f\x00"[:before] + data + bytes(64))
                assert any(sighting.at in range(before, before + len(data)) for sighting in found), (data, before)
        frame = msgpack.packb([1, 0, 3, 4, None, bytes(7)])
        value = msgpack.unpackb(data) if "MessagePack" in encoding else data
        for record in ([1, 5, 1, 2, value, b"\0"], [1, 5, 1, 2, [["reporting", value]], b"\0"], {"a": value}):
            single = "f32" in encoding and "MessagePack" in encoding
            told = msgpack.packb(record, use_single_float=single)
            for whole in (frame + told, b"HTTP/1.1 200 OK\r\nETag: x\r\n\r\n" + frame * 3 + told):
                assert SCANNER.find(whole), (data, whole)


@pytest.mark.parametrize("metres", [0.0, 0.6 * REACH_M])
def test_canary_is_found_to_the_precision_that_matters(metres: float) -> None:
    """What tells a place some tens of metres beside a position tells the position, in every notation and encoding."""
    for bearing_deg in (0.0, 90.0, 200.0):
        place = away(metres, bearing_deg)
        fine = {name: texts for name, texts in notations(place).items() if not any(word in name for word in ROUGH)}
        assert [text for texts in fine.values() for text in texts if not SCANNER.find(text.encode())] == []
        assert [name for name, datas in encodings(place).items() for data in datas if not SCANNER.find(data)] == []


AXES = ("latitude", "longitude")
# Of a vehicle whose place isn't told: -3185, 345, 67 m and nil, read as one float, are -38.6953675.
SEEN = [1, 13_374, 1, 527, [["reporting", -3_185, 345, 67, None, None, None, "descent", None, None]], b""]
CHANCE = bytes.fromhex("d1f38fcd015943c0")
(BY_CHANCE,) = struct.unpack("<d", CHANCE)
# A latitude whose octets, in either order, are a nil and seven whole numbers below 128.
WRITTEN = bytes.fromhex("c0434d0102030405")
(AS_VALUES,) = struct.unpack(">d", WRITTEN)


def beside(value: float, metres: float) -> float:
    """Return degrees of latitude so far away."""
    return value + metres / 111_000


def test_float_that_values_of_a_message_make_by_chance_is_not_found() -> None:
    """Three whole numbers and a nil of a record without a place, read as one float, lay within reach of a latitude."""
    scanner = Scanner([(beside(BY_CHANCE, 60), PLACE[1])])
    told = msgpack.packb(SEEN)
    assert CHANCE in told
    assert scanner.find(told) == scanner.find(told * 3) == []


def test_float_that_looks_like_that_is_found_where_it_may_be_one() -> None:
    """In a bin or a text, in a message that breaks off or goes wrong, as a MessagePack float: to the reach alone."""
    scanner = Scanner([(beside(BY_CHANCE, 60), PLACE[1])])
    told = msgpack.packb(SEEN)
    inner = msgpack.packb([1, BY_CHANCE])
    for where in (
        CHANCE,
        b"\x01\x05" + CHANCE,
        msgpack.packb([1, CHANCE]),
        msgpack.packb({"a": [b"\x00" + CHANCE + b"\x00"]}),
        b"\x92\x01\xaa" + b"x" + CHANCE + b"y",
        told[:-1],
        told + b"\x05",
        told + b"\xc1",
        b"\x05" + told,
        inner,
        msgpack.packb([2, [{"a": BY_CHANCE}]]),
        msgpack.packb([2, inner]),
        msgpack.packb([2, msgpack.packb([b"x", inner])]),
    ):
        assert scanner.find(where), where


@pytest.mark.parametrize("order", "<>")
def test_exact_axis_alone_is_found_anywhere(order: str) -> None:
    """A raw float of one axis is found unaligned, and as values of a message, in degrees, radians and plane metres."""
    for value in (*PLACE, *map(math.radians, PLACE), *planes(PLACE).values()):
        for before in range(9):
            assert SCANNER.find(bytes(range(1, 1 + before)) + struct.pack(order + "d", value) + b"\x01"), value
    told = msgpack.packb([1, "x", list(WRITTEN[:: 1 if order == ">" else -1])]).replace(b"\xcc\xc0", b"\xc0")
    assert struct.pack(order + "d", AS_VALUES) in told
    assert msgpack.unpackb(told)
    assert Scanner([(AS_VALUES, PLACE[1])]).find(told)
    assert Scanner([(beside(AS_VALUES, 60), PLACE[1])]).find(told) == []
    assert Scanner([(beside(AS_VALUES, 60), PLACE[1])], secrets={"turn": AS_VALUES}).find(told)


@pytest.mark.parametrize("order", "<>")
def test_both_axes_rounded_to_the_reach_are_found_anywhere(order: str) -> None:
    """Raw floats of both axes, some tens of metres away, are found one behind the other and apart, in any message."""
    for bearing_deg in (0.0, 90.0, 200.0):
        there = away(0.6 * REACH_M, bearing_deg)
        for pair in (there, there[::-1], tuple(map(math.radians, there)), tuple(planes(there).values())[:2]):
            one, other = (struct.pack(order + "d", value) for value in pair)
            for between in (b"", b"\xcb", b"\x00\x01\x02"):
                for where in (one + between + other, msgpack.packb([1, one + between + other])):
                    assert SCANNER.find(where), where
    latitude, longitude = WRITTEN, bytes.fromhex("c0364d0102030405")
    scanner = Scanner([tuple(beside(struct.unpack(">d", raw)[0], 60) for raw in (latitude, longitude))])
    step = 1 if order == ">" else -1
    told = b"\x92\x01\xdc\x00\x11" + latitude[::step] + b"\x00" + longitude[::step]
    assert msgpack.unpackb(told)
    assert {sighting.what for sighting in scanner.find(told)} == {f"{axis}, {order}f8" for axis in AXES}
    assert scanner.find(b"\x92\x01\xdc\x00\x09" + latitude[::step] + b"\x00") == []


def test_every_place_is_exact_where_one_stands_for_all_about_it() -> None:
    """One axis of a place that isn't the one for all about it is found as values of a message too, if it is given."""
    near, other = (beside(BY_CHANCE, 20), PLACE[1]), (BY_CHANCE, PLACE[1])
    assert Scanner([near]).find(msgpack.packb(SEEN)) == []
    assert Scanner([near], exact=[near, other]).find(msgpack.packb(SEEN))


def test_other_places_are_not_found() -> None:
    """Some kilometres away on both axes nothing is found: the scanner doesn't call everything a canary."""
    for bearing_deg in (40.0, 130.0, 220.0, 310.0):
        place = away(9_000.0, bearing_deg)
        for name, told in {**notations(place), **encodings(place)}.items():
            for one in told:
                assert SCANNER.find(one.encode() if isinstance(one, str) else one) == [], (name, one)


def test_moments_are_found_about_each_that_was_and_not_between() -> None:
    """Where a wall clock was set by hours, those hours are nobody's moments: numbers among them are no find."""
    scanner = Scanner([PLACE], about_s=[SINCE_S, SINCE_S + 90_000])
    for moment_s, there in ((SINCE_S + 20, True), (SINCE_S + 90_010, True), (SINCE_S + 40_000, False)):
        for data in (struct.pack("<i", int(moment_s)), struct.pack(">d", moment_s * 1e3), b" %d " % moment_s):
            assert bool(scanner.find(data)) == there, (moment_s, data)


# Octets of values, and the moment that they are as one number: dive 1, record 1899; record 6380, and what is behind it;
# three numbers and a word.
MOMENTS_BY_CHANCE = {
    "<i": ([1, 1899, 5, None], datetime(2026, 11, 26, 6, 9, 5, tzinfo=UTC), 1),
    ">q": ([1, 6380, 1, 6274, [["deep"] * 10, 5]], datetime(2026, 11, 27, 20, 45, 32, tzinfo=UTC), 10**9),
    ">d": ([66, 122, 33, "AAA@", 5], datetime.fromtimestamp(1795736999, UTC), 10**3),
}


@pytest.mark.parametrize("form", MOMENTS_BY_CHANCE)
def test_moment_that_values_of_a_message_make_by_chance_is_not_found(form: str) -> None:
    """Within one value, or in what is no whole message, the same octets are found in either order."""
    values, moment, scale = MOMENTS_BY_CHANCE[form]
    told = msgpack.packb(values)
    size = struct.calcsize(form)
    numbers = {struct.unpack_from(form, told, at)[0]: at for at in range(len(told) - size + 1)}
    number = min(numbers, key=lambda number: abs(number / scale - moment.timestamp()))
    assert abs(number / scale - moment.timestamp()) < 30
    raw = told[numbers[number] : numbers[number] + size]
    scanner = Scanner([PLACE], about_s=[moment.timestamp()])
    assert scanner.find(told) == scanner.find(told * 3) == []
    for order in (raw, raw[::-1]):
        for where in (
            order,
            msgpack.packb([1, b"\x00" + order + b"\x00"]),
            bytes([0x92, 0x01, 0xA2 + size]) + b"x" + order + b"y",
            msgpack.packb([2, msgpack.packb([order])]),
            msgpack.packb([1, 1899, order]),
            b"\x91" + {"i": b"\xd2", "q": b"\xd3", "d": b"\xcb"}[form[1]] + order,
        ):
            assert scanner.find(where), where
    assert scanner.find(msgpack.packb([1, 1899, number]))
    for broken in (told[:-1], told + b"\x05", told + b"\xc1", b"HTTP/1.1 200 OK\r\n\r\n" + told):
        assert len(scanner.find(broken)) == 1, broken


def test_moments_secrets_and_names_are_found() -> None:
    """Unix seconds to nanoseconds, in text and binary; the key in any spelling; secret numbers; names."""
    moments = [f"{SINCE_S:.0f}", f"{UNTIL_S:.3f}", *(f"{UNTIL_S * scale:.0f}" for scale in (1e3, 1e6, 1e9))]
    binary = [struct.pack(order + form, int(UNTIL_S)) for order in "<>" for form in "di"]
    assert list(SCANNER.find_in([1, [{"a": SINCE_S * 1e3}]])) == ["moment in ms"]
    binary += [struct.pack(order + "q", int(SINCE_S * scale)) for order in "<>" for scale in (1, 1e3, 1e6, 1e9)]
    secrets = ["206.01982", "-871,3610", KEY.hex(), KEY.hex().upper(), base64.b64encode(KEY).decode(), "Buoy-Line"]
    numbers = [struct.pack(order + form, value) for order in "<>" for form in "fd" for value in SECRETS.values()]
    for one in [*(text.encode() for text in (*moments, *secrets)), *binary, *numbers, KEY]:
        assert SCANNER.find(b"x " + one + b" y"), one
    assert SCANNER.find(f"{SINCE_S - 3_600:.0f} 205.9 {bytes(32).hex()}".encode()) == []


def test_nothing_is_found_in_noise_or_in_texts_without_a_canary() -> None:
    """Ordinary text, digests and released frames hold no canary: what the scanner finds is there."""
    chance = random.Random(9)
    plain = [
        *(path.read_bytes() for path in (ROOT / "relay" / "shell").glob("[a-r]*.py")),
        *(chance.randbytes(32).hex().encode() for _ in range(500)),
        bytes(chance.choice(b"\x00\x00\x00\x01\x05\x92\x96\xc0\xc4\xa9") for _ in range(200_000)),
    ]
    assert [found for data in plain for found in SCANNER.find(data)] == []


def test_what_stands_for_a_signature_is_no_number() -> None:
    """Zeros behind the head of a pad made 38.5992128 degrees in units of 1e-7: within reach of a place."""
    signature = bytes(range(100, 164))
    pad = b"\xc0\xc5\x01\x17" + signature + bytes(0x117 - 64)
    scanner = Scanner([(-38.5992, -22.13306)])
    assert scanner.find(pad.replace(signature, bytes(64)))
    assert scanner.find(without_signatures(pad, {signature})) == []


def test_public_key_is_left_out_whole_and_nothing_else_of_its_kind() -> None:
    """A key whose digits read as degrees, minutes and seconds of a place is no find; those digits elsewhere are."""
    keys = (key_text(Signer(number.to_bytes(32))) for number in range(10_000))
    mine, read = next((key, match) for key in keys if (match := DEGREES_IN_A_KEY.search(key, 4, 60)))
    degrees, minutes, seconds = map(int, read.groups())
    scanner = Scanner([(degrees + minutes / 60 + seconds / 3600, PLACE[1])])
    header = msgpack.packb([1, 0, 0, {"key": mine.decode(), "audience": "public"}])
    assert scanner.find(header)
    assert scanner.find(without_signatures(header, {mine})) == []
    assert without_signatures(header, {mine}) == header.replace(mine, b"\x7f" * 64)
    for left in (header.replace(mine, mine[:-1] + b"x"), header.replace(mine, mine.upper()), mine[1:-1], read[0]):
        assert without_signatures(left, {mine}) == left
        assert scanner.find(left), left
    assert scanner.find(without_signatures(mine + b" " + read[0] + b" " + mine, {mine}))
    assert without_signatures(header, {next(keys)}) == header
