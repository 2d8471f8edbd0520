"""Serial feeds: read-only for the kernel itself, raw, and patient. The port is a pseudo-terminal."""

import asyncio
import os
import termios
from contextlib import suppress
from pathlib import Path

import pytest

from feed_stations import (
    LIMIT_S,
    Bell,
    SerialStation,
)
from feed_talk import (
    Shelf,
    Waits,
    talk,
)
from relay.core.errors import OperatorError
from relay.shell.feeds.feeds import open_feed, parse_feed_url


def near_descriptors(device: str) -> list[int]:
    """Return this process's descriptors of a device."""
    found = []
    for entry in Path("/proc/self/fd").iterdir():
        with suppress(FileNotFoundError):
            if entry.readlink() == Path(device):
                found.append(int(entry.name))
    return found


async def test_serial_is_read_only_raw_and_at_its_speed(tmp_path: Path) -> None:
    """The kernel refuses to write on the feed's descriptor, the line is raw and runs at the speed asked for."""
    async with talk("serial", tmp_path) as conversation:
        station = conversation.station
        assert isinstance(station, SerialStation)
        (ours,) = set(near_descriptors(os.ttyname(station.near))) - {station.near}
        with pytest.raises(OSError, match="Bad file descriptor"):
            os.write(ours, b"x")
        input_flags, output_flags, control_flags, local_flags, in_speed, out_speed, _ = termios.tcgetattr(ours)
        assert (in_speed, out_speed) == (termios.B4800, termios.B4800)
        assert not local_flags & (termios.ECHO | termios.ICANON | termios.ISIG)
        assert not input_flags & (termios.IXON | termios.IXOFF | termios.ICRNL | termios.ISTRIP | termios.PARMRK)
        assert not output_flags & termios.OPOST
        assert control_flags & termios.CSIZE == termios.CS8
        assert not control_flags & (termios.PARENB | termios.CSTOPB)


async def test_serial_waits_for_a_device_that_is_not_there(tmp_path: Path) -> None:
    """A device that is not plugged in is waited for, in words, and read once it is there."""
    bell = Bell()
    waits, shelf, station = Waits(bell), Shelf(bell), SerialStation()
    await station.open(tmp_path)
    await station.drop()
    station.link.unlink()
    feed = open_feed("lantern", station.url, shelf, sleep=waits.sleep, changed=bell.ring)
    task = asyncio.create_task(feed.run())
    await bell.until(lambda: bool(waits.asked))
    assert feed.state == "waiting 0.5 s before opening it again: no such file or directory"
    station.plug_in()
    waits.over()
    await station.meet(feed, bell)
    await station.say(b"1")
    await bell.until(lambda: shelf.bytes == b"1")
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    await station.close()


async def test_serial_what_is_not_a_port_is_refused() -> None:
    """A device that is not a serial port ends with an error that names the feed and says what to give."""
    feed = open_feed("station-a", parse_feed_url("serial:///dev/null?baud=4800"), Shelf(Bell()))
    with pytest.raises(OperatorError, match=r"feed station-a: /dev/null is not a serial port.*such as /dev/ttyUSB0"):
        await asyncio.wait_for(feed.run(), LIMIT_S)
