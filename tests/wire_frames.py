"""Frames of RFC 6455 by hand: what a client writes, right or wrong, and what a server wrote back.

Written from the RFC alone (section 5.2 and 5.3), with no code of the relay's and no library's, so that neither can
share a fault with what is tested.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

CONTINUATION, TEXT, BINARY, CLOSE, PING, PONG = 0x0, 0x1, 0x2, 0x8, 0x9, 0xA
FIN = 0x80
MASK = bytes.fromhex("37fa213d")  # RFC 6455 section 5.7
MINIMAL = 0
_usual: ContextVar[bytes | None] = ContextVar("_usual", default=MASK)
USUAL = b"the usual mask of whoever writes"


@contextmanager
def as_a_server() -> Iterator[None]:
    """Let frames be written as a server writes them, without a mask, as long as this lasts."""
    before = _usual.set(None)
    try:
        yield
    finally:
        _usual.reset(before)


def frame(
    opcode: int,
    payload: bytes = b"",
    *,
    fin: bool = True,
    rsv: int = 0,
    mask: bytes | None = USUAL,
    form: int = MINIMAL,
    length: int | None = None,
) -> bytes:
    """Return a frame. `rsv`: the three reserved bits; `mask`: None for none; `form`: 7, 16 or 64 bits of length.

    `length`: what the header says, where that isn't the length of the payload.
    """
    said = len(payload) if length is None else length
    mask = _usual.get() if mask is USUAL else mask
    first = bytes([(FIN if fin else 0) | rsv << 4 | opcode])
    masked = payload if mask is None else bytes(octet ^ mask[at % 4] for at, octet in enumerate(payload))
    return first + _length(said, form, 0 if mask is None else 0x80) + (mask or b"") + masked


def _length(length: int, form: int, masking: int) -> bytes:
    form = form or (7 if length < 126 else 16 if length < 1 << 16 else 64)
    if form == 7:
        return bytes([masking | length])
    return bytes([masking | (126 if form == 16 else 127)]) + length.to_bytes(form // 8)


@dataclass(frozen=True)
class Served:
    """One frame that the other side wrote, its mask taken off."""

    opcode: int
    payload: bytes
    fin: bool = True


class BadlyServedError(Exception):
    """What a server wrote is no frame that a server may write."""


def served(raw: bytes, masked: bool = False) -> tuple[list[Served], bytes]:
    """Return the other side's whole frames, and what is left over; BadlyServedError where section 5 forbids one.

    `masked`: the other side is a client.
    """
    frames: list[Served] = []
    while len(raw) >= 2:
        length, begins = _said_length(raw)
        _judge(raw, length, begins, masked)
        ends = begins + length + (4 if masked else 0)
        if len(raw) < ends:
            break
        key, content = (raw[begins : begins + 4], raw[begins + 4 : ends]) if masked else (bytes(4), raw[begins:ends])
        payload = bytes(octet ^ key[at % 4] for at, octet in enumerate(content))
        frames.append(Served(raw[0] & 0x0F, payload, bool(raw[0] & FIN)))
        raw = raw[ends:]
    return frames, raw


def _said_length(raw: bytes) -> tuple[int, int]:
    octets = {126: 2, 127: 8}.get(raw[1] & 0x7F, 0)
    if octets == 0:
        return raw[1] & 0x7F, 2
    if len(raw) < 2 + octets:
        return len(raw), 2 + octets  # the header isn't whole, so the frame isn't
    return int.from_bytes(raw[2 : 2 + octets]), 2 + octets


def _judge(raw: bytes, length: int, begins: int, masked: bool) -> None:
    opcode = raw[0] & 0x0F
    if bool(raw[1] & 0x80) is not masked:
        raise BadlyServedError("a client masks, and a server doesn't (section 5.1)")
    if raw[0] & 0x70:
        raise BadlyServedError("reserved bits without an extension (section 5.2)")
    if opcode not in (CONTINUATION, TEXT, BINARY, CLOSE, PING, PONG):
        raise BadlyServedError(f"opcode {opcode} (section 5.2)")
    if opcode >= CLOSE and (begins != 2 or not raw[0] & FIN):
        raise BadlyServedError("a control frame that is long or in pieces (section 5.5)")
    if len(raw) >= begins and length < {2: 0, 4: 126, 10: 1 << 16}[begins]:
        raise BadlyServedError("a length that isn't in its shortest form (section 5.2)")
