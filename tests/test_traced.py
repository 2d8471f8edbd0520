"""A trace is read as the kernel's own calls were: a small program does each thing once, and strace writes them down."""

import subprocess
import sys
from pathlib import Path

import pytest

from traced import Traced, ended, read_trace, tracing, unable

DOES = """
import os, socket, threading
def tried(what, *arguments):
    try:
        return what(*arguments)
    except OSError:
        pass
six, way = socket.socket(socket.AF_INET6), socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
tried(six.connect, ("::1", 9))
way.bind(("127.0.0.1", 0))
way.sendto(b"x", ("127.0.0.1", 7))
way.sendmsg([b"x"], [], 0, ("127.0.0.1", 8))
here = socket.socket(socket.AF_UNIX)
here.bind("near.sock")
tried(socket.socket(socket.AF_UNIX).connect, "far.sock")
os.mkdir("made")
os.symlink("/somewhere/else", "made/link")
folder = os.open("made", os.O_RDONLY)
os.rename("link", "moved", src_dir_fd=folder, dst_dir_fd=folder)
one = threading.Thread(target=lambda: open("made/written", "w").close())
one.start()
one.join()
tried(open, "/proc/version", "a")
open("made/O_WRONLY", "x").close()
os.chmod("made/written", 0o600)
os.unlink("made/written")
open("made/O_WRONLY").read()
tried(open, "made/O_RDWR")
tried(os.execv, "/no/such/program", ["program"])
"""


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Traced, Path]:
    """Return what was read of the small program, and its folder."""
    folder = tmp_path_factory.mktemp("traced")
    if (why := unable(folder)) is not None:
        pytest.skip(why)
    trace = folder / "trace"
    command = [sys.executable, "-I", "-S", "-c", DOES]
    room = folder / "room"
    room.mkdir()
    subprocess.run([part for part in tracing(trace) if part != "-D"] + command, cwd=room, check=True)
    assert ended(trace)
    return read_trace(trace.read_text(), room, before=0), room


def test_written_and_changed_paths_are_read(told: tuple[Traced, Path]) -> None:
    """Made, linked, moved within an open folder, written by a thread, changed, removed, and refused; none only read."""
    names = {"made", "made/link", "made/moved", "made/written", "made/O_WRONLY"}
    assert told[0].written == {told[1] / name for name in names} | {Path("/proc/version")}


def test_addresses_are_read(told: tuple[Traced, Path]) -> None:
    """Of either protocol, by a call that dials or one that sends; of a socket in the file system."""
    assert told[0].dialled == {"::1:9", "127.0.0.1:7", "127.0.0.1:8", "far.sock"}
    assert told[0].bound == {"127.0.0.1:0", "near.sock"}
    assert told[0].families == {"AF_INET", "AF_INET6", "AF_UNIX"}


def test_programs_are_read(told: tuple[Traced, Path]) -> None:
    """One that isn't there was tried all the same."""
    assert len(told[0].started) == 1 and "/no/such/program" in told[0].started[0]


def test_trace_without_the_command_tells_nothing() -> None:
    """An empty trace is no proof of anything."""
    with pytest.raises(AssertionError, match="never begun"):
        read_trace("", Path("/"))
