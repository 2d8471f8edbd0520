"""Signatures among released bytes: they look like anything, so a scanner finds names and numbers in them by chance.

One is left out of what is scanned only where it is, byte for byte, what the site's key makes of the released bytes
before it: then it tells nothing that those and the key don't. Made of anything else it is a fault here.
"""

import re
from collections.abc import Collection, Iterable
from pathlib import Path

from relay.core.seal import Signer
from relay.core.wire import SIGNATURE_OCTETS, is_footer, objects, pad_start

_PAD = re.compile(rb"\xc5(?=..)", re.DOTALL)  # a bin whose length takes two bytes (MessagePack)


def signatures_of(recordings: Iterable[tuple[str, Path]], signer: Signer) -> frozenset[bytes]:
    """Return the signatures in recordings, each given with its audience; every one must be the site's."""
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
    return frozenset(found)


def without_signatures(data: bytes, signatures: Collection[bytes]) -> bytes:
    """Return released bytes with zeros where these signatures stand at the begin of a pad."""
    out = bytearray(data)
    for match in _PAD.finditer(data):
        at = match.end() + 2
        if data[at : at + SIGNATURE_OCTETS] in signatures:
            out[at : at + SIGNATURE_OCTETS] = bytes(SIGNATURE_OCTETS)
    return bytes(out)
