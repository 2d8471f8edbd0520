"""A chart's octets as HDF5 is given them: watched for what its library never comes back from.

Rules: strings of any length lie in global heaps, object behind object (HDF5 file format 3.0, section III.E). The
library steps from one to the next by the length that is written there, so one of no length holds it for ever. Each
heap is therefore walked when the library first reads it, and no other octets are: what a file no longer uses may be
anything. What only looks like a heap, in a string or among the depths, is walked too. In a true file no header lies on
another, so that there are at most as many as it has room for; where more are walked, heaps overlap, and it is refused.
"""

import io
from typing import Any

from relay.core.errors import ChartError

HEAP = b"GCOL\x01"  # signature and version; three octets that the library doesn't look at, and the heap's length
LEAST_HEAP = 4096  # a shorter one, or one past the file's end, the library refuses itself
FREE = bytes(2)  # the number of the object that is a heap's free rest, whose length counts its own header
HEADER = 16  # of a heap, and of each object in it: padded to eight octets


class Hdf5Octets(io.BytesIO):
    """The content of a file for the library to read; ChartError where it reads heaps that have no end, or overlap."""

    def __init__(self, name: str, content: bytes) -> None:
        super().__init__(content)
        self._name, self._content = name, content
        self._walked = set[int]()
        self._headers_left = len(content) // HEADER
        self._length_octets = content[14 if content[8] < 2 else 10]  # the superblock's size of lengths

    def readinto(self, buffer: Any, /) -> int:
        """Read as any file does, and walk the heaps of whose signature an octet was read."""
        start = self.tell()
        count = super().readinto(buffer)
        beside = len(HEAP) - 1
        self._watch(max(start - beside, 0), start + count + beside)
        return count

    def _watch(self, start: int, end: int) -> None:
        at = self._content.find(HEAP, start, end)
        while at >= 0:
            length = self._length(at + 8)
            if LEAST_HEAP <= length <= len(self._content) - at and at not in self._walked:
                self._walked.add(at)
                self._walk(at, at + length)
            at = self._content.find(HEAP, at + 1, end)

    def _walk(self, at: int, end: int) -> None:
        """Go from header to header, the heap's own first, to where no other fits in front of the end."""
        content, octets, step = self._content, self._length_octets, HEADER
        for left in range(self._headers_left - 1, -1, -1):
            at += step
            if at + HEADER > end:
                self._headers_left = left
                return
            length = int.from_bytes(content[at + 8 : at + 8 + octets], "little")
            step = length if content[at : at + 2] == FREE else HEADER + (length + 7 & ~7)
            if not 0 < step <= end - at:
                raise self._broken(f"its heap of strings is broken at octet {at}")
        self._headers_left = 0
        raise self._broken(f"its strings lie over each other at octet {at}")

    def _broken(self, what: str) -> ChartError:
        return ChartError(f"{self._name}: begins like NetCDF but {what}; fetch it again")

    def _length(self, at: int) -> int:
        return int.from_bytes(self._content[at : at + self._length_octets], "little")
