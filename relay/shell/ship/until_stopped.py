"""Running a relay in a process, a ship's or a shore's: its signals, its sockets, its end."""

import asyncio
import contextlib
import resource
import signal
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, Protocol


class Relay(Protocol):
    """A ship's relay or a shore's."""

    async def start(self) -> None:
        """Begin."""

    async def serve(self) -> None:
        """Run until cancelled."""

    async def close(self) -> None:
        """End."""


async def run_until_stopped(relay: Relay, ready: Callable[[], None], *beside: Coroutine[Any, Any, object]) -> None:
    """Run a relay, and jobs beside it, until one of them ends or SIGINT or SIGTERM comes."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    try:
        await _first_of(relay.start(), stop.wait())
        if not stop.is_set():
            ready()
            await _first_of(relay.serve(), stop.wait(), *beside)
    finally:
        for job in beside:
            job.close()
        await relay.close()


async def _first_of(*jobs: Awaitable[object]) -> None:
    """Run jobs until the first ends, cancel the others, and raise what the first raised."""
    tasks = [asyncio.ensure_future(job) for job in jobs]
    done, rest = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    for task in rest:
        task.cancel()
    for task in rest:
        with contextlib.suppress(asyncio.CancelledError):
            await task
    for task in done:
        task.result()


def raise_open_files() -> None:
    """Let the process have as many sockets as the machine allows it: each viewer takes one."""
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
