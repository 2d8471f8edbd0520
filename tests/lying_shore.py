"""A shore that lies: a server between the real site and its followers, which alters what passes as its owner could.

It speaks by a general-purpose library (aiohttp), gives every recording the footer that its altered records deserve,
and changes nothing else. `history` and `live` are the lies.
"""

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

from aiohttp import ClientSession, WSMsgType, web

from relay.core.wire import footer, pad_start, read_recording

History = Callable[[list[bytes]], list[bytes]]
Live = Callable[[bytes], list[bytes]]


@dataclass
class LyingShore:
    """What becomes of the records of a recording, and of each live frame. `opened`: the live tails so far."""

    behind: str
    history: History = list
    live: Live = field(default=lambda frame: [frame])
    opened: int = 0
    address: str = ""

    async def answer(self, request: web.Request) -> web.StreamResponse:
        """Pass on one request and its answer."""
        if request.headers.get("Upgrade", "").lower() == "websocket":
            return await self._tail(request)
        async with ClientSession(auto_decompress=True) as session, session.get(self._there(request)) as found:
            body = await found.read()
            headers = {"Content-Type": found.headers.get("Content-Type", "text/plain"), "Cache-Control": "no-store"}
            if request.path.endswith(".recording") and found.status == 200:
                body = self._told(body)
            return web.Response(status=found.status, body=body, headers=headers)

    def _there(self, request: web.Request) -> str:
        return self.behind + request.path_qs.lstrip("/")

    def _told(self, data: bytes) -> bytes:
        recording = read_recording(data)
        frames = self.history([record.data for record in recording.records])
        return b"".join(frames) + (footer(frames) if recording.closed else b"")

    async def _tail(self, request: web.Request) -> web.StreamResponse:
        self.opened += 1
        to = web.WebSocketResponse()
        with suppress(ConnectionError):  # the follower has gone
            await to.prepare(request)
            async with ClientSession() as session, session.ws_connect(self._there(request)) as source:
                async for message in source:
                    if message.type is WSMsgType.BINARY:
                        for frame in self.live(message.data):
                            await to.send_bytes(frame)
            await to.close()
        return to


@asynccontextmanager
async def lying_shore(behind: str, **lies: Any) -> AsyncIterator[LyingShore]:
    """Yield a shore that passes on the site at `behind`."""
    shore = LyingShore(behind, **lies)
    server = web.Application()
    server.router.add_get("/{path:.*}", shore.answer)
    runner = web.AppRunner(server, shutdown_timeout=0.2)
    await runner.setup()
    listening = web.TCPSite(runner, "127.0.0.1", 0)
    await listening.start()
    port = runner.addresses[0][1]
    shore.address = f"http://127.0.0.1:{port}/"
    try:
        yield shore
    finally:
        await runner.cleanup()


def altered(frame: bytes) -> bytes:
    """Return a frame that says of the vehicle's depth what the ship didn't: it reads as well as hers."""
    at = (
        frame.index(b"reporting") + len(b"reporting") + 2
    )  # what was released in `released.dive`: east, no north, depth
    assert at < pad_start(frame)
    return frame[:at] + bytes([frame[at] + 1]) + frame[at + 1 :]
