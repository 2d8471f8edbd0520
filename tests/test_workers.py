"""Several processes on one port: followers of any of them get every record once, whichever of them is killed."""

import asyncio
import errno
import json
import os
import signal
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, ConnectionClosedError
from websockets.typing import Subprotocol

from certificates import self_signed
from peers import get, on_both_loops, take, until
from relay.core.errors import OperatorError
from relay.core.guests import Guest, Listing, digest_of, write_listing
from relay.core.history import received
from relay.core.websocket import CloseCode
from relay.core.wire import footer
from relay.shell.shore.shore import Shore
from relay.shell.shore.shore_run import new_shore
from relay.shell.shore.worker_talk import LEAVE, Talk
from relay.shell.shore.workers import Workers
from relay.shell.site.gate import Tally
from relay.shell.site.site import Figures
from released import dive, programme
from shores import RIGHT, SIGNER, changed, sealed, shore_file

PATIENCE_S = 60  # each worker is a Python that starts
SECRET = "A" * 43
FRAMES = sealed([*dive(1, 30), *dive(2, 200, closed=False)])
TWO = changed('listen = "127.0.0.1:0"\n\n[uplink]', 'listen = "127.0.0.1:0"\nprocesses = 2\n\n[uplink]')


@asynccontextmanager
async def ashore(folder: Path, text: str = TWO) -> AsyncIterator[tuple[Shore, Workers]]:
    """Run a shore of two workers that is fed by calling it."""
    self_signed(folder)
    shore = new_shore(shore_file(folder, text))
    assert isinstance(shore.site, Workers)
    async with asyncio.timeout(PATIENCE_S):
        await shore.start()
        try:
            yield shore, shore.site
        finally:
            await shore.close()


def follow(workers: Workers, query: str = "audience=public", **options: Any) -> connect:
    """Return a viewer's connection to whichever worker the kernel chooses."""
    host, port = workers.address
    return connect(f"ws://{host}:{port}/live?{query}", compression=None, ping_interval=None, **options)


async def seated(workers: Workers, count: int) -> list[ClientConnection]:
    """Return so many viewers that both workers have some of them, and all are counted."""
    viewers: list[ClientConnection] = []
    while len(viewers) < count:
        viewers.append(await follow(workers))
    await until(lambda: workers.figures().viewers == {"public": count, "funders": 0})
    return viewers


async def test_followers_of_every_worker_get_every_record(tmp_path: Path) -> None:
    """Live and from history, the same bytes; at the end each is told that the site goes, and no process is left."""
    async with ashore(tmp_path) as (shore, workers):
        assert len(set(workers.pids())) == 2
        await shore.take("public", [*FRAMES[:40], *sealed([programme(0, "The bow, at last.")])])
        viewers = await seated(workers, 24)
        for at in range(40, 60):
            await shore.take("public", FRAMES[at : at + 1])
        for viewer in viewers:
            assert await take(viewer, 20) == FRAMES[40:60]
        for _ in range(8):
            answer = await get(workers, "/recordings/public/dive-001.recording")
            assert answer.body == b"".join(FRAMES[:32]) + footer(FRAMES[:32])
            assert b"The bow, at last." in (await get(workers, "/programme.json")).body
        pids = workers.pids()
    for viewer in viewers:
        with pytest.raises(ConnectionClosed) as caught:
            await viewer.recv()
        assert caught.value.rcvd is not None and caught.value.rcvd.code == CloseCode.GOING_AWAY
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


async def test_worker_that_is_killed_or_hangs_is_replaced_and_lacks_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its viewers are cut off and come back to another process, after the record they hold; the others never notice."""
    monkeypatch.setattr("relay.shell.shore.workers.SILENCE_S", 5.0)
    async with ashore(tmp_path) as (shore, workers):
        await shore.take("public", FRAMES[:40])
        viewers = await seated(workers, 16)
        hung, killed = workers.pids()
        os.kill(killed, signal.SIGKILL)
        await shore.take("public", FRAMES[40:50])
        got = [await taken_or_cut_off(viewer, 10) for viewer in viewers]
        assert 0 < got.count(FRAMES[40:50]) < len(viewers)
        assert all(frames == FRAMES[40:50] or frames == [] for frames in got)
        os.kill(hung, signal.SIGSTOP)
        await until(lambda: len(set(workers.pids()) - {hung, killed}) == 2)
        await until(lambda: workers.figures().connections == 0 and listens(*workers.address))
        for _ in range(8):
            async with follow(workers, "audience=public&dive=2&after=1") as viewer:
                assert await take(viewer, 16) == FRAMES[34:50]


@on_both_loops
async def test_worker_that_is_killed_with_records_unread_is_replaced(tmp_path: Path) -> None:
    """Its end of the talk is reset, not closed: the seat goes on to the next worker, and the shore with it."""
    async with ashore(tmp_path) as (shore, workers):
        serving = asyncio.ensure_future(shore.serve())
        try:
            await shore.take("public", FRAMES[:40])
            killed = workers.pids()[0]
            os.kill(killed, signal.SIGSTOP)
            for at in range(40, 60):
                await shore.take("public", FRAMES[at : at + 1])
                await asyncio.sleep(0)
            os.kill(killed, signal.SIGKILL)
            await until(lambda: serving.done() or len(set(workers.pids()) - {killed}) == 2)
            assert not serving.done()
            assert not any(job.done() for job in workers.jobs)
        finally:
            serving.cancel()
            await asyncio.wait({serving})


@on_both_loops
async def test_talk_with_nobody_is_no_fault_of_the_program() -> None:
    """However late it is said, and whichever loop runs: an OSError, which whoever talks expects."""
    ours, theirs = socket.socketpair()
    talk = await Talk.over(ours)
    try:
        await talk.say(LEAVE)
        hearing = asyncio.ensure_future(anext(talk.heard(), None))
        theirs.close()
        with pytest.raises(ConnectionResetError):
            await hearing
        for _ in range(3):
            with pytest.raises(ConnectionResetError):
                await talk.say(LEAVE)
            await asyncio.sleep(0)
    finally:
        theirs.close()
        talk.close()


async def test_guests_are_let_in_by_every_worker_and_only_while_they_are_invited(tmp_path: Path) -> None:
    """The ship's list reaches each; whoever is taken back is closed with 4005; the public count leaves guests out."""
    guest = Guest("0a1b2c3d", "funders", digest_of(SECRET))
    frames = sealed(dive(1, 5, audience="funders"))
    async with ashore(tmp_path) as (shore, workers):
        await shore.take("funders", frames)
        shore.guests(write_listing(Listing(1, {guest.id: guest}), SIGNER))
        await until(lambda: workers.guests.latest is not None)
        offered = [Subprotocol("offing"), Subprotocol(f"guest.{guest.id}.{SECRET}")]
        query = "audience=funders&dive=1&after=-1"
        viewers = [await follow(workers, query, subprotocols=offered) for _ in range(8)]
        for viewer in viewers:
            assert await take(viewer, len(frames)) == frames
        await until(lambda: workers.figures().viewers == {"public": 0, "funders": 8})
        assert json.loads((await get(workers, "/followers.json")).body) == {"followers": 0}
        shore.guests(write_listing(Listing(2, {}), SIGNER))
        for viewer in viewers:
            with pytest.raises(ConnectionClosed) as caught:
                await viewer.recv()
            assert caught.value.rcvd is not None and caught.value.rcvd.code == 4005


def listens(host: str, port: int) -> bool:
    """Whether a worker has opened the port."""
    try:
        socket.create_connection((host, port)).close()
    except ConnectionRefusedError:
        return False
    return True


async def taken_or_cut_off(viewer: ClientConnection, count: int) -> list[bytes]:
    """Return the next messages, or none where the connection ends without a word."""
    try:
        return await take(viewer, count)
    except ConnectionClosedError:
        return []


async def test_seat_outlives_a_machine_that_starts_no_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Out of processes as a worker is replaced: it is tried again, and once the machine has room all serve."""
    failed = asyncio.Event()

    async def fails(*command: str, **options: Any) -> Any:
        failed.set()
        raise OSError(errno.EAGAIN, os.strerror(errno.EAGAIN))

    async with ashore(tmp_path) as (_, workers):
        before = workers.pids()
        with monkeypatch.context() as patched:
            patched.setattr(asyncio, "create_subprocess_exec", fails)
            os.kill(before[0], signal.SIGKILL)
            await failed.wait()
        await until(lambda: len(set(workers.pids()) - {before[0]}) == 2)
        assert not any(job.done() for job in workers.jobs)
    assert workers._kept is None


async def test_port_that_is_taken_is_told(tmp_path: Path) -> None:
    """Another program's port can't be shared: words, and no worker is left."""
    taken = await asyncio.start_server(lambda *_: None, "127.0.0.1", 0)
    port = taken.sockets[0].getsockname()[1]
    text = TWO.replace('listen = "127.0.0.1:0"\nprocesses', f'listen = "127.0.0.1:{port}"\nprocesses')
    self_signed(tmp_path)
    shore = new_shore(shore_file(tmp_path, text))
    with pytest.raises(OperatorError, match="in use"):
        await shore.start()
    await shore.close()
    taken.close()


async def test_worker_that_cannot_serve_stops_the_start(tmp_path: Path) -> None:
    """A certificate that isn't there: the start fails and says which."""
    text = TWO.replace("processes = 2", 'processes = 2\ncertificate = "none.pem"\nkey = "none.key"')
    workers = Workers(shore_file(tmp_path, text))
    with pytest.raises(OperatorError, match=r"none\.pem"):
        await workers.start("127.0.0.1")
    await workers.close()


def test_public_count_leaves_out_who_is_invited(tmp_path: Path) -> None:
    """A worker is told how many follow what is open at the others, and nothing of guests there (R1)."""
    workers = Workers(shore_file(tmp_path, TWO))
    one, other = workers._seats
    other.figures = Figures(9, {"public": 3, "funders": 5}, Tally())
    assert (workers.followers_beside(one), workers.followers_beside(other)) == (3, 0)


def test_frame_of_another_audience_is_not_kept(tmp_path: Path) -> None:
    """What isn't given out here isn't told to workers (R1, R4)."""
    workers = Workers(shore_file(tmp_path, RIGHT))
    workers.publish(received("press", FRAMES[0]))
    assert json.dumps([len(history.dives) for history in workers.histories.values()]) == "[0, 0]"
