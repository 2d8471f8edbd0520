"""What the first process of a site and its workers say to each other, over a pair of Unix sockets: MessagePack.

Rules: both ends are the same program on one machine, and neither reads faster than it does something with what it
read, so nothing piles up beyond the socket's own buffers. A message is an array that begins with its word; what isn't
one ends the talk.
"""

import asyncio
import socket
from collections.abc import AsyncIterator
from typing import Any

import msgpack

READ_OCTETS = 1 << 16
LONGEST = 1 << 22

# from the first process
SETTING, FRAME, LISTING, FULL, ELSEWHERE, LEAVE = "setting", "frame", "listing", "full", "elsewhere", "leave"
# from a worker
SERVING, FIGURES, FAILED = "serving", "figures", "failed"


class Talk:
    """One end of a pair of sockets."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader, self._writer = reader, writer

    @classmethod
    async def over(cls, end: socket.socket) -> "Talk":
        """Take one end of a pair."""
        return cls(*await asyncio.open_unix_connection(sock=end))

    async def say(self, *message: object) -> None:
        """Send a message; returns once there is room for the next. OSError: nobody listens any more."""
        if self._writer.is_closing():  # written to, uvloop's transport raises no OSError once it is lost
            raise ConnectionResetError("nobody listens any more")
        self._writer.write(msgpack.packb(message))
        await self._writer.drain()

    async def heard(self) -> AsyncIterator[list[Any]]:
        """Yield what the other end says, until it ends; ValueError for what is no message."""
        unpacker = msgpack.Unpacker(max_buffer_size=LONGEST)
        while data := await self._reader.read(READ_OCTETS):
            unpacker.feed(data)
            for message in unpacker:
                if not isinstance(message, list) or not message or not isinstance(message[0], str):
                    raise ValueError("no message of a worker's talk")
                yield message

    def close(self) -> None:
        """End the talk."""
        self._writer.close()
