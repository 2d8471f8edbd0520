"""Guests for tests of a running site: their tokens, the ship's listing, and a wall clock that is set."""

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from typing import Any

from peers import FAST, running
from relay.core.guests import Guest, Listing, digest_of, write_listing
from relay.core.seal import Signer
from relay.shell.site.site import Site

SIGNER = Signer(bytes(range(32)))
ENDS_S = 1_798_761_600  # the first second of 2027, UTC: `date -u -d 2027-01-01 +%s`
ADA = Guest("0000ada0", "family", digest_of("A" * 43), ENDS_S)
BOB = Guest("0000b0b0", "family", digest_of("B" * 43))
EVE = Guest("0000e0e0", "funders", digest_of("E" * 43))
TOKENS = {guest: f"{guest.id}.{letter * 43}" for guest, letter in ((ADA, "A"), (BOB, "B"), (EVE, "E"))}
WRONG = f"{ADA.id}.{'W' * 43}"
EVERYBODY = (ADA, BOB, EVE)


class WallClock:
    """A wall clock that stands, until it is set."""

    def __init__(self) -> None:
        self.at_s = ENDS_S - 100.0

    def __call__(self) -> float:
        return self.at_s


def invite(site: Site, number: int = 1, guests: Sequence[Guest] = EVERYBODY) -> None:
    """Let a site know who is invited, as the ship tells it."""
    site.guests.trust(SIGNER.key)
    assert site.guests.listing(write_listing(Listing(number, {guest.id: guest for guest in guests}), SIGNER))


@asynccontextmanager
async def hosting(*audiences: str, **options: Any) -> AsyncIterator[Site]:
    """Run a site with an open audience and two invited ones, whose guests it knows."""
    given = {"limits": FAST, "invited": ("family", "funders"), "wall_s": WallClock(), **options}
    async with running(*(audiences or ("public",)), **given) as site:
        invite(site)
        yield site


def bearer(guest: Guest) -> str:
    """Return the header by which a guest's page asks."""
    return f"Authorization: Bearer {TOKENS[guest]}"


def protocols(token: str) -> str:
    """Return the header by which a guest's page opens the socket."""
    return f"Sec-WebSocket-Protocol: offing, guest.{token}"
