"""What ship and shore say to each other on the link, as bytes and back: MessagePack, deflated from the proof on.

Rules:
1. The shore speaks first: a challenge. The ship answers with a proof: her key, and her signature over the challenge and
   the certificate she saw, so that a proof is worth nothing on another connection or through another machine.
2. Before the proof nothing else is said. Then the shore tells what it holds of each audience, and which list of
   guests, and the ship sends what follows.
3. What the ship says is one deflated stream of messages (RFC 1950, 1951), cut into pieces; the shore acknowledges
   stream octets as they come, and messages once what they bring is durable.
4. What the shore says back is numbers and digests alone, and never longer than it needs to be (R6): names in it are
   names the ship knows, and why a link ends is a close code, told in the ship's own words.
5. Everything is bounded, at both ends; LinkError says what was wrong, and ends a connection, nothing else.
MessagePack: the specification at msgpack.org, by the library `msgpack`.
"""

import re
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from hashlib import sha256
from typing import Any

import msgpack

from relay.core.errors import LinkError

VERSION = 1
WORD = "uplink"  # what a proof is signed under
NONCE_OCTETS, KEY_OCTETS, SIGNATURE_OCTETS, DIGEST_OCTETS = 32, 32, 64, 32
PIECE_OCTETS = 4_096  # of the stream, in one message of the socket
GREETING_OCTETS = 4_096  # the longest message of the socket but for a piece: sixteen audiences have room
MESSAGE_OCTETS = 512 * 1_024  # the longest message of the stream: a batch, or the list of guests
BATCH_OCTETS = 16 * 1_024  # of frames in a batch, but for the last of them
AUDIENCES_MOST = 16
NUMBER_MOST, FOLLOWERS_MOST = 2**53, 10_000_000
LISTING_MOST = 2**63 - 1  # what a listing itself may have
_SLUG = re.compile(r"[a-z][a-z0-9-]{0,39}", re.ASCII)


class Ends(IntEnum):
    """Why the shore ends a link, as a websocket close code (RFC 6455 section 7.4.2: 4000 to 4999 are private)."""

    AWAY = 1001
    UNPROVED = 4001
    TALK = 4002
    NO_ROOM = 4003
    REFUSED = 4004
    REPLACED = 4005
    SILENT = 4006


WORDS = {
    Ends.AWAY: "the shore is stopping",
    Ends.UNPROVED: "the shore doesn't take this ship's key: put what `offing key` prints into its SHORE.toml",
    Ends.TALK: "the shore doesn't understand this relay: is one of the two an older Offing?",
    Ends.NO_ROOM: "the shore's disk is full: nothing is lost, it goes on when there is room",
    Ends.REFUSED: "the shore refused a record: its log says which, and why",
    Ends.REPLACED: "another connection of this ship took the place of this one: is the relay running twice?",
    Ends.SILENT: "the shore heard nothing from here any more",
}


@dataclass(frozen=True, slots=True)
class Held:
    """What the shore holds of an audience, durable and without a gap up to here; with less it holds nothing.

    `dive`, `seq`: the last record (0 and -1 for none); `programme`: the number of the last programme, -1 for none;
    `digest`: SHA-256 (FIPS 180-4) of that dive's frames so far, joined; `open`: whether everybody is shown it there.
    """

    dive: int = 0
    seq: int = -1
    programme: int = -1
    digest: bytes = sha256(b"").digest()
    open: bool = False


@dataclass(frozen=True, slots=True)
class Listed:
    """Which list of guests the shore holds: its number (0 for none) and SHA-256, so that an older one isn't sent."""

    number: int = 0
    digest: bytes = sha256(b"").digest()


NOT_LISTED = Listed()


@dataclass(frozen=True, slots=True)
class Frames:
    """Some frames of an audience in their order; of the programme, one of its records may be among them."""

    audience: str
    frames: tuple[bytes, ...]


@dataclass(frozen=True, slots=True)
class Guests:
    """The signed list of who may come to invited audiences."""

    listing: bytes


@dataclass(frozen=True, slots=True)
class Keep:
    """Nothing new: the shore answers, and so both know that the link stands."""


Message = Frames | Guests | Keep


@dataclass(frozen=True, slots=True)
class Ack:
    """How far the shore is, counted from the proof on, and who follows there.

    `octets` of the stream have come, `messages` are durable; `followers` in the order of `Standing`'s audiences.
    """

    octets: int
    messages: int
    followers: tuple[int, ...]


def write_challenge(nonce: bytes) -> bytes:
    """Return the shore's first message."""
    return _packed([VERSION, nonce])


def read_challenge(data: bytes) -> bytes:
    """Return the nonce of a challenge."""
    match _value(data):
        case [version, bytes(nonce)] if len(nonce) == NONCE_OCTETS and _is_number(version, 0):
            if version != VERSION:
                raise LinkError(f"the shore speaks version {version} of the link, this relay {VERSION}")
            return nonce
    raise LinkError("not a challenge")


def proof_of(nonce: bytes, certificate: bytes) -> bytes:
    """Return what the ship signs: the challenge, and the SHA-256 of the certificate (DER) that she saw."""
    return nonce + sha256(certificate).digest()


def write_proof(key: bytes, signature: bytes) -> bytes:
    """Return the ship's answer to a challenge."""
    return _packed([VERSION, key, signature])


def read_proof(data: bytes) -> tuple[bytes, bytes]:
    """Return the key and the signature of a proof."""
    match _value(data):
        case [version, bytes(key), bytes(signature)] if _is_number(version, VERSION, VERSION):
            if (len(key), len(signature)) == (KEY_OCTETS, SIGNATURE_OCTETS):
                return key, signature
    raise LinkError("not a proof")


def write_standing(held: Mapping[str, Held], listed: Listed = NOT_LISTED) -> bytes:
    """Return what the shore holds of each of its audiences, and which list of guests."""
    rows = [[name, each.dive, each.seq, each.programme, each.digest, each.open] for name, each in held.items()]
    return _packed([rows, listed.number, listed.digest])


def read_standing(data: bytes) -> tuple[dict[str, Held], Listed]:
    """Return what the shore says it holds."""
    match _value(data):
        case [list(rows), number, bytes(digest)] if len(rows) <= AUDIENCES_MOST and len(digest) == DIGEST_OCTETS:
            held = dict(map(_held, rows))
            if len(held) == len(rows) and _is_number(number, 0, LISTING_MOST):
                return held, Listed(number, digest)
    raise LinkError("not what a shore holds")


def _held(row: Any) -> tuple[str, Held]:
    match row:
        case [str(name), dive, seq, programme, bytes(digest), bool(is_open)]:
            numbers = _is_number(dive, 0) and _is_number(seq, -1) and _is_number(programme, -1)
            if numbers and (dive == 0) == (seq == -1) and len(digest) == DIGEST_OCTETS and _SLUG.fullmatch(name):
                return name, Held(dive, seq, programme, digest, is_open)
    raise LinkError("not what a shore holds of an audience")


def write_ack(ack: Ack) -> bytes:
    """Return an acknowledgement."""
    return _packed([ack.octets, ack.messages, [min(count, FOLLOWERS_MOST) for count in ack.followers]])


def read_ack(data: bytes, audiences: int) -> Ack:
    """Return an acknowledgement; `audiences`: how many the shore told of."""
    match _value(data):
        case [octets, messages, list(followers)] if len(followers) == audiences:
            counted = all(_is_number(count, 0, FOLLOWERS_MOST) for count in followers)
            if counted and _is_number(octets, 0) and _is_number(messages, 0):
                return Ack(octets, messages, tuple(followers))
    raise LinkError("not an acknowledgement")


class Packing:
    """Messages into the ship's stream: one deflate context for a connection, flushed at the end of each message."""

    def __init__(self, piece: int = PIECE_OCTETS) -> None:
        self._deflate, self._piece = zlib.compressobj(9), piece

    def pack(self, message: Message) -> Iterator[bytes]:
        """Yield the pieces of a message; LinkError, and nothing of it sent, if it is too long for any shore."""
        plain = _packed(_fields(message))
        if len(plain) > MESSAGE_OCTETS:
            raise LinkError(f"{len(plain)} bytes are more than a message of the link holds ({MESSAGE_OCTETS})")
        data = self._deflate.compress(plain) + self._deflate.flush(zlib.Z_SYNC_FLUSH)
        return (data[at : at + self._piece] for at in range(0, len(data), self._piece))


class Unpacking:
    """The ship's stream back into messages; inflated a little at a time, so that a bomb is noticed before it grows."""

    def __init__(self) -> None:
        self._inflate = zlib.decompressobj()
        self._unpacker = msgpack.Unpacker(max_buffer_size=2 * MESSAGE_OCTETS, **_STRICT)
        self._taken = 0

    def feed(self, piece: bytes) -> Iterator[Message]:
        """Yield the messages that end with a piece; LinkError if it is none of a ship's."""
        full = True
        while piece or full:
            plain = self._inflated(piece)
            piece, full = self._inflate.unconsumed_tail, len(plain) == PIECE_OCTETS
            self._taken += len(plain)
            yield from self._messages(plain)
            if self._taken - self._unpacker.tell() > MESSAGE_OCTETS:
                raise LinkError("a message is too long")

    def _inflated(self, piece: bytes) -> bytes:
        try:
            plain = self._inflate.decompress(piece, PIECE_OCTETS)
        except zlib.error as error:
            raise LinkError("the stream isn't deflated") from error
        if self._inflate.eof:
            raise LinkError("the stream ended")
        return plain

    def _messages(self, plain: bytes) -> Iterator[Message]:
        try:
            self._unpacker.feed(plain)
            for fields in self._unpacker:
                yield _message(fields)
        except (ValueError, msgpack.exceptions.UnpackException) as error:
            raise LinkError("the stream holds no messages") from error


_KEEP, _FRAMES, _GUESTS = 0, 1, 2
_STRICT: dict[str, Any] = {"strict_map_key": True, "max_ext_len": 0, "max_map_len": 0, "max_array_len": 65_536}


def _fields(message: Message) -> list[Any]:
    match message:
        case Frames(audience, frames):
            return [_FRAMES, audience, list(frames)]
        case Guests(listing):
            return [_GUESTS, listing]
        case Keep():
            return [_KEEP]


def _message(fields: Any) -> Message:
    match fields:
        case [kind, str(audience), list(frames)] if _is_number(kind, _FRAMES, _FRAMES) and frames:
            if _SLUG.fullmatch(audience) and all(isinstance(frame, bytes) for frame in frames):
                return Frames(audience, tuple(frames))
        case [kind, bytes(listing)] if _is_number(kind, _GUESTS, _GUESTS):
            return Guests(listing)
        case [kind] if _is_number(kind, _KEEP, _KEEP):
            return Keep()
    raise LinkError("a message that no ship sends")


def _is_number(value: Any, least: int, most: int = NUMBER_MOST) -> bool:
    return type(value) is int and least <= value <= most


def _packed(value: Sequence[Any]) -> bytes:
    return bytes(msgpack.packb(value))


def _value(data: bytes) -> Any:
    """Return what is in a message; LinkError unless it is written in the one shortest way: no room beside numbers."""
    try:
        value = msgpack.unpackb(data, **_STRICT)
        if _packed(value) == data:
            return value
    except (ValueError, TypeError, OverflowError, msgpack.exceptions.UnpackException) as error:
        raise LinkError("not MessagePack") from error
    raise LinkError("a message that isn't written as it must be")
