"""A line to a stream's server (a real one) ends when it is told to, once, whatever happens to it in that moment."""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Iterator
from typing import Any

import pytest
from nats.aio.client import Client
from nats.js import JetStreamContext

from peers import PATIENCE_S, on_both_loops
from relay.shell.shore import stream_line
from relay.shell.shore.shore_stream import StreamJob
from relay.shell.shore.stream_line import Line, Stream
from streams import StreamServer

ENDS_S = 5.0  # in which nothing has to come from a server
TURNS = 12  # of the loop, after which a line that breaks has been given up


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[StreamServer]:
    """A server of streams, running."""
    server = StreamServer(tmp_path_factory.mktemp("server"))
    server.start()
    yield server
    server.end()


class Broken:
    """A line with a session that waits for ever, and the ways in which it breaks."""

    def __init__(self, server: StreamServer, monkeypatch: pytest.MonkeyPatch) -> None:
        self.begun = asyncio.Event()
        self.line = Line(server.stream(), asyncio.get_running_loop().time)
        self._session: asyncio.Task[Any] | None = None
        self._closed: Callable[[], Awaitable[None]] | None = None
        self._clients: list[Client] = []
        self._dial = stream_line._dial
        monkeypatch.setattr(stream_line, "_dial", self._dialled)

    async def _dialled(self, stream: Stream, closed: Callable[[], Awaitable[None]]) -> Client:
        self._closed = closed
        self._clients.append(await self._dial(stream, closed))
        return self._clients[-1]

    async def keep(self) -> None:
        """Keep the line up."""
        await self.line.keep(self._wait)

    async def _wait(self, _jetstream: JetStreamContext, _client: Client) -> None:
        self._session = asyncio.current_task()
        self.begun.set()
        await asyncio.Event().wait()

    async def break_by(self, how: str) -> None:
        """Let the line break as the library tells it: it says so, or cancels what waits on the line."""
        assert self._closed is not None and self._session is not None
        if how == "closed":
            await self._closed()
        else:
            self._session.cancel()

    def left_open(self) -> list[Any]:
        """Return the writers of lines that nobody has closed."""
        writers = [client._transport._io_writer for client in self._clients if client._transport is not None]
        return [writer for writer in writers if not writer.is_closing()]

    async def end(self, keeping: "asyncio.Future[None]") -> None:
        """End what keeps the line up, and every line, whatever became of them."""
        while not keeping.done():
            keeping.cancel()
            await asyncio.wait({keeping}, timeout=0.1)
        for writer in self.left_open():
            writer.close()


@pytest.mark.parametrize("turns", range(TURNS))
@pytest.mark.parametrize("how", ["closed", "cancelled"])
@on_both_loops
async def test_line_that_breaks_as_it_is_told_to_end_ends(
    how: str, turns: int, server: StreamServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told once, in whichever turn of the loop behind the break, it dials no new one and leaves none open."""
    async with asyncio.timeout(PATIENCE_S):
        broken = Broken(server, monkeypatch)
        keeping = asyncio.ensure_future(broken.keep())
        try:
            await broken.begun.wait()
            await broken.break_by(how)
            for _ in range(turns):
                await asyncio.sleep(0)
            keeping.cancel()
            await asyncio.wait({keeping}, timeout=ENDS_S)
            assert (keeping.cancelled(), broken.left_open()) == (True, [])
        finally:
            await broken.end(keeping)


def passing_over_once(does: Callable[..., Awaitable[Any]], reached: asyncio.Event) -> Callable[..., Awaitable[Any]]:
    """Return what does the same, but waits for a cancellation and swallows it first, the first time."""

    async def pass_over(*given: Any) -> Any:
        if not reached.is_set():
            reached.set()
            with contextlib.suppress(asyncio.CancelledError):
                await asyncio.Event().wait()
        return await does(*given)

    return pass_over


@pytest.mark.parametrize("where", ["dialling", "closing", "its session"])
@on_both_loops
async def test_line_ends_though_the_library_swallows_what_it_is_told(
    where: str, server: StreamServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As `asyncio.wait_for` does where what it waits for comes in the same turn: the line ends all the same."""
    async with asyncio.timeout(PATIENCE_S):
        reached, broken = asyncio.Event(), Broken(server, monkeypatch)
        if where == "dialling":
            monkeypatch.setattr(broken, "_dial", passing_over_once(broken._dial, reached))
        elif where == "closing":
            monkeypatch.setattr(stream_line, "_close", passing_over_once(stream_line._close, reached))
        else:
            monkeypatch.setattr(broken, "_wait", passing_over_once(broken._wait, reached))
        keeping = asyncio.ensure_future(broken.keep())
        try:
            if where == "closing":
                await broken.begun.wait()
                await broken.break_by("closed")
            await reached.wait()
            keeping.cancel()
            await asyncio.wait({keeping}, timeout=ENDS_S)
            assert (keeping.cancelled(), broken.left_open()) == (True, [])
        finally:
            await broken.end(keeping)


@on_both_loops
async def test_part_of_a_shore_ends_a_job_that_passes_over_being_told_once() -> None:
    """SIGTERM ends a shore on a stream, come what may in its job."""
    told = 0

    async def stubborn() -> None:
        nonlocal told
        while told < 2:
            try:
                await asyncio.Event().wait()
            except asyncio.CancelledError:
                told += 1

    async with asyncio.timeout(PATIENCE_S):
        job = StreamJob(stubborn, lambda: asyncio.sleep(0))
        await job.start()
        closing = asyncio.ensure_future(job.close())
        await asyncio.wait({closing}, timeout=ENDS_S)
        try:
            assert closing.done()
        finally:
            job.jobs[0].cancel()
            await closing
        assert (told, [each.done() for each in job.jobs]) == (2, [True])


@on_both_loops
async def test_part_of_a_shore_whose_job_has_failed_closes() -> None:
    """The shore says what failed where it serves; its end goes on to the other parts."""

    async def fails() -> None:
        raise RuntimeError("a fault of ours")

    async with asyncio.timeout(ENDS_S):
        job = StreamJob(fails, lambda: asyncio.sleep(0))
        await job.start()
        await asyncio.wait(job.jobs)
        await job.close()
        assert isinstance(job.jobs[0].exception(), RuntimeError)
