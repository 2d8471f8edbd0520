"""A connection to the shore that failed is let go, and nobody else's with it."""

import asyncio
import gc
import os
import socket
import ssl
import struct
import threading
from contextlib import suppress
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import uvloop
from websockets.http11 import Request
from websockets.protocol import OPEN
from websockets.server import ServerProtocol

from certificates import self_signed
from peers import on_both_loops
from relay.core.errors import LinkError
from relay.shell.plan.uplink_plan import UplinkPlan
from relay.shell.uplink import uplink_link
from relay.shell.uplink.uplink_link import Line, dial, let_go
from relay.shell.uplink.uplink_tls import shore_tls
from shores import SIGNER

AT_ONCE = struct.pack("ii", 1, 0)  # socket(7), SO_LINGER: a close that resets
DIALS = 240
OTHERS = 6


def resetting(door: socket.socket) -> None:
    """Reset whatever comes, at once or up to a millisecond later, until the door is shut."""
    never = threading.Event()
    with suppress(OSError):
        for number in count():
            near, _ = door.accept()
            never.wait(number % 12 * 1e-4)
            near.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, AT_ONCE)
            near.close()


async def closed_beside(port: int) -> list[int]:
    """Dial again and again whoever resets; return the files of somebody else that were closed meanwhile."""
    plan, lost = UplinkPlan("127.0.0.1", port, bytes(32)), []
    for _ in range(DIALS):
        with suppress(LinkError):
            await dial(plan, SIGNER, 5.0)
        others = [os.open(os.devnull, os.O_RDONLY) for _ in range(OTHERS)]
        for _ in range(20):
            await asyncio.sleep(0)
        gc.collect()
        for number in others:
            try:
                os.close(number)
            except OSError:
                lost.append(number)
    return lost


@on_both_loops
async def test_name_that_no_resolver_can_be_asked_for_is_told() -> None:
    """The file's check refuses it; should one come by, there is no link, and it is said why."""
    for host in ("shore..example", "a" * 64 + ".example"):
        with pytest.raises(LinkError, match=r"^the shore's name can't be resolved$"):
            await dial(UplinkPlan(host, 8_444, bytes(32)), SIGNER, 5.0)


def test_shore_that_resets_at_once_costs_nobody_a_file() -> None:
    """A shore that resets each connection: what the ship opens next under the same number stays open."""
    with socket.create_server(("127.0.0.1", 0)) as door:
        answering = threading.Thread(target=resetting, args=(door,), daemon=True)
        answering.start()
        gc.freeze()  # each collection looks at what the dials made, not at all that other tests hold
        try:
            assert uvloop.run(closed_beside(door.getsockname()[1])) == []
        finally:
            gc.unfreeze()
            door.shutdown(socket.SHUT_RDWR)
            answering.join()


def test_number_that_another_file_has_by_now_is_not_closed() -> None:
    """The loop has closed the descriptor unsaid, and another file has its number: that stays open."""
    line = socket.socket()
    known, number = os.fstat(line.fileno()), line.fileno()
    os.close(number)
    reader, writer = os.pipe()
    try:
        os.dup2(reader, number)
        let_go(line, known)
        del line
        gc.collect()
        assert os.path.samestat(os.fstat(number), os.fstat(reader))
    finally:
        for each in {reader, writer, number}:
            os.close(each)


def test_number_that_nobody_has_is_given_up() -> None:
    """The loop has closed the descriptor unsaid, and nobody has its number: that is no fault."""
    line = socket.socket()
    known = os.fstat(line.fileno())
    os.close(line.fileno())
    let_go(line, known)
    assert line.fileno() == -1


def test_connection_of_ours_is_closed() -> None:
    """A connection that is still the one it was is closed, and one that the loop took over is left to it."""
    near, far = socket.socketpair()
    with near, far:
        let_go(near, os.fstat(near.fileno()))
        assert far.recv(1) == b""
        known = os.fstat(far.fileno())
        os.close(far.detach())
        let_go(far, known)


async def opens_and_breaks(
    tls: ssl.SSLContext, opened: asyncio.Event, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
) -> None:
    """Answer a websocket's opening, and when that has come send a record of TLS with one bit flipped."""
    come, goes, protocol = ssl.MemoryBIO(), ssl.MemoryBIO(), ServerProtocol()
    spoken = tls.wrap_bio(come, goes, server_side=True)
    while protocol.state is not OPEN:
        try:
            protocol.receive_data(spoken.read(4_096))
        except ssl.SSLWantReadError:
            writer.write(goes.read())
            come.write(await reader.read(4_096))
            continue
        (request,) = protocol.events_received()
        assert isinstance(request, Request)
        protocol.send_response(protocol.accept(request))
    spoken.write(b"".join(protocol.data_to_send()))
    writer.write(goes.read())
    spoken.write(b"challenge")
    broken = bytearray(goes.read())
    broken[-1] ^= 1
    await opened.wait()
    writer.write(broken)
    await reader.read()
    writer.close()


@on_both_loops
async def test_shore_whose_words_break_behind_the_opening_is_a_link_that_was_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a busy machine TLS may have ended before the certificate is asked for: `ssl` calls that a ValueError."""
    greet, opened = uplink_link._greet, asyncio.Event()

    async def late(*given: Any) -> Line:
        connection = await greet(*given)
        opened.set()
        await connection.wait_closed()
        return connection

    monkeypatch.setattr(uplink_link, "_greet", late)
    tls = shore_tls(*self_signed(tmp_path))
    server = await asyncio.start_server(partial(opens_and_breaks, tls, opened), "127.0.0.1", 0)
    async with server:
        plan = UplinkPlan("127.0.0.1", server.sockets[0].getsockname()[1], bytes(32))
        with pytest.raises(LinkError, match=r"^the connection was lost$"):
            await dial(plan, SIGNER, 5.0)
