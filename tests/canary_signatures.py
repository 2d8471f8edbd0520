"""Signatures and heads among released bytes: they look like anything, so a scanner finds numbers in them by chance.

A signature is left out of what is scanned only where it is, byte for byte, what the site's key makes of the released
bytes before it: then it tells nothing that those and the key don't. Made of anything else it is a fault here. A head is
left out only where a record of that kind with such a signature holds it; that it tells nothing is shown elsewhere
(`test_heads_tell_nothing.py`), and that it is the ship's record's (`test_journal_seals.py`, `test_demo.py`).
"""

import re
from collections.abc import Collection, Iterable
from pathlib import Path

from relay.core.release import Kind
from relay.core.seal import Signer
from relay.core.wire import SIGNATURE_OCTETS, is_footer, objects, pad_start

_PAD = re.compile(rb"\xc5(?=..)", re.DOTALL)  # a bin whose length takes two bytes (MessagePack)
_HEAD = re.compile(rb"\x91\xc4\x20(?=.{32})", re.DOTALL)  # a list of one bin of 32 bytes
_HEAD_OCTETS = 32
# In their place stands what no position and no moment is, read as a number of any kind: behind the head of a pad zeros
# would make one, 0x1701c5c0, which is a latitude in units of 1e-7 degrees.
_FILL = b"\x7f"


def signatures_of(recordings: Iterable[tuple[str, Path]], signer: Signer) -> frozenset[bytes]:
    """Return signatures and heads in recordings, each given with its audience; every signature must be the site's."""
    found = set()
    for audience, path in recordings:
        data = path.read_bytes()
        for value, start, end in objects(data):
            if is_footer(value):
                continue
            frame = data[start:end]
            assert frame == signer.seal(audience, frame), f"{path}: record {value[1]} isn't signed by the site alone"
            at = pad_start(frame)
            found.add(frame[at : at + SIGNATURE_OCTETS])
            if value[2] == Kind.HEAD:
                found.add(value[4][0])
    return frozenset(found)


def without_signatures(data: bytes, signatures: Collection[bytes]) -> bytes:
    """Return released bytes with 0x7f where these signatures stand at the begin of a pad, these heads as a body."""
    out = bytearray(data)
    for match in _PAD.finditer(data):
        at = match.end() + 2
        if data[at : at + SIGNATURE_OCTETS] in signatures:
            out[at : at + SIGNATURE_OCTETS] = _FILL * SIGNATURE_OCTETS
    for match in _HEAD.finditer(data):
        if data[match.end() : match.end() + _HEAD_OCTETS] in signatures:
            out[match.end() : match.end() + _HEAD_OCTETS] = _FILL * _HEAD_OCTETS
    return bytes(out)
