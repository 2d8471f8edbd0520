"""A serial line, opened for reading alone.

Rules: the descriptor is O_RDONLY, so the kernel itself refuses a write; the line discipline is raw, so it
echoes nothing and sends no flow-control characters either. Between opening a port for the first time since
boot and setting it raw there are microseconds in which the kernel could echo: a listening-only cable (receive
and ground) closes that gap, and is what such a tap should be (common practice, no source). Opening raises the
port's DTR and RTS lines, which are signals, not bytes.
"""

import contextlib
import errno
import fcntl
import os
import termios

from relay.core.errors import OperatorError
from relay.shell.feeds.feed_intake import ReturningFeed, readable, words_of

_CHUNK_BYTES = 4096


class SerialFeed(ReturningFeed):
    """A serial feed: eight data bits, no parity, one stop bit; opened again when the device comes back."""

    again = "opening it again"

    async def _visit(self) -> str:
        try:
            descriptor = os.open(self.url.path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC)
        except OSError as error:
            return words_of(error)
        try:
            self._set_raw(descriptor)
            self.counters.connections += 1
            self._say(f"reading {self.url.path} at {self.url.baud} bits a second")
            return await self._read(descriptor)
        except OSError as error:
            return words_of(error)
        finally:
            _exclude_others(descriptor, termios.TIOCNXCL)
            os.close(descriptor)

    async def _read(self, descriptor: int) -> str:
        while True:
            await readable(descriptor)
            try:
                data = os.read(descriptor, _CHUNK_BYTES)
            except BlockingIOError:
                continue
            if not data:
                return "the device is gone"
            self._thrives()
            await self._put_stream(data)

    def _set_raw(self, descriptor: int) -> None:
        """Set the line raw, 8N1, no flow control, and ours alone; OSError if the device went away meanwhile."""
        try:
            control = termios.tcgetattr(descriptor)[6]
            control[termios.VMIN], control[termios.VTIME] = 1, 0
            speed = getattr(termios, f"B{self.url.baud}")
            modes = termios.CS8 | termios.CREAD | termios.CLOCAL
            termios.tcsetattr(descriptor, termios.TCSANOW, [termios.IGNBRK, 0, modes, 0, speed, speed, control])
        except termios.error as error:
            if error.args[0] in (errno.ENOTTY, errno.EINVAL):
                raise OperatorError(
                    f"feed {self.name}: {self.url.path} is not a serial port that runs at {self.url.baud} bits a "
                    "second. Give the device of the port, such as /dev/ttyUSB0, and a speed it has."
                ) from error
            raise OSError(*error.args) from error
        _exclude_others(descriptor, termios.TIOCEXCL)


def _exclude_others(descriptor: int, request: int) -> None:
    """Keep other readers from the port, or let them again: two readers take each other's bytes without a sign."""
    with contextlib.suppress(OSError):
        fcntl.ioctl(descriptor, request)
