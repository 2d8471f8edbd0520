"""`offing ship` with three faults planted: it dials, it sends, it writes where it may not. Run as a program by tests.

`dialling_ship.py ADDRESS PORT EXPEDITION`.
"""

import contextlib
import socket
import sys
from pathlib import Path

from relay.__main__ import main
from relay.shell.ship.ship import Ship


def misbehave(host: str, port: int) -> None:
    """Dial, send and write, as a library would that calls home; failing changes nothing."""
    with contextlib.suppress(OSError), socket.create_connection((host, port), timeout=1):
        pass
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.sendto(b"here I am", (host, port + 1))
    with contextlib.suppress(OSError):
        Path("/var/tmp/offing-was-here").write_text("here I am")  # the planted fault


if __name__ == "__main__":
    start = Ship.start

    async def _start(ship: Ship) -> None:
        misbehave(sys.argv[1], int(sys.argv[2]))
        await start(ship)

    Ship.start = _start  # type: ignore[method-assign]
    sys.exit(main(["ship", *sys.argv[3:]]))
