"""What the heads of the exact record are to the secrecy tests: the only released bytes that follow what is hidden.

A head has to change with what it commits to, or it would prove nothing. So runs that differ in something hidden are
compared by all bytes but the 32 of each head and the signature over them, and by nothing less: `masked` is the one
place where that is done. That those bytes tell nothing is shown apart (`test_heads_tell_nothing.py`).
"""

from collections.abc import Iterable

import pytest

from dives import sealed
from relay.core.channel import Due
from relay.core.release import Kind
from relay.core.wire import SIGNATURE_OCTETS, decode, encode, footer, is_footer, objects, pad_start

HEAD_OCTETS = 32
SHORT_US = 4_000_000
_ARRAY_OF_ONE_BIN_8 = b"\x91\xc4\x20"


def short_minutes(patch: pytest.MonkeyPatch) -> None:
    """Let the exact record have minutes of four seconds, so that a short run has many heads, over many rows."""
    for module in ("channel", "record_log"):
        patch.setattr(f"relay.core.{module}.MINUTE_US", SHORT_US)


def masked(frame: bytes) -> bytes:
    """Return a record; if it carries a head, with zeros for its 32 bytes and for the signature, all else as it is.

    Where they are in the record, that there are 32 and nothing beside them, what follows the signature, how many such
    records there are and when: all that stays to be compared.
    """
    record = decode(frame)
    if record.kind != Kind.HEAD:
        return frame
    assert isinstance(record.body, list) and [type(value) for value in record.body] == [bytes]
    assert len(record.body[0]) == HEAD_OCTETS
    end = pad_start(frame)
    at = frame.index(_ARRAY_OF_ONE_BIN_8 + record.body[0]) + len(_ARRAY_OF_ONE_BIN_8)
    before, after = frame[:at], frame[at + HEAD_OCTETS : end]
    return before + bytes(HEAD_OCTETS) + after + bytes(SIGNATURE_OCTETS) + frame[end + SIGNATURE_OCTETS :]


def but_for_heads(sent: Iterable[tuple[int, str, bytes]]) -> list[tuple[int, str, bytes]]:
    """Return what was sent (`dives.sent`), each record masked."""
    return [(instant_us, audience, masked(frame)) for instant_us, audience, frame in sent]


def sent_but_for_heads(due: Iterable[Due]) -> list[tuple[int, str, bytes]]:
    """Return `but_for_heads(sent(due))`, byte for byte, without signing heads whose signature is masked at once."""
    return [
        (instant_us, record.audience, masked(encode(record)) if record.kind is Kind.HEAD else sealed(record))
        for instant_us, record in due
    ]


def masked_recording(data: bytes) -> list[bytes]:
    """Return the records of a recording, masked; its footer, once held to the records as they are, is a mark."""
    out, frames = [], []
    for value, start, end in objects(data):
        if is_footer(value):
            assert data[start:end] == footer(frames)
            out.append(b"footer")
        else:
            frames.append(data[start:end])
            out.append(masked(frames[-1]))
    return out
