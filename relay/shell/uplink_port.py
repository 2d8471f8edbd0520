"""The shore's end of the link: one ship, proved by her key, may say what was released; nobody else may say anything."""

from typing import Protocol

from relay.core.uplink_talk import Held


class Receives(Protocol):
    """Where what a ship says goes ashore."""

    @property
    def key(self) -> bytes:
        """The public key of the one ship that may speak here (32 bytes)."""
        ...

    def held(self) -> dict[str, Held]:
        """Return what is held, durable and without a gap, of each audience taken here, in a fixed order.

        Of an audience with a damaged dive: what comes before that dive. Frames that are held beyond it come again.
        """
        ...

    async def take(self, audience: str, frames: list[bytes]) -> None:
        """Verify frames, make them durable, publish them; only then return.

        Never called twice at once, nor cancelled. NoRoomError when the disk is full, another OffingError when a frame
        is refused: nothing after it is taken, and the link ends.
        """
        ...

    def guests(self, listing: bytes) -> None:
        """Take the newest list of guests; an OffingError ends the link."""
        ...

    def seen(self) -> dict[str, int]:
        """Return how many follow each audience now."""
        ...
