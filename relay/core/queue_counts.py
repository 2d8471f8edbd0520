"""How many observations the embargo holds, by when they were received: what the desk draws as a queue.

Rules: counted as they come and go, so that asking costs the number of buckets and not that of observations; buckets
double their width when there are more than `MOST`, whoever asks.
"""

from collections.abc import Iterable

FINEST_US = 1_000_000
MOST = 4_096


class QueueCounts:
    """Counts by buckets of `bucket_us` microseconds of the embargo clock."""

    def __init__(self) -> None:
        self.bucket_us = FINEST_US
        self._counts: dict[int, int] = {}

    def add(self, at_us: int) -> None:
        """Count an observation received at a moment."""
        bucket = at_us // self.bucket_us
        self._counts[bucket] = self._counts.get(bucket, 0) + 1
        if len(self._counts) > MOST:
            self._widen(self.bucket_us * 2)

    def remove(self, at_us: int) -> None:
        """Uncount one that was counted."""
        bucket = at_us // self.bucket_us
        self._counts[bucket] -= 1
        if not self._counts[bucket]:
            del self._counts[bucket]

    def recount(self, moments_us: Iterable[int]) -> None:
        """Count afresh what is held."""
        self.bucket_us, self._counts = FINEST_US, {}
        for moment_us in moments_us:
            self.add(moment_us)

    def _widen(self, bucket_us: int) -> None:
        wider: dict[int, int] = {}
        for bucket, count in self._counts.items():
            at = bucket * self.bucket_us // bucket_us
            wider[at] = wider.get(at, 0) + count
        self.bucket_us, self._counts = bucket_us, wider

    def buckets(self, now_us: int, most: int) -> tuple[int, int, list[int]]:
        """Return where the oldest bucket begins, how wide each is, and what each holds: at most `most` of them."""
        first = min(self._counts, default=now_us // self.bucket_us)
        wide = -(-(now_us // self.bucket_us - first + 1) // (most - 1))
        bucket_us = self.bucket_us * max(1, wide)
        begin = first * self.bucket_us // bucket_us
        counts = [0] * (now_us // bucket_us - begin + 1)
        for bucket, count in self._counts.items():
            counts[min(bucket * self.bucket_us // bucket_us - begin, len(counts) - 1)] += count
        return begin * bucket_us, bucket_us, counts
