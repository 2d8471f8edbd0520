"""A carrier of the link between ship and shore in the test's own process, that can act at any octet of it."""

import asyncio
import contextlib
from collections.abc import Callable


class Link:
    """Carries the link between ship and shore, until it is to do something at an octet of it."""

    def __init__(self, port: int, to: int) -> None:
        self._port, self._to = port, to
        self._at: tuple[str, int, Callable[[], None]] | None = None
        self._server: asyncio.Server | None = None
        self._carrying: set[asyncio.Task[None]] = set()
        self.octets = 0

    async def open(self) -> None:
        """Wait for the ship."""
        self._server = await asyncio.start_server(self._accept, "127.0.0.1", self._port)

    async def close(self) -> None:
        """End it, and what it carries."""
        if self._server is not None:
            self._server.close()
        for task in self._carrying:
            task.cancel()
        await asyncio.gather(*self._carrying, return_exceptions=True)

    def at(self, way: str, octets: int, act: Callable[[], None]) -> None:
        """Carry so many octets more of `way` ("out": from the ship), then act, and carry no further."""
        self._at = way, octets, act

    def cut(self) -> None:
        """End what is carried now, so that the ship dials again."""
        for task in self._carrying:
            task.cancel()

    def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.ensure_future(self._carry(reader, writer))
        self._carrying.add(task)
        task.add_done_callback(self._carrying.discard)

    async def _carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.closing(writer), contextlib.suppress(OSError):
            there, back = await asyncio.open_connection("127.0.0.1", self._to)
            with contextlib.closing(back):
                ways = [
                    asyncio.ensure_future(self._pump(*way)) for way in (("out", reader, back), ("in", there, writer))
                ]
                try:
                    await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
                finally:
                    for way in ways:
                        way.cancel()
                    await asyncio.gather(*ways, return_exceptions=True)

    async def _pump(self, way: str, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(65_536):
            self.octets += len(data)
            if self._at is not None and self._at[0] == way:
                _, octets, act = self._at
                if len(data) >= octets:
                    writer.write(data[:octets])
                    self._at = None
                    act()
                    return
                self._at = way, octets - len(data), act
            writer.write(data)
            await writer.drain()
