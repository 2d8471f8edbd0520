"""The ship's signature on what she released: Ed25519 (RFC 8032), by the library `cryptography`.

Rules: a record is signed for one audience, with the site's own key; the signature lies in the first bytes of the
record's pad, so that a signed record is as long as an unsigned one and any reader can read it. What else is signed (who
may come, who dials) is signed under another word, so that no signature stands for two things. Nothing here is random.
"""

import re

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from relay.core.errors import RecordingError
from relay.core.wire import SIGNATURE_OCTETS, pad_start

KEY_OCTETS = 32
_RECORD = "record"


class Signer:
    """Signs with a site's key. `seed`: 32 secret bytes (RFC 8032 section 5.1.5); ValueError if they aren't 32."""

    __slots__ = ("_private", "key")

    def __init__(self, seed: bytes) -> None:
        if len(seed) != KEY_OCTETS:
            raise ValueError(f"an Ed25519 seed has {KEY_OCTETS} bytes")
        self._private = Ed25519PrivateKey.from_private_bytes(seed)
        self.key = self._private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)

    def sign(self, word: str, data: bytes) -> bytes:
        """Return the signature (64 bytes) of `data` under a word that says what it is."""
        return self._private.sign(_message(word, data))

    def seal(self, audience: str, frame: bytes) -> bytes:
        """Return a frame of `wire.encode` with its signature for an audience; RecordingError if it has no room."""
        start = pad_start(frame)
        if len(frame) - start < SIGNATURE_OCTETS:
            raise RecordingError("not a record that can be signed: its pad is too short")
        signature = self.sign(_RECORD, _of(audience, frame[:start]))
        return frame[:start] + signature + bytes(len(frame) - start - SIGNATURE_OCTETS)


def is_signed(key: bytes, word: str, data: bytes, signature: bytes) -> bool:
    """Whether `signature` is that of `data` under `word`, made with the private half of `key` (32 bytes)."""
    try:
        Ed25519PublicKey.from_public_bytes(key).verify(signature, _message(word, data))
    except (InvalidSignature, ValueError):
        return False
    return True


def is_sealed(key: bytes, audience: str, frame: bytes) -> bool:
    """Whether a frame is just as the holder of `key` signed it for an audience; RecordingError if it is no frame."""
    start = pad_start(frame)
    signature, rest = frame[start : start + SIGNATURE_OCTETS], frame[start + SIGNATURE_OCTETS :]
    return not any(rest) and is_signed(key, _RECORD, _of(audience, frame[:start]), signature)


def parse_key(text: str) -> bytes:
    """Return the 32 bytes of a public key written in hexadecimal; ValueError if it is none."""
    if re.fullmatch(f"[0-9a-f]{{{2 * KEY_OCTETS}}}", text) is None:
        raise ValueError(
            f"a ship's key is {2 * KEY_OCTETS} hexadecimal digits, letters small, as `offing key` prints it"
        )
    return bytes.fromhex(text)


def _of(audience: str, told: bytes) -> bytes:
    return audience.encode() + b"\0" + told


def _message(word: str, data: bytes) -> bytes:
    return b"offing " + word.encode() + b" 1\0" + data
