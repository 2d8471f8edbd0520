"""A follower of several relays, as a page is one: it comes back elsewhere after the record it holds.

It shares no code with the relay: the libraries `websockets` and `aiohttp` talk, `msgpack` reads (a record begins with
dive and number; kind 3 ends a dive: `relay/asyncapi.yaml`).
"""

import asyncio
from collections import Counter
from io import BytesIO

import aiohttp
import msgpack
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, InvalidHandshake

HISTORY_FIRST = 4000
ENDS = 3
AT_ONCE = (OSError, ConnectionClosed, InvalidHandshake, TimeoutError, aiohttp.ClientError, EOFError)


class Follower:
    """One follower. `addresses`: HOST:PORT of the relays; it begins with number `first` of them."""

    def __init__(self, addresses: list[str], first: int, audience: str = "public") -> None:
        self._addresses, self._home, self._next, self._audience = addresses, first, first, audience
        self._line: ClientConnection | None = None
        self.at: str | None = None
        self._goes_home = False
        self.dive, self.seq, self._ended = 1, -1, False
        self.held: list[bytes] = []
        self.faults: list[str] = []
        self.seen: Counter[str] = Counter()

    @property
    def is_home(self) -> bool:
        """Whether it follows at the relay it began with."""
        return self.at == self._addresses[self._home % len(self._addresses)]

    async def go_home(self) -> None:
        """Leave the relay it follows at for the one it began with."""
        self._goes_home = not self.is_home
        if self._goes_home and self._line is not None:
            await self._line.close()

    async def follow(self) -> None:
        """Follow until cancelled, at whichever relay there is."""
        while True:
            address = self._addresses[self._next % len(self._addresses)]
            try:
                if await self._visit(address):
                    continue
            except AT_ONCE as error:
                self.seen[type(error).__name__] += 1
            self._next = self._home if self._goes_home else self._next + 1
            self.seen["came again"] += 1
            await asyncio.sleep(0)

    async def _visit(self, address: str) -> bool:
        """Follow at a relay until it or the line ends; return whether to come back to it, with the history read."""
        query = f"audience={self._audience}&dive={self.dive}&after={self.seq}"
        options = {"compression": None, "ping_interval": None, "open_timeout": 5, "close_timeout": 1, "proxy": None}
        async with connect(f"ws://{address}/live?{query}", **options) as line:
            self._line, self.at = line, address
            try:
                if self._goes_home and not self.is_home:
                    return False
                self._goes_home = False
                async for message in line:
                    assert isinstance(message, bytes)
                    self._take(message, "live")
            except ConnectionClosed as error:
                if error.rcvd is None or error.rcvd.code != HISTORY_FIRST:
                    raise
                await self._fetch(address)
                return True
            finally:
                self._line = self.at = None
        return False

    async def _fetch(self, address: str) -> None:
        """Take what follows from the recordings."""
        self.seen["history"] += 1
        of_audience = f"http://{address}/recordings/{self._audience}"
        async with aiohttp.ClientSession(raise_for_status=True) as session:
            async with session.get(f"{of_audience}/dives.json") as answer:
                listed = (await answer.json())["dives"]
            for number in [dive["dive"] for dive in listed if dive["dive"] >= self.dive]:
                async with session.get(f"{of_audience}/dive-{number:03d}.recording") as answer:
                    self._read(await answer.read())

    def _read(self, recording: bytes) -> None:
        unpacker = msgpack.Unpacker(BytesIO(recording), max_buffer_size=len(recording) + 1)
        begin = 0
        for value in unpacker:
            end = unpacker.tell()
            if len(value) == 6 and (value[0], value[1]) > (self.dive, self.seq):
                self._take(recording[begin:end], "history")
            begin = end

    def _take(self, data: bytes, way: str) -> None:
        """Hold a record; one that doesn't follow the last is a fault, and is told."""
        dive, seq, kind = msgpack.unpackb(data)[:3]
        follows = (self.dive, self.seq + 1) == (dive, seq) and not self._ended
        begins = (self.dive + 1, 0) == (dive, seq) and self._ended
        if not follows and not begins:
            self.faults.append(f"{dive}.{seq} ({way}) after {self.dive}.{self.seq}")
        self.dive, self.seq, self._ended = dive, seq, kind == ENDS
        self.held.append(data)
