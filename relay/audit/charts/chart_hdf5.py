"""A chart's octets as HDF5 is given them: watched for what its library never comes back from.

Rules: strings of any length lie in global heaps, object behind object (HDF5 file format 3.0, section III.E). The
library steps from one to the next by the length that is written there, so one of no length holds it for ever. Each
heap is therefore walked when the library first reads it, and no other octets are: what a file no longer uses may be
anything.
"""

import io
from typing import Any

from relay.core.errors import ChartError

HEAP = b"GCOL\x01"  # signature and version; three octets that the library doesn't look at, and the heap's length
LEAST_HEAP = 4096  # a shorter one, or one past the file's end, the library refuses itself
HEADER = 16  # of a heap, and of each object in it: padded to eight octets


class Hdf5Octets(io.BytesIO):
    """The content of a file for the library to read; ChartError where it reads a heap that has no end."""

    def __init__(self, name: str, content: bytes) -> None:
        super().__init__(content)
        self._name, self._content = name, content
        self._walked = set[int]()
        self._length_octets = content[14 if content[8] < 2 else 10]  # the superblock's size of lengths

    def readinto(self, buffer: Any, /) -> int:
        """Read as any file does, and walk the heaps that begin in what was read."""
        start = self.tell()
        count = super().readinto(buffer)
        self._watch(max(start - len(HEAP), 0), start + count + len(HEAP))
        return count

    def _watch(self, start: int, end: int) -> None:
        at = self._content.find(HEAP, start, end)
        while at >= 0:
            if at not in self._walked:
                self._walked.add(at)
                self._walk(at)
            at = self._content.find(HEAP, at + 1, end)

    def _walk(self, heap: int) -> None:
        length = self._length(heap + 8)
        at, end = heap + HEADER, heap + length
        if length < LEAST_HEAP or end > len(self._content):
            return
        while at + HEADER <= end:
            length = self._length(at + 8)
            used = any(self._content[at : at + 2])  # object 0 is the free rest, and counts its own header
            step = HEADER + (length + 7 & ~7) if used else length
            if not 0 < step <= end - at:
                raise ChartError(
                    f"{self._name}: begins like NetCDF but its heap of strings is broken at octet {at}; fetch it again"
                )
            at += step

    def _length(self, at: int) -> int:
        return int.from_bytes(self._content[at : at + self._length_octets], "little")
