"""Recordings handed on by a liar, or of an Offing before signatures: made without the ship's key."""

from collections.abc import Sequence

import msgpack

from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.core.wire import footer, pad_start

STRANGER = Signer(Secrets(bytes(32)).signing_seed)


def whole(frames: Sequence[bytes]) -> bytes:
    """Return a recording of these frames with a footer that agrees with them, as anybody can make it."""
    return b"".join(frames) + footer(frames)


def altered(frame: bytes, at: int) -> bytes:
    """Return a frame with one bit changed."""
    return frame[:at] + bytes([frame[at] ^ 1]) + frame[at + 1 :]


def blank(frame: bytes) -> bytes:
    """Return a frame without its signature."""
    start = pad_start(frame)
    return frame[:start] + bytes(len(frame) - start)


def named(frame: bytes, **names: object) -> bytes:
    """Return the first record with other words in its body (None: without them), unsigned."""
    dive_number, seq, kind, elapsed_s, body, _ = msgpack.unpackb(frame)
    told = {name: value for name, value in {**body, **names}.items() if value is not None}
    bare = b"".join([b"\x96", *map(msgpack.packb, [dive_number, seq, kind, elapsed_s, told]), b"\xc5"])
    pad = 64 + -(len(bare) + 2) % 64
    return bare + pad.to_bytes(2, "big") + bytes(pad)


def unsigned(frames: Sequence[bytes]) -> list[bytes]:
    """Return a dive's frames as if there were no signatures."""
    return [named(frames[0], key=None), *map(blank, frames[1:])]


def rewritten(frames: Sequence[bytes], audience: str = "public") -> list[bytes]:
    """Return a dive's frames as a stranger signs them, under the stranger's own key."""
    header = named(frames[0], key=STRANGER.key.hex())
    return [STRANGER.seal(audience, frame) for frame in [header, *frames[1:]]]


def overlong(frame: bytes) -> bytes:
    """Return a frame whose pad is longer than the two octets that `encode` has for its length can say."""
    fields: list[object] = msgpack.unpackb(frame)
    return b"\x96" + b"".join(map(msgpack.packb, [*fields[:5], bytes(70_000)]))
