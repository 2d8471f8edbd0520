"""A body that leaves in slices, each when the one before has been taken: what waits for a slow reader stays small.

Rules: every reader of a content shares its bytes; what is copied for one is a slice at a time. aiohttp would copy the
whole of it for each, and a hundred readers that take nothing would hold a hundred recordings.
"""

import asyncio
import socket
from typing import cast

from aiohttp.abc import AbstractStreamWriter
from aiohttp.payload import Payload

SLICE_OCTETS = 16_384


class Slices(Payload):
    """The bytes of an answer."""

    def __init__(self, content: bytes) -> None:
        super().__init__(content)
        self._content = content
        self._size = len(content)

    def decode(self, encoding: str = "utf-8", errors: str = "strict") -> str:
        """Return the content as text."""
        return self._content.decode(encoding, errors)

    async def write(self, writer: AbstractStreamWriter) -> None:
        """Write slice by slice, as the reader takes them."""
        view = memoryview(self._content)
        for at in range(0, len(view), SLICE_OCTETS):
            await writer.write(view[at : at + SLICE_OCTETS])
            await writer.drain()


def body_of(content: bytes) -> bytes | Slices:
    """Return an answer's body: in slices where it is longer than one."""
    return Slices(content) if len(content) > SLICE_OCTETS else content


def narrow(transport: asyncio.Transport) -> None:
    """Let a transport, and the kernel below it, keep about a slice that isn't on its way yet (tcp(7))."""
    transport.set_write_buffer_limits(high=SLICE_OCTETS)
    raw = cast("socket.socket | None", transport.get_extra_info("socket"))
    if raw is not None:
        raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NOTSENT_LOWAT, SLICE_OCTETS)
