"""The relay's own websocket servers as real processes on the loopback: for followers, for stations, for the ship.

The desk has none; it is here to show that nothing turns into one there.
"""

import ssl
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from relay.core.seal import Signer
from relay.core.uplink_talk import WORD, Ends, proof_of, read_challenge, read_standing, write_proof
from ship_process import dialled, free_port, ship_process
from shore_process import ShoreProcess, prepare_shore
from shores import pem_files
from wire_frames import BINARY, frame
from wire_line import Line, Server
from wire_verdict import Role

SEED = bytes(range(32))
SIGNER = Signer(SEED)
MESSAGE_OCTETS = 65_536  # of a station's, told in README.md


@dataclass(frozen=True)
class Tested:
    """A server with its name and its role; `socket`: False where nothing may become a websocket."""

    name: str
    server: Server
    role: Role
    socket: bool = True


def followers(name: str, port: int, tls: bool = False) -> Tested:
    """Return the public port: who follows has nothing to say, so that any message is refused with 1008."""
    return Tested(name, Server(port, "/live?audience=public", tls), Role(takes=False, refusing=(1008,)))


def stations(name: str, port: int) -> Tested:
    """Return a feed's port: stations speak here, but no page in a browser."""
    role = Role(takes=True, most=MESSAGE_OCTETS, lenient=True, refuses_pages=True)
    return Tested(name, Server(port, "/", at_once=4), role)


def for_the_ship(name: str, port: int, proved: bool) -> Tested:
    """Return the uplink's port, before the ship's proof or after it: nothing of these cases is what she says."""
    role = Role(takes=False, refusing=(Ends.UNPROVED, Ends.TALK, 1009), cuts=True, judges_late=True, lenient=True)
    return Tested(name, Server(port, "/", True, 1 if proved else 6, _proves if proved else _challenged), role)


def desk(name: str, port: int) -> Tested:
    """Return the desk, which has no websocket."""
    return Tested(name, Server(port, "/stream"), Role(takes=False), socket=False)


async def _challenged(line: Line) -> None:
    read_challenge(await line.message())


async def _proves(line: Line) -> None:
    nonce = read_challenge(await line.message())
    certificate = ssl.PEM_cert_to_DER_cert(pem_files()[0].decode())
    signature = SIGNER.sign(WORD, proof_of(nonce, certificate))
    await line.send(frame(BINARY, write_proof(SIGNER.key, signature)))
    read_standing(await line.message())


@asynccontextmanager
async def aboard(folder: Path) -> AsyncIterator[list[Tested]]:
    """Yield what a running `offing ship` has: followers, stations that dial it, and the desk."""
    feed, at = free_port(), free_port()
    source = f"ws-listen://127.0.0.1:{feed}"
    more = f'[desk]\nlisten = "127.0.0.1:{at}"\n'
    given = {"feed_format": "station-json", "source": source, "delay": "10 s", "quiet": "60 s", "more": more}
    async with ship_process(folder, **given) as ship:
        await _listens(feed)
        await _listens(at)
        yield [
            followers("followers, aboard", ship.port),
            stations("stations, aboard", feed),
            desk("desk, aboard", at),
        ]


@asynccontextmanager
async def ashore(folder: Path) -> AsyncIterator[tuple[ShoreProcess, list[Tested]]]:
    """Yield what a running `offing shore` has: followers over TLS, and the port that the ship dials."""
    shore = prepare_shore(folder, SEED)
    await shore.start()
    try:
        yield (
            shore,
            [
                followers("followers, ashore (TLS)", shore.site, tls=True),
                for_the_ship("uplink, before the proof (TLS)", shore.uplink, proved=False),
                for_the_ship("uplink, proved (TLS)", shore.uplink, proved=True),
            ],
        )
    finally:
        await shore.stop()


async def _listens(port: int) -> None:
    """Return once somebody listens at a port."""
    _, writer = await dialled(port)
    writer.close()


@asynccontextmanager
async def all_servers(folder: Path) -> AsyncIterator[list[Tested]]:
    """Yield every server of a ship and a shore."""
    for name in ("ship", "shore"):
        (folder / name).mkdir()
    async with AsyncExitStack() as stack:
        found = await stack.enter_async_context(aboard(folder / "ship"))
        _, more = await stack.enter_async_context(ashore(folder / "shore"))
        yield [*found, *more]
