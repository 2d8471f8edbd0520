"""A stream's real server (Debian's nats-server) for tests, and what is published through it: sealed frames."""

import asyncio
import shutil
import signal
import subprocess
from collections.abc import AsyncIterator, Coroutine, Iterable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from peers import PATIENCE_S
from relay.core.history import History, received
from relay.core.seal import Signer
from relay.shell.released.outlet import Frame
from relay.shell.shore.stream_in import StreamIn
from relay.shell.shore.stream_line import Patience, Stream
from relay.shell.shore.stream_out import StreamOut
from ship_process import free_port
from shores import SIGNER

SHIP = SIGNER
QUICK = Patience(answer_s=2.0, silence_s=1.0, look_s=0.2, first_wait_s=0.02, longest_wait_s=0.2)
SERVER = shutil.which("nats-server") or "/usr/sbin/nats-server"


def sealed(frames: Iterable[Frame], signer: Signer = SHIP) -> list[Frame]:
    """Return frames as the ship signs them for their audience."""
    return [replace(frame, data=signer.seal(frame.audience, frame.data)) for frame in frames]


class StreamServer:
    """A nats-server on the loopback with its store in a folder; started and killed at will."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"nats://127.0.0.1:{self.port}"

    def stream(self, patience: Patience = QUICK) -> Stream:
        """Return the stream of these tests."""
        return Stream(self.url, "offing", patience)

    def start(self) -> None:
        """Start it, and return when it answers."""
        config = self.folder / "server.conf"
        config.write_text(f'listen: "127.0.0.1:{self.port}"\njetstream {{ store_dir: "{self.folder / "store"}" }}\n')
        self._process = subprocess.Popen([SERVER, "-c", str(config)], stderr=subprocess.PIPE)
        assert self._process.stderr is not None
        while b"Server is ready" not in (line := self._process.stderr.readline()):
            assert line, "the server of streams has ended"

    def kill(self, number: signal.Signals = signal.SIGKILL) -> None:
        """End it (or stop it, by another signal) without a word."""
        assert self._process is not None
        self._process.send_signal(number)
        if number in (signal.SIGKILL, signal.SIGTERM):
            self._process.communicate()
            self._process = None

    def lose(self) -> None:
        """Lose all that it stored; only while it doesn't run."""
        shutil.rmtree(self.folder / "store")

    def end(self) -> None:
        """End it, if it runs."""
        if self._process is not None:
            self.kill()


@dataclass(slots=True)
class Relay:
    """What a relay has of its audiences: the one that publishes, and those that read."""

    histories: dict[str, History]
    listings: list[bytes] = field(default_factory=list)

    @classmethod
    def of(cls, *audiences: str) -> "Relay":
        """Return a relay that holds nothing."""
        return cls({name: History(name) for name in audiences or ("public",)})

    def publish(self, audience: str, data: bytes, among_many: bool = False) -> None:
        """Keep the next frame of an audience, as a site does."""
        frame, history = received(audience, data), self.histories[audience]
        (history.post if frame.dive == 0 else history.append)(frame)

    def held(self, audience: str = "public") -> list[bytes]:
        """Return every frame of an audience's dives."""
        return [data for dive in self.histories[audience].dives for data in dive.frames]

    def programme(self, audience: str = "public") -> bytes | None:
        """Return the programme's record."""
        told = self.histories[audience].programme
        return None if told is None else told.data


@asynccontextmanager
async def at_work(*jobs: Coroutine[Any, Any, None]) -> AsyncIterator[list["asyncio.Task[None]"]]:
    """Run jobs beside the test; one that fails fails the test. Everything must be over in time."""
    async with asyncio.timeout(PATIENCE_S):
        tasks = [asyncio.create_task(job) for job in jobs]
        try:
            yield tasks
            for task in tasks:
                if task.done() and not task.cancelled():
                    task.result()
        finally:
            for task in tasks:
                task.cancel()
            for task in tasks:
                with suppress(asyncio.CancelledError):
                    await task


def reader_of(stream: Stream, relay: Relay, key: bytes = SHIP.key) -> StreamIn:
    """Return what reads a stream into a relay."""
    return StreamIn(stream, key, relay.histories, relay.publish, relay.listings.append)


def writer_of(stream: Stream, relay: Relay) -> StreamOut:
    """Return what publishes a relay's log."""
    return StreamOut(stream, relay.histories)


def release(relay: Relay, out: StreamOut, frames: Iterable[Frame]) -> list[bytes]:
    """Let the publishing relay keep frames; return their bytes."""
    sent = []
    for frame in frames:
        relay.publish(frame.audience, frame.data)
        sent.append(frame.data)
        out.told(frame.audience, [frame.data])
    return sent
