"""The embargo clock: counts only time that provably passed.

Rules (R2): within one boot it is CLOCK_BOOTTIME, which goes on while the process is down or the machine is
asleep, and the boot is told by the kernel's boot id; across a reboot, or where neither exists, downtime
counts as zero. The wall clock is read for the exact record alone.
"""

import time
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class TimeSource(Protocol):
    """What the shell asks the machine for."""

    def boot_id(self) -> str:
        """Return a text that changes with every boot."""
        ...

    def boot_us(self) -> int:
        """Return microseconds since some moment of this boot, never going back."""
        ...

    def wall_s(self) -> float:
        """Return the wall clock, Unix seconds."""
        ...


class MachineTime:
    """The machine's own clocks."""

    def __init__(self) -> None:
        self._clock = getattr(time, "CLOCK_BOOTTIME", None) if _BOOT_ID.exists() else None
        self._boot_id = _BOOT_ID.read_text().strip() if self._clock is not None else f"process {uuid.uuid4()}"

    def boot_id(self) -> str:
        """Return the kernel's boot id; without one, an id of this process, so that downtime counts as zero."""
        return self._boot_id

    def boot_us(self) -> int:
        """Return CLOCK_BOOTTIME in microseconds; without it, the monotonic clock."""
        return (time.monotonic_ns() if self._clock is None else time.clock_gettime_ns(self._clock)) // 1000

    def wall_s(self) -> float:
        """Return the wall clock, Unix seconds."""
        return time.time()


@dataclass(frozen=True, slots=True)
class ClockMark:
    """What the journal keeps of the clock: the boot it ran in and the embargo time at that boot's zero."""

    boot_id: str
    offset_us: int


class EmbargoClock:
    """Microseconds of provably passed time since the journal began."""

    def __init__(self, source: TimeSource, mark: ClockMark | None = None, last_us: int = 0, least_us: int = 0) -> None:
        """Go on from `mark` if it is of this boot, else from `last_us`, the last moment that a beat proves.

        It reads at least `least_us`, the moment of the last row: rows prove time too, but going on from them would let
        the moments of the next records tell how long before a power cut the last input came.
        """
        self._source = source
        if mark is not None and mark.boot_id == source.boot_id():
            offset_us = mark.offset_us
        else:
            offset_us = last_us - source.boot_us()
        self.mark = ClockMark(source.boot_id(), offset_us)
        self._counted_us = last_us
        self._least_us = max(last_us, least_us)

    def now_us(self) -> int:
        """Return the moment; it never goes back, not even if the machine's clock should."""
        self._least_us = max(self._least_us, self.counted_us())
        return self._least_us

    def counted_us(self) -> int:
        """Return the time that beats and boots prove, without what rows prove beyond it."""
        self._counted_us = max(self._counted_us, self._source.boot_us() + self.mark.offset_us)
        return self._counted_us

    def read_us(self) -> int:
        """Return the time that beats and boots prove as it reads now, noting nothing: for another thread than ours."""
        return self._source.boot_us() + self.mark.offset_us

    def prove(self, moment_us: int) -> None:
        """Let it be known from elsewhere that `moment_us` had come before this clock was made."""
        self._least_us = max(self._least_us, moment_us)

    def wall_s(self) -> float:
        """Return the wall clock, for the exact record alone."""
        return self._source.wall_s()
