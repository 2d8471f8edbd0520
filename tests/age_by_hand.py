"""The age format worked out step by step on `cryptography`, so that files of one are opened by the other.

Source: the specification C2SP age (age-encryption.org/v1): X25519 and scrypt recipient stanzas, header MAC, payload.
"""

import hmac
from base64 import b64decode, b64encode
from hashlib import sha256

from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

CHUNK = 64 * 1024
_LETTERS = "qpzry9x8gf2tvdw0s3jn54khce6mua7l"  # BIP 173, the alphabet of Bech32
_ZEROS = bytes(12)


def secret_of(line: str) -> bytes:
    """Return the 32 bytes of a line AGE-SECRET-KEY-1... (Bech32, its checksum of six letters left aside)."""
    bits = "".join(f"{_LETTERS.index(letter):05b}" for letter in line.lower().rpartition("1")[2][:-6])
    return int(bits[:256], 2).to_bytes(32, "big")


def opened(data: bytes, *, secret: bytes | None = None, passphrase: str | None = None) -> bytes:
    """Return what a binary age file holds; the first stanza must be the one that the key opens."""
    at = data.index(b"\n--- ") + 5
    header, _, payload = data[: at - 1], None, data[data.index(b"\n", at) + 1 :]
    mac = _decoded(data[at : data.index(b"\n", at)])
    lines = header.split(b"\n")
    assert lines[0] == b"age-encryption.org/v1"
    arguments, body = lines[1].split(b" ")[1:], _decoded(lines[2])
    if secret is not None:
        assert arguments[0] == b"X25519"
        wrap = _wrapping(secret, _decoded(arguments[1]))
    else:
        assert passphrase is not None and arguments[0] == b"scrypt"
        salt, factor = _decoded(arguments[1]), int(arguments[2])
        kdf = Scrypt(salt=b"age-encryption.org/v1/scrypt" + salt, length=32, n=1 << factor, r=8, p=1)
        wrap = kdf.derive(passphrase.encode())
    file_key = ChaCha20Poly1305(wrap).decrypt(_ZEROS, body, None)
    assert hmac.digest(_hkdf(file_key, b"", b"header"), header, sha256) == mac
    return _payload(_hkdf(file_key, payload[:16], b"payload"), payload[16:])


def sealed(data: bytes, public: bytes, file_key: bytes, ephemeral: bytes, nonce: bytes) -> bytes:
    """Return a binary age file for one X25519 recipient, made of the given random bytes (16, 32 and 16)."""
    share = X25519PrivateKey.from_private_bytes(ephemeral).public_key().public_bytes_raw()
    shared = X25519PrivateKey.from_private_bytes(ephemeral).exchange(X25519PublicKey.from_public_bytes(public))
    wrap = _hkdf(shared, share + public, b"age-encryption.org/v1/X25519")
    return _sealed(data, b"X25519 " + _encoded(share), wrap, file_key, nonce)


def sealed_with(data: bytes, passphrase: str, factor: int = 10) -> bytes:
    """Return a binary age file for a passphrase, of fixed random bytes: a low factor, so that it opens at once."""
    kdf = Scrypt(salt=b"age-encryption.org/v1/scrypt" + bytes(16), length=32, n=1 << factor, r=8, p=1)
    stanza = b"scrypt " + _encoded(bytes(16)) + b" %d" % factor
    return _sealed(data, stanza, kdf.derive(passphrase.encode()), bytes(range(16)), bytes(range(16, 32)))


def _sealed(data: bytes, stanza: bytes, wrap: bytes, file_key: bytes, nonce: bytes) -> bytes:
    body = ChaCha20Poly1305(wrap).encrypt(_ZEROS, file_key, None)
    header = b"age-encryption.org/v1\n-> " + stanza + b"\n" + _encoded(body) + b"\n---"
    mac = hmac.digest(_hkdf(file_key, b"", b"header"), header, sha256)
    key = ChaCha20Poly1305(_hkdf(file_key, nonce, b"payload"))
    chunks = [data[at : at + CHUNK] for at in range(0, len(data), CHUNK)] or [b""]
    last = len(chunks) - 1
    locked = [key.encrypt(at.to_bytes(11, "big") + bytes([at == last]), chunk, None) for at, chunk in enumerate(chunks)]
    return header + b" " + _encoded(mac) + b"\n" + nonce + b"".join(locked)


def _wrapping(secret: bytes, share: bytes) -> bytes:
    private = X25519PrivateKey.from_private_bytes(secret)
    shared = private.exchange(X25519PublicKey.from_public_bytes(share))
    return _hkdf(shared, share + private.public_key().public_bytes_raw(), b"age-encryption.org/v1/X25519")


def _payload(key: bytes, data: bytes) -> bytes:
    cipher, size = ChaCha20Poly1305(key), CHUNK + 16
    chunks = [data[at : at + size] for at in range(0, len(data), size)]
    last = len(chunks) - 1
    plain = [
        cipher.decrypt(at.to_bytes(11, "big") + bytes([at == last]), chunk, None) for at, chunk in enumerate(chunks)
    ]
    return b"".join(plain)


def _hkdf(key: bytes, salt: bytes, info: bytes) -> bytes:
    return HKDF(algorithm=SHA256(), length=32, salt=salt, info=info).derive(key)


def _decoded(text: bytes) -> bytes:
    return b64decode(text + b"=" * (-len(text) % 4), validate=True)


def _encoded(data: bytes) -> bytes:
    return b64encode(data).rstrip(b"=")
