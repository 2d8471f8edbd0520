"""A stream and its readers, on the real server: nothing lost, doubled, out of order or unsigned, whatever fails."""

from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import nats
import pytest

from peers import until
from relay.core.seal import Signer
from relay.core.stream_order import Verdict
from released import dive, programme
from streams import SHIP, Relay, StreamServer, at_work, reader_of, release, sealed, writer_of


@pytest.fixture
def server(tmp_path: Path) -> Iterator[StreamServer]:
    """A server of streams, running."""
    server = StreamServer(tmp_path)
    server.start()
    yield server
    server.end()


async def test_readers_hold_what_the_first_relay_published(server: StreamServer) -> None:
    """Every record and the programme of each audience, once and in order, for who was there and who comes later."""
    first, early, late = Relay.of("public", "funders"), Relay.of("public", "funders"), Relay.of()
    out = writer_of(server.stream(), first)
    sent = release(first, out, sealed([*dive(1, 40), *dive(2, 3), *dive(5, 30, closed=False)]))
    funders = release(first, out, sealed(dive(1, 7, audience="funders")))
    async with at_work(out.run(), reader_of(server.stream(), early).run()):
        told = release(first, out, sealed([programme(0, "soon"), programme(1, "sooner")]))
        await until(lambda: early.held() == sent and early.held("funders") == funders)
        async with at_work(reader_of(server.stream(), late).run()):
            sent += release(first, out, sealed(dive(5, 90)[31:]))
            await until(lambda: late.held() == sent == early.held())
            await until(lambda: late.programme() == told[-1] == early.programme())
