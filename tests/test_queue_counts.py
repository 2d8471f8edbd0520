"""What the embargo holds, counted as it comes and goes."""

from collections import deque

from hypothesis import given
from hypothesis import strategies as st

from relay.core.embargo import Embargo
from relay.core.fuse import Stamped
from relay.core.model import Observation
from relay.core.queue_counts import MOST, QueueCounts


@given(
    st.lists(st.integers(0, 40_000_000), max_size=60).map(sorted),
    st.integers(0, 40_000_000),
    st.tuples(st.integers(0, 40_000_000), st.integers(0, 40_000_000)),
    st.integers(2, 30),
)
def test_counts_are_those_of_what_the_embargo_holds(
    moments: list[int], had_us: int, cut: tuple[int, int], most: int
) -> None:
    """Whatever was let through or cut, the buckets hold each observation that is still held, once, where it belongs."""
    embargo = Embargo(1)
    for row, moment in enumerate(moments, 1):
        embargo.hold(Stamped(moment, row, 0, Observation(depth_m=1.0)))
    embargo.due(0, had_us)
    embargo.cut(min(cut), max(cut))
    held = [stamped.embargo_us for stamped in embargo.waiting()]
    begin, wide, counts = embargo.counts.buckets(40_000_000, most)
    assert len(counts) <= most
    edges = [begin + at * wide for at in range(len(counts))]
    assert counts == [sum(edge <= one < edge + wide for one in held) for edge in edges]
    assert sum(counts) == len(held)


def test_many_buckets_become_wider_ones() -> None:
    """Days of an embargo cost no more to draw than hours: the buckets double, and nothing is lost or counted twice."""
    counts, held = QueueCounts(), deque[int]()
    for at in range(3 * MOST):
        counts.add(at * 1_000_000)
        held.append(at * 1_000_000)
    assert counts.bucket_us == 4_000_000
    for _ in range(MOST):
        counts.remove(held.popleft())
    begin, _, shown = counts.buckets(held[-1], 100)
    assert (sum(shown), begin <= held[0]) == (len(held), True)
    assert len(shown) <= 100
