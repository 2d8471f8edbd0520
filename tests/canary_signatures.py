"""Signatures, heads and a site's public key among released bytes: a scanner finds numbers in them by chance.

A signature is left out of what is scanned only where it is, byte for byte, what the site's key makes of the released
bytes before it: then it tells nothing that those and the key don't. Made of anything else it is a fault here. A head is
left out only where a record of that kind with such a signature holds it; that it tells nothing is shown elsewhere
(`test_heads_tell_nothing.py`), and that it is the ship's record's (`test_journal_seals.py`, `test_demo.py`). The public
key, which every dive's header names in hexadecimal digits (38ab36af0 in it is 38 degrees 36 minutes to a scanner), is
left out only where all its digits stand.
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
_KEY = re.compile(rb"(?=([0-9a-f]{64}))")
# In their place stands what no position and no moment is, read as a number of any kind: behind the head of a pad zeros
# would make one, 0x1701c5c0, which is a latitude in units of 1e-7 degrees.
_FILL = b"\x7f"


def signatures_of(recordings: Iterable[tuple[str, Path]], signer: Signer) -> frozenset[bytes]:
    """Return what looks like anything in recordings, given with their audiences; every signature must be the site's."""
    found = {key_text(signer)}
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


def key_text(signer: Signer) -> bytes:
    """Return a site's public key as a dive's header names it."""
    return signer.key.hex().encode()


def without_signatures(data: bytes, signatures: Collection[bytes]) -> bytes:
    """Return released bytes with 0x7f where these signatures stand at the begin of a pad, heads as a body, keys whole.

    `signatures`: all of them, as `signatures_of` returns them.
    """
    out = bytearray(data)
    for match in _PAD.finditer(data):
        at = match.end() + 2
        if data[at : at + SIGNATURE_OCTETS] in signatures:
            out[at : at + SIGNATURE_OCTETS] = _FILL * SIGNATURE_OCTETS
    for match in _HEAD.finditer(data):
        if data[match.end() : match.end() + _HEAD_OCTETS] in signatures:
            out[match.end() : match.end() + _HEAD_OCTETS] = _FILL * _HEAD_OCTETS
    for match in _KEY.finditer(data):
        if match[1] in signatures:
            out[match.start() : match.start() + len(match[1])] = _FILL * len(match[1])
    return bytes(out)
