"""Ship and shore as nobody, where nothing but their folder can be written, and what the kernel saw of them."""

import asyncio
import contextlib
import os
import sys
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from link_ends import until, wire
from ship_process import ROOT, free_port
from shore_process import prepare_shore
from small_room import NOBODY
from soak_crowd import Crowd
from soak_voyage import Voyage, prepare, sailing, seed_of
from traced import Traced, ended, read_trace, tracing, unable

ROOM = [sys.executable, str(Path(__file__).with_name("small_room.py"))]
SHIP, SHORE = ([sys.executable, "-m", "relay", name] for name in ("ship", "shore"))
# Where the C library asks for the user's name, if somebody answers there: nscd(8), nss-systemd(8).
NAMES = ("/var/run/nscd/", "/run/systemd/userdb/")
PROBED = "127.0.0.1:0"  # bound for a moment, to see whether the address is this machine's
WHAT_A_PROCESS_MAY = ("Uid", "Gid", "Groups", "CapPrm", "CapEff", "CapAmb", "NoNewPrivs")


@pytest.fixture
def room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder below which rooms can be shut; bytecode is written by nobody, as the units say."""
    if (why := unable(tmp_path)) is not None:
        pytest.skip(why)
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")
    return tmp_path


def in_room(folder: Path, command: Sequence[str]) -> list[str]:
    """Return a command that is run in a room with one folder, and traced."""
    return [*tracing(folder.parent / f"{folder.name}.trace"), *ROOM, str(folder), *command]


def give_away(folder: Path) -> None:
    """Give a folder, with what lies in it, to nobody."""
    for path in (folder, *folder.rglob("*")):
        os.chown(path, NOBODY, NOBODY)


@asynccontextmanager
async def shut_in(folder: Path, ship: Sequence[str] = SHIP) -> AsyncIterator[Voyage]:
    """Yield a voyage of which either process is to run in its own room, with a desk; nothing is started."""
    aboard, ashore = folder / "site", folder / "shore"
    shore = prepare_shore(ashore, seed_of(aboard), tls=False)
    async with wire(shore.uplink) as (link, at):
        here = prepare(folder, link, at, shore, 1.0, f'[desk]\nlisten = "127.0.0.1:{free_port()}"\n')
        for place in (aboard, ashore):
            give_away(place)
        here.ship.command, here.shore.command = in_room(aboard, ship), in_room(ashore, SHORE)
        yield here


def trace_of(folder: Path) -> Path:
    """Return where a process's trace lies."""
    return folder.parent / f"{folder.name}.trace"


async def traced(folder: Path) -> Traced:
    """Return what a process did in its room, once all of it is written down."""
    await until(lambda: ended(trace_of(folder)), 60)
    return read_trace(trace_of(folder).read_text(), folder)


def outside(told: Traced, folder: Path) -> set[str]:
    """Return the paths that were written, or tried, outside a folder; `/dev/null` is no file."""
    paths = {Path(os.path.normpath(path)) for path in told.written}
    return {str(path) for path in paths if not path.is_relative_to(folder)} - {"/dev/null"}


def dialled(told: Traced) -> set[str]:
    """Return what was dialled, but for the C library's asking who this user is."""
    return {address for address in told.dialled if not address.startswith(NAMES)}


def rights(process: int) -> dict[str, list[str]]:
    """Return what a process may, as the kernel tells (proc(5))."""
    lines = [line.split(":") for line in Path(f"/proc/{process}/status").read_text().splitlines()]
    return {name: value.split() for name, value in lines if name in WHAT_A_PROCESS_MAY}


def address_of(line: str) -> str:
    """Return HOST:PORT of a line of an expedition file."""
    return line.partition('"')[2].rstrip('"').removeprefix("udp://").removeprefix("wss://")


@pytest.mark.slow
async def test_ship_and_shore_need_nothing_but_their_folder_and_the_uplink(room: Path) -> None:
    """As nobody, all else read-only: records come ashore; only the ship dials, and only the uplink; no more listens."""
    async with shut_in(room) as here, sailing(here):
        crowd = Crowd(here.shore.site, 2)
        await crowd.come()
        for process in (here.ship.process, here.shore.process):
            assert process is not None
            told = rights(process.pid)
            assert told.pop("Groups") == [] and told.pop("NoNewPrivs") == ["1"]
            assert {word for words in told.values() for word in words} == {str(NOBODY), "0" * 16}
        reporting = asyncio.ensure_future(here.report(60))
        await until(lambda: not crowd.behind(3), 60)
        reporting.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await reporting
        for viewer in crowd.viewers:
            viewer.go()
    aboard, ashore = await traced(room / "site"), await traced(room / "shore")
    listening = {address_of(line) for line in here.ship.expedition.read_text().splitlines() if "127.0.0.1:" in line}
    uplink = next(address for address in listening if f'to = "wss://{address}' in here.ship.expedition.read_text())
    control = str(room / "site" / "private" / "control.sock")
    assert (outside(aboard, room / "site"), outside(ashore, room / "shore")) == (set(), set())
    # A feed by datagrams asks the kernel for the way to itself, by a socket that is told where and never sends.
    assert (dialled(aboard) - aboard.bound, dialled(ashore)) == ({uplink}, set())
    assert aboard.bound == listening - {uplink} | {control}
    ports = {f"127.0.0.1:{port}" for port in (here.shore.site, here.shore.uplink, here.shore.watch)}
    assert ashore.bound - {PROBED} == ports
    assert aboard.families | ashore.families <= {"AF_INET", "AF_INET6", "AF_UNIX"}
    assert aboard.started + ashore.started == []


@pytest.mark.slow
async def test_ship_that_calls_home_is_caught(room: Path) -> None:
    """Planted: a connection, a datagram and a file where none may be are all in the trace, though each failed."""
    home = free_port()
    planted = [sys.executable, str(Path(ROOT) / "tests" / "dialling_ship.py"), "127.0.0.1", str(home)]
    async with shut_in(room, planted) as here:
        await here.ship.start()
        await here.ship.stop()
    told = await traced(room / "site")
    assert {f"127.0.0.1:{home}", f"127.0.0.1:{home + 1}"} <= told.dialled
    assert outside(told, room / "site") == {"/var/tmp/offing-was-here"}
