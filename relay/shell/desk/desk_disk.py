"""The disk that the journal is on: how big the journal is, what is free, and when it is full at this pace.

Rules: looked at in a thread, for a disk in trouble answers late and the relay waits for nobody; the pace is that of the
last `OVER_S`, and there is none before `LEAST_S` have passed.
"""

import asyncio
import logging
import shutil
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from relay.core.notices import StorageForecast, storage_forecast

log = logging.getLogger("offing.desk")
EVERY_S, LEAST_S, OVER_S = 5.0, 60.0, 900.0


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen at a moment: octets of the journal's files, and octets that are free."""

    at_s: float
    journal: int
    free: int


class Disk:
    """The disk of a private folder, as it was last seen."""

    def __init__(self, folder: Path, now_s: Callable[[], float]) -> None:
        self._folder, self._now_s = folder, now_s
        self._looks: deque[Look] = deque(maxlen=round(OVER_S / EVERY_S))

    @property
    def last(self) -> Look | None:
        """What was last seen, None before the first look."""
        return self._looks[-1] if self._looks else None

    async def beat(self) -> None:
        """Look, and wait until it is time for the next look."""
        try:
            journal, free = await asyncio.to_thread(_look_at, self._folder)
            self.take(Look(self._now_s(), journal, free))
        except OSError as error:
            log.error("the journal's disk could not be looked at (%s)", type(error).__name__)
        await asyncio.sleep(EVERY_S)

    def take(self, look: Look) -> None:
        """Take what was seen."""
        self._looks.append(look)

    def forecast(self) -> StorageForecast | None:
        """Return when the disk is full at this pace, None before the first look."""
        if not self._looks:
            return None
        first, last = self._looks[0], self._looks[-1]
        passed_s = last.at_s - first.at_s
        if passed_s < LEAST_S:
            return storage_forecast(last.free, None)
        growth, loss = (last.journal - first.journal) / passed_s, (first.free - last.free) / passed_s
        return storage_forecast(last.free, growth, loss)


def _look_at(folder: Path) -> tuple[int, int]:
    files = [path for path in folder.glob("journal.db*") if path.is_file()]
    return sum(path.stat().st_size for path in files), shutil.disk_usage(folder).free
