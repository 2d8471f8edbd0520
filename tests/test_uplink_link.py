"""A connection to the shore that failed is let go, and nobody else's with it."""

import asyncio
import gc
import os
import socket
import struct
import threading
from contextlib import suppress
from itertools import count

import uvloop

from relay.core.errors import LinkError
from relay.shell.plan.uplink_plan import UplinkPlan
from relay.shell.uplink.uplink_link import dial, let_go
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
