"""A follower behind a wire that fails: it checks each record against the ship's key and comes back for the next.

It shares with the relay the check of a signature alone (`is_sealed`, which `test_seal.py` holds to RFC 8032 and to
another implementation); the libraries `websockets` and `aiohttp` talk, `msgpack` reads.
"""

import asyncio
import ssl
from collections.abc import Callable

import aiohttp
import msgpack
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed, WebSocketException

from left_behind import boot_us
from relay.core.errors import OffingError
from relay.core.seal import is_sealed
from scale_followers import AT_ONCE, HISTORY_FIRST, Follower

SILENT_S = 2.0
TORN = (ValueError, KeyError, TypeError, IndexError, msgpack.exceptions.UnpackException)


class AlteredError(ConnectionError):
    """What came isn't what the ship signed, or doesn't follow, on a wire that alters what passes."""


class WireFollower(Follower):
    """Follows at one address. `altered`: how often its wire has altered something; `tls`: whom it trusts.

    `came_us`: when each record came (CLOCK_BOOTTIME). A record that isn't the ship's, or out of order, is the wire's
    fault if that altered anything meanwhile; else it is told in `faults`.
    """

    def __init__(
        self,
        address: str,
        key: bytes,
        tls: ssl.SSLContext | None = None,
        altered: Callable[[], int] = lambda: 0,
        audience: str = "public",
    ) -> None:
        super().__init__([address], 0, audience)
        self._key, self._tls, self._altered = key, tls, altered
        self._altered_before = 0
        self.came_us: list[int] = []

    async def follow(self) -> None:
        """Follow until cancelled."""
        address = self._addresses[0]
        while True:
            self._altered_before = self._altered()
            try:
                await self._visit(address)
            except (*AT_ONCE, WebSocketException) as error:
                self.seen[type(error).__name__] += 1
            except TORN as error:
                self._blame(f"{type(error).__name__}: {error}")
            self.seen["came again"] += 1
            await asyncio.sleep(0)

    def _blame(self, words: str) -> None:
        """Note what is wrong, unless the wire did it."""
        if self._altered() == self._altered_before:
            self.faults.append(words)
        else:
            self.seen["altered"] += 1

    async def _visit(self, address: str) -> bool:
        query = f"audience={self._audience}&dive={self.dive}&after={self.seq}"
        secured = "" if self._tls is None else "s"
        async with connect(
            f"ws{secured}://{address}/live?{query}",
            ssl=self._tls,
            compression=None,
            ping_interval=None,
            open_timeout=SILENT_S,
            close_timeout=0.2,
            proxy=None,
        ) as line:
            try:
                while True:
                    async with asyncio.timeout(SILENT_S):
                        message = await line.recv(decode=False)
                    self._take(bytes(message), "live")
            except ConnectionClosed as error:
                if error.rcvd is None or error.rcvd.code != HISTORY_FIRST:
                    raise
            finally:
                line.transport.abort()
        await self._fetch(address)
        return True

    async def _fetch(self, address: str) -> None:
        self.seen["history"] += 1
        scheme = "http" if self._tls is None else "https"
        of_audience = f"{scheme}://{address}/recordings/{self._audience}"
        options = {"raise_for_status": True, "timeout": aiohttp.ClientTimeout(total=5 * SILENT_S)}
        async with aiohttp.ClientSession(**options) as session:  # type: ignore[arg-type]
            async with session.get(f"{of_audience}/dives.json", ssl=self._tls or True) as answer:
                listed = (await answer.json())["dives"]
            for number in [dive["dive"] for dive in listed if dive["dive"] >= self.dive]:
                async with session.get(f"{of_audience}/dive-{number:03d}.recording", ssl=self._tls or True) as answer:
                    self._read(await answer.read())

    def _take(self, data: bytes, way: str) -> None:
        if not self._is_signed(data):
            raise ValueError(f"a record that the ship didn't sign ({way})")
        before = len(self.faults)
        held = self.dive, self.seq, self._ended
        super()._take(data, way)
        if len(self.faults) > before and self._altered() != self._altered_before:
            del self.faults[before:], self.held[-1:]
            self.dive, self.seq, self._ended = held
            raise AlteredError("a record that doesn't follow")
        self.came_us.append(boot_us())

    def _is_signed(self, data: bytes) -> bool:
        try:
            return is_sealed(self._key, self._audience, data)
        except OffingError:
            return False
