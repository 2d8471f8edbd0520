"""Which open connections are there by virtue of which invitation, so that they end with it.

Rules: a connection that was given anything on an invitation stands here until it is lost, and is told once when that
invitation ends; at most `most` stand here for one invitation. Who came without one is never here and costs nothing.
"""

import asyncio
import socket
import struct
from typing import Protocol, cast


class Attending(Protocol):
    """One connection of a guest."""

    def uninvited(self) -> None:
        """End the connection: what let it in has ended."""
        ...


class Attendance:
    """The connections of guests. `most`: for one invitation at a time."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._here: dict[str, set[Attending]] = {}
        self._by: dict[Attending, set[str]] = {}

    def __len__(self) -> int:
        return len(self._by)

    def __contains__(self, connection: object) -> bool:
        return connection in self._by

    def attend(self, guest_id: str, connection: Attending) -> bool:
        """Note that a connection is let in by an invitation; False, and nothing noted, where that has too many."""
        here = self._here.get(guest_id, set())
        if connection not in here and len(here) >= self._most:
            return False
        here.add(connection)
        self._here[guest_id] = here
        self._by.setdefault(connection, set()).add(guest_id)
        return True

    def depart(self, connection: Attending) -> None:
        """Forget a connection that is lost, if it stands here."""
        for guest_id in self._by.pop(connection, ()):
            here = self._here[guest_id]
            here.discard(connection)
            if not here:
                del self._here[guest_id]

    def dismiss(self, guest_id: str) -> None:
        """End every connection of an invitation."""
        for connection in list(self._here.get(guest_id, ())):
            connection.uninvited()


def keep_little(line: asyncio.Transport, octets: int) -> None:
    """Let the kernel hold some `octets` for a peer at most (socket(7), SO_SNDBUF: it takes that twice)."""
    if (raw := _socket(line)) is not None:
        raw.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, octets)


def throw_away(line: asyncio.Transport) -> None:
    """Let what was written and not yet sent go with the connection: closing resets it (socket(7), SO_LINGER)."""
    if (raw := _socket(line)) is not None:
        raw.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))


def _socket(line: asyncio.Transport) -> socket.socket | None:
    return cast("socket.socket | None", line.get_extra_info("socket"))
