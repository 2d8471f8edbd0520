"""Ed25519 as RFC 8032 writes it down (section 5.1), in whole numbers alone: an oracle for tests, far too slow for more.

It shares nothing with the library that the relay signs with; the RFC's own test vectors (section 7.1) hold it to the
book, and with them the library.
"""

from hashlib import sha512

P = 2**255 - 19
L = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, -1, P) % P
Point = tuple[int, int]


def _x_of(y: int, odd: int) -> int:
    """Return the x of a point (section 5.1.3); ValueError if there is none."""
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    if (x * x - square) % P:
        raise ValueError("not on the curve")
    return P - x if x % 2 != odd else x


_Y = 4 * pow(5, -1, P) % P
BASE: Point = (_x_of(_Y, 0), _Y)


def _add(one: Point, other: Point) -> Point:
    """Add two points: the complete law of section 5.1.4, in affine coordinates."""
    (x1, y1), (x2, y2) = one, other
    both = D * x1 * x2 * y1 * y2
    return (
        (x1 * y2 + x2 * y1) * pow(1 + both, -1, P) % P,
        (y1 * y2 + x1 * x2) * pow(1 - both, -1, P) % P,
    )


def _times(count: int, point: Point) -> Point:
    out = (0, 1)
    while count:
        if count & 1:
            out = _add(out, point)
        point, count = _add(point, point), count >> 1
    return out


def _packed(point: Point) -> bytes:
    return (point[1] | (point[0] & 1) << 255).to_bytes(32, "little")


def _number(*parts: bytes) -> int:
    return int.from_bytes(sha512(b"".join(parts)).digest(), "little")


def _halves(seed: bytes) -> tuple[int, bytes]:
    digest = sha512(seed).digest()
    scalar = int.from_bytes(digest[:32], "little")
    return (scalar & ((1 << 254) - 8)) | (1 << 254), digest[32:]


def public_key(seed: bytes) -> bytes:
    """Return the public key of a seed (section 5.1.5)."""
    return _packed(_times(_halves(seed)[0], BASE))


def sign(seed: bytes, message: bytes) -> bytes:
    """Return the signature of a message (section 5.1.6)."""
    scalar, prefix = _halves(seed)
    key = _packed(_times(scalar, BASE))
    nonce = _number(prefix, message) % L
    point = _packed(_times(nonce, BASE))
    answer = (nonce + _number(point, key, message) * scalar) % L
    return point + answer.to_bytes(32, "little")
