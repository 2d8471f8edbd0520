"""What a shore holds of one audience: how far, and a digest, so that the ship can tell whether it is what she told.

Rules: pure; made of released frames alone. SHA-256 (FIPS 180-4) of the newest dive's frames joined.
"""

from dataclasses import dataclass
from hashlib import sha256

from relay.core.history import History


@dataclass(frozen=True, slots=True)
class Held:
    """The newest record held: (0, -1) is nothing. `programme`: -1 for none. `digest`: of the dive's frames so far."""

    dive: int = 0
    seq: int = -1
    programme: int = -1
    digest: bytes = sha256(b"").digest()


def held_of(history: History) -> Held:
    """Return what a history comes to."""
    programme = -1 if history.programme is None else history.programme.seq
    if not history.dives:
        return Held(programme=programme)
    newest = history.dives[-1]
    return Held(newest.number, len(newest.frames) - 1, programme, newest.digest())
