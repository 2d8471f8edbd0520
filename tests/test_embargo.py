"""The hold between receipt and release, as properties."""

from hypothesis import given
from hypothesis import strategies as st

from relay.core.embargo import Embargo
from relay.core.fuse import Stamped
from relay.core.model import Observation


def stamped(moment_us: int, row: int = 1) -> Stamped:
    """Return an observation received at a moment."""
    return Stamped(moment_us, row, 0, Observation(depth_m=1.0))


@given(
    st.lists(st.integers(0, 1_000), max_size=40).map(sorted),
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 1_100)), max_size=40),
)
def test_embargo_gives_each_audience_everything_once_in_order_and_nothing_early(
    moments: list[int], asks: list[tuple[int, int]]
) -> None:
    """Whatever is asked in whatever order: a prefix of what was received, each once, none beyond the moment asked."""
    embargo = Embargo(3)
    for row, moment in enumerate(moments):
        embargo.hold(stamped(moment, row))
    had: list[list[Stamped]] = [[], [], []]
    for audience, upto in asks:
        out = embargo.due(audience, upto)
        assert all(item.embargo_us <= upto for item in out)
        had[audience] += out
    for audience, items in enumerate(had):
        assert [item.row for item in items] == list(range(len(items)))
        furthest = max((upto for who, upto in asks if who == audience), default=-1)
        assert len(items) == sum(moment <= furthest for moment in moments)


def test_embargo_refuses_at_its_limit_and_counts() -> None:
    """At the limit the newest isn't held; once the slowest audience has moved on there is room again."""
    embargo = Embargo(2, limit=2)
    assert embargo.hold(stamped(1))
    assert embargo.hold(stamped(2))
    assert not embargo.hold(stamped(3))
    assert embargo.refused == 1
    embargo.due(0, 10)
    assert not embargo.hold(stamped(4))
    embargo.due(1, 1)
    assert embargo.hold(stamped(5))


def test_embargo_knows_the_oldest_row_that_somebody_has_not_had() -> None:
    """The oldest row is what a restart must read again for the slowest audience."""
    embargo = Embargo(2)
    for row in (4, 5, 6):
        embargo.hold(stamped(row, row))
    embargo.due(0, 100)
    embargo.due(1, 4)
    assert embargo.oldest_row() == 5
    assert embargo.next_us(0) is None
    assert embargo.next_us(1) == 5
