"""The growth of a counter: over its window alone, in bounded memory, and none where none is known."""

import pytest

from relay.core.rate import Rate

SECOND = 1_000_000


def test_rate_of_an_even_growth_is_that_growth() -> None:
    """Three a second are three a second, from the second sample on."""
    rate = Rate(window_s=60.0)
    rate.take(5 * SECOND, 100)
    assert rate.per_s() is None
    for at in range(1, 300):
        rate.take((5 + at) * SECOND, 100 + 3 * at)
        assert rate.per_s() == pytest.approx(3.0)


def test_rate_forgets_what_lies_before_its_window() -> None:
    """A minute after a burst only the calm counts."""
    rate = Rate(window_s=60.0)
    for at in range(121):
        rate.take(at * SECOND, 1_000 * at if at < 60 else 60_000 + 2 * (at - 60))
    assert rate.per_s() == pytest.approx(2.0, rel=0.02)


def test_rate_keeps_few_samples_however_often_it_is_asked() -> None:
    """Ten times a second for eight hours leave no more than one sample a sixtieth of the window."""
    rate = Rate(window_s=600.0, samples=60)
    for at in range(288_000):
        rate.take(at * SECOND // 10, at)
    assert len(rate._kept) <= 61 + 1
    assert rate.per_s() == pytest.approx(10.0)


@pytest.mark.parametrize(("at_us", "count"), [(9 * SECOND, 200), (20 * SECOND, 5)])
def test_rate_begins_anew_where_counter_or_clock_goes_back(at_us: int, count: int) -> None:
    """A file begun anew is no negative growth."""
    rate = Rate()
    rate.take(0, 0)
    rate.take(10 * SECOND, 100)
    rate.take(at_us, count)
    assert rate.per_s() is None
    rate.take(at_us + 20 * SECOND, count + 40)
    assert rate.per_s() == pytest.approx(2.0)
