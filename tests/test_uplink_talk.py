"""What ship and shore say on the link: each message there and back, bounded, and nothing but what it may be."""

import zlib
from contextlib import suppress
from hashlib import sha256

import msgpack
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.core.errors import LinkError
from relay.core.uplink_talk import (
    AUDIENCES_MOST,
    FOLLOWERS_MOST,
    GREETING_OCTETS,
    MESSAGE_OCTETS,
    PIECE_OCTETS,
    WORDS,
    Ack,
    Ends,
    Frames,
    Guests,
    Held,
    Keep,
    Listed,
    Message,
    Packing,
    Unpacking,
    proof_of,
    read_ack,
    read_challenge,
    read_proof,
    read_standing,
    write_ack,
    write_challenge,
    write_proof,
    write_standing,
)

NONCE, KEY, SIGNATURE = bytes(range(32)), b"k" * 32, b"s" * 64
LETTERS = "abcdefghijklmnopqrstuvwxyz"
DIGESTS = st.binary(min_size=32, max_size=32)
NAMES = st.builds(str.__add__, st.sampled_from(LETTERS), st.text(f"{LETTERS}0123456789-", max_size=39))
HELD = st.one_of(
    st.builds(Held, st.just(0), st.just(-1), st.integers(-1, 2**53), st.binary(min_size=32, max_size=32)),
    st.builds(
        Held, st.integers(1, 2**53), st.integers(0, 2**53), st.integers(-1, 2**53), st.binary(min_size=32, max_size=32)
    ),
)
MESSAGES = st.one_of(
    st.builds(Frames, NAMES, st.lists(st.binary(max_size=600), min_size=1, max_size=20).map(tuple)),
    st.builds(Guests, st.binary(max_size=5_000)),
    st.just(Keep()),
)


def test_challenge_and_proof_come_back_as_they_were() -> None:
    """The two messages of the beginning are read as they were written."""
    assert read_challenge(write_challenge(NONCE)) == NONCE
    assert read_proof(write_proof(KEY, SIGNATURE)) == (KEY, SIGNATURE)


def test_proof_is_of_the_certificate_that_was_seen() -> None:
    """What is signed is the challenge and the certificate's SHA-256 (FIPS 180-4, by hashlib)."""
    assert proof_of(NONCE, b"certificate") == NONCE + sha256(b"certificate").digest()


@settings(max_examples=40)
@given(st.dictionaries(NAMES, HELD, max_size=AUDIENCES_MOST), st.builds(Listed, st.integers(0, 2**63 - 1), DIGESTS))
def test_standing_comes_back_as_it_was(held: dict[str, Held], listed: Listed) -> None:
    """What a shore holds is read as it was written, and fits the longest message before the stream."""
    data = write_standing(held, listed)
    assert read_standing(data) == (held, listed) and list(read_standing(data)[0]) == list(held)
    assert len(data) <= GREETING_OCTETS


@given(st.integers(0, 2**53), st.integers(0, 2**53), st.lists(st.integers(0, FOLLOWERS_MOST), max_size=16))
def test_acknowledgement_comes_back_as_it_was(octets: int, messages: int, followers: list[int]) -> None:
    """Numbers alone go back, and are read as they were written."""
    ack = Ack(octets, messages, tuple(followers))
    assert read_ack(write_ack(ack), len(followers)) == ack


def packed(*values: object) -> bytes:
    """Return values as a message."""
    return bytes(msgpack.packb(list(values)))


@pytest.mark.parametrize(
    "data",
    [
        packed(0, 0, [1, 2]),
        packed(0, 0, [FOLLOWERS_MOST + 1]),
        packed(0, 0, [-1]),
        packed(0, 0, [1.0]),
        packed(0, 0, [True]),
        packed(0, 0, ["1"]),
        packed(-1, 0, [1]),
        packed(2**53 + 1, 0, [1]),
        packed(0, None, [1]),
        packed(0, 0, [1], "words"),
        packed(0, 0, [1]) + b"\0",
        packed(0, 0, [1])[:-1],
        b"\x93\xd9\x00\x00\x91\x01",
        b"\x93\xcc\x00\x00\x91\x01",  # zero written in two bytes: room for something that is no number
        b"",
        b"offing",
    ],
)
def test_anything_but_numbers_is_no_acknowledgement(data: bytes) -> None:
    """The one thing that comes back from the shore is numbers, written in the shortest way (R6)."""
    with pytest.raises(LinkError):
        read_ack(data, 1)


@given(st.binary(max_size=80))
def test_noise_is_read_as_itself_or_refused(data: bytes) -> None:
    """Whatever comes from ashore is refused, or is just what would have been written: nothing hides beside it (R6)."""
    with suppress(LinkError):
        assert write_ack(read_ack(data, 1)) == data
    with suppress(LinkError):
        assert write_standing(*read_standing(data)) == data


ROW = ["public", 1, 3, -1, bytes(32), False]


@pytest.mark.parametrize(
    "rows",
    [
        [["Public", *ROW[1:]]],
        [["p" * 41, *ROW[1:]]],
        [[*ROW[:4], bytes(31), False]],
        [["public", 0, 3, *ROW[3:]]],
        [["public", 1, -1, *ROW[3:]]],
        [["public", 1, 3, -2, *ROW[4:]]],
        [[*ROW[:5], 0]],
        [ROW[:5]],
        [[*ROW, "words"]],
        [ROW, ROW],
        [[f"a{number}", *ROW[1:]] for number in range(AUDIENCES_MOST + 1)],
        "public",
        None,
    ],
)
def test_what_no_shore_holds_is_refused(rows: object) -> None:
    """A standing has known forms, bounds, and each audience once."""
    assert read_standing(packed([ROW], 0, bytes(32)))[0]["public"].seq == 3
    with pytest.raises(LinkError):
        read_standing(packed(rows, 0, bytes(32)))


@pytest.mark.parametrize("rest", [(2**63, bytes(32)), (-1, bytes(32)), (1.0, bytes(32)), (1, bytes(33)), (1,), ()])
def test_what_is_no_list_of_guests_is_refused(rest: tuple[object, ...]) -> None:
    """Of the list of guests that a shore holds, a number and a digest are told and nothing else (R6)."""
    with pytest.raises(LinkError):
        read_standing(packed([ROW], *rest))


@pytest.mark.parametrize("data", [packed(1, NONCE[:31]), packed(True, NONCE), packed(1, NONCE, 1), packed(2, NONCE)])
def test_what_is_no_challenge_is_refused(data: bytes) -> None:
    """A nonce of another length, another version, and more than a challenge end the connection."""
    with pytest.raises(LinkError):
        read_challenge(data)


@pytest.mark.parametrize(
    "data", [packed(1, KEY, SIGNATURE[1:]), packed(1, KEY[1:], SIGNATURE), packed(True, KEY, SIGNATURE), packed(KEY)]
)
def test_what_is_no_proof_is_refused(data: bytes) -> None:
    """Keys and signatures have their lengths (RFC 8032: 32 and 64 bytes)."""
    with pytest.raises(LinkError):
        read_proof(data)


@settings(max_examples=40)
@given(st.lists(MESSAGES, max_size=8), st.integers(1, 700))
def test_stream_comes_back_as_it_was_however_it_is_cut(messages: list[Message], cut: int) -> None:
    """The stream's messages don't depend on where it was cut; each is there as soon as its last byte is."""
    packing, unpacking, out = Packing(), Unpacking(), []
    for message in messages:
        data = b"".join(packing.pack(message))
        for at in range(0, len(data), cut):
            out += unpacking.feed(data[at : at + cut])
        assert out[-1] == message
    assert out == messages


def test_stream_is_deflate_as_the_standard_has_it() -> None:
    """Another reader of RFC 1950 (zlib, in one go) finds the same MessagePack."""
    packing = Packing()
    data = b"".join([*packing.pack(Keep()), *packing.pack(Frames("public", (b"one", b"two")))])
    plain = zlib.decompressobj().decompress(data)
    unpacker = msgpack.Unpacker()
    unpacker.feed(plain)
    assert list(unpacker) == [[0], [1, "public", [b"one", b"two"]]]


def test_message_is_cut_into_pieces_up_to_the_longest_one() -> None:
    """What can't be deflated is cut; one byte more than the longest message is refused, and the stream goes on."""
    noise = b"".join(sha256(bytes([at & 255, at >> 8])).digest() for at in range(MESSAGE_OCTETS // 32))
    packing, unpacking = Packing(), Unpacking()
    longest = Guests(noise[: MESSAGE_OCTETS - 7])
    pieces = list(packing.pack(longest))
    assert len(pieces) > MESSAGE_OCTETS // PIECE_OCTETS and max(map(len, pieces)) == PIECE_OCTETS
    assert [message for piece in pieces for message in unpacking.feed(piece)] == [longest]
    with pytest.raises(LinkError, match="more than a message of the link holds"):
        packing.pack(Guests(noise[: MESSAGE_OCTETS - 6]))
    assert [message for piece in packing.pack(Keep()) for message in unpacking.feed(piece)] == [Keep()]


def test_deflated_bomb_is_refused_before_it_grows() -> None:
    """A message that never ends is noticed within a piece of the bound, from a few bytes."""
    deflate = zlib.compressobj(9)
    endless = msgpack.packb(bytes(4 * MESSAGE_OCTETS))
    bomb = deflate.compress(b"\x92\x02" + endless) + deflate.flush()
    assert len(bomb) < PIECE_OCTETS
    with pytest.raises(LinkError, match="too long"):
        list(Unpacking().feed(bomb))


@pytest.mark.parametrize(
    "fields",
    [
        [1, "public", []],
        [1, "Public", [b"frame"]],
        [1, "public", ["frame"]],
        [2, "listing"],
        [3],
        [False],
        [0, 0],
        {},
        7,
    ],
)
def test_message_that_no_ship_sends_is_refused(fields: object) -> None:
    """The stream holds frames of named audiences, the list of guests and signs of life, and nothing else."""
    deflate = zlib.compressobj()
    data = deflate.compress(msgpack.packb(fields)) + deflate.flush(zlib.Z_SYNC_FLUSH)
    with pytest.raises(LinkError):
        list(Unpacking().feed(data))


def test_what_is_not_deflated_is_refused() -> None:
    """Noise ends the connection, and so does a stream that says it has ended."""
    with pytest.raises(LinkError):
        list(Unpacking().feed(b"GET / HTTP/1.1\r\n"))
    with pytest.raises(LinkError):
        list(Unpacking().feed(zlib.compress(b"\x91\x00")))


def test_every_way_to_end_has_words() -> None:
    """The ship tells why a link ended in her own words: none of the shore's come aboard (R6)."""
    assert set(WORDS) == set(Ends)
