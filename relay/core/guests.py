"""Who is invited: guests, their tokens, and the listing by which whoever serves an invited audience knows them.

Rules: a token is ID.SECRET; of the secret only its SHA-256 is kept or sent, so that neither a copy of the guest book
nor one of a listing lets anybody in. A listing holds ids, audiences, digests and ends, and no name; the ship signs
it, and its numbers grow, so that whoever passes it on can neither add a guest nor bring one back. Judging a token
takes the same work whether its id is known or not, and digests are compared in constant time. What the wall clock
says is passed in.
"""

import hmac
import re
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

import msgpack

from relay.core.errors import InvitationError
from relay.core.guest_terms import is_id
from relay.core.seal import Signer, is_signed
from relay.core.wire import SIGNATURE_OCTETS

GUESTS_LIMIT = 1_000
LISTING_LIMIT = 128 * 1024
TOKEN_LIMIT = 64
SECRET_OCTETS = 32
ID_OCTETS = 4
_FORMAT = 1
_WORD = "guests"
_TOKEN = re.compile(r"([0-9a-f]{8})\.([A-Za-z0-9_-]{43})")  # 256 bits in the alphabet of RFC 4648 section 5
_AUDIENCE = re.compile(r"[a-z][a-z0-9-]{0,39}")
DIGEST_OCTETS = sha256().digest_size
_NOBODY = bytes(DIGEST_OCTETS)
_LATEST_S = 1 << 40


@dataclass(frozen=True, slots=True)
class Guest:
    """One who has a link to an audience. `until_s`: Unix seconds, the first that isn't theirs any more."""

    id: str
    audience: str
    digest: bytes
    until_s: int | None = None

    def is_over(self, wall_s: float) -> bool:
        """Whether the invitation has ended by the clock of whoever asks."""
        return self.until_s is not None and wall_s >= self.until_s


@dataclass(frozen=True, slots=True)
class Listing:
    """Everybody who is invited, by id; a later listing has a higher number."""

    number: int
    guests: Mapping[str, Guest]


def digest_of(secret: str) -> bytes:
    """Return what is kept of a secret: SHA-256 of its characters."""
    return sha256(secret.encode("utf-8", "surrogateescape")).digest()


def find_guest(guests: Mapping[str, Guest], token: str, wall_s: float) -> Guest | None:
    """Return whose token this is, None where it is nobody's, or of somebody whose invitation is over."""
    form = _TOKEN.fullmatch(token[: TOKEN_LIMIT + 1])
    guest_id, secret = (form[1], form[2]) if form is not None else ("", token[:TOKEN_LIMIT])
    guest = guests.get(guest_id)
    fits = hmac.compare_digest(digest_of(secret), _NOBODY if guest is None else guest.digest)
    return guest if fits and guest is not None and not guest.is_over(wall_s) else None


def write_listing(listing: Listing, signer: Signer) -> bytes:
    """Return a listing as it is sent: the ship's signature, then the MessagePack that it is of."""
    rows = [[guest.id, guest.audience, guest.digest, guest.until_s] for guest in listing.guests.values()]
    told: bytes = msgpack.packb([_FORMAT, listing.number, rows])
    return signer.sign(_WORD, told) + told


def read_listing(key: bytes, data: bytes) -> Listing:
    """Return the listing that the holder of `key` signed; InvitationError if it isn't one."""
    signature, told = data[:SIGNATURE_OCTETS], data[SIGNATURE_OCTETS:]
    if len(data) > LISTING_LIMIT or not is_signed(key, _WORD, told, signature):
        raise InvitationError("the list of guests is not the ship's: its signature doesn't fit her key")
    try:
        format_, number, rows = msgpack.unpackb(told)
        guests = {guest.id: guest for guest in (_guest(*row) for row in rows)}
        if format_ != _FORMAT or len(guests) != len(rows) or len(rows) > GUESTS_LIMIT:
            raise ValueError
        return Listing(_number(number), guests)
    except (ValueError, TypeError, msgpack.UnpackException) as error:
        why = "the list of guests has a form that this Offing doesn't know: run the same on both sides"
        raise InvitationError(why) from error


def _number(number: Any) -> int:
    if type(number) is not int or not 0 <= number < 1 << 63:
        raise ValueError
    return number


def _guest(guest_id: Any, audience: Any, digest: Any, until_s: Any) -> Guest:
    right = is_id(guest_id) and isinstance(audience, str) and _AUDIENCE.fullmatch(audience) is not None
    right = right and isinstance(digest, bytes) and len(digest) == DIGEST_OCTETS
    if not right or not (until_s is None or (type(until_s) is int and 0 <= until_s < _LATEST_S)):
        raise ValueError("not a guest")
    return Guest(guest_id, audience, digest, until_s)
