"""How much may go on the link: the arithmetic of a token bucket, written out beside each check."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.uplink_pace import Allowance, Lately


def test_burst_goes_at_once_and_the_rest_at_the_rate() -> None:
    """At 8,000 bit/s, 1,000 octets a second: 2,000 at once, then what is owed takes its time."""
    allowance = Allowance(8_000, 2_000, 0.0)
    allowance.spend(2_000, 0.0)
    assert allowance.wait_s(0.0) == 0.0
    allowance.spend(500, 0.0)
    assert allowance.wait_s(0.0) == pytest.approx(0.5)
    assert allowance.wait_s(0.4) == pytest.approx(0.1)
    assert allowance.wait_s(0.5) == pytest.approx(0.0)


def test_rest_does_not_gather_beyond_the_burst() -> None:
    """After an hour without a byte no more than the burst may go at once."""
    allowance = Allowance(8_000, 2_000, 0.0)
    allowance.spend(2_001, 3_600.0)
    assert allowance.wait_s(3_600.0) == pytest.approx(0.001)


def test_no_more_than_a_minute_is_owed() -> None:
    """A flood of 100 MiB at 64 kbit/s keeps the link silent for a minute, not for hours; the slowest owes 16 KiB."""
    allowance, slow = Allowance(64_000, 8_192, 0.0), Allowance(1_024, 512, 0.0)
    for each in (allowance, slow):
        each.spend(100 * 2**20, 0.0)
    assert allowance.wait_s(0.0) == pytest.approx(60.0)
    assert slow.wait_s(0.0) == pytest.approx(128.0)


def test_no_limit_never_waits() -> None:
    """Without a limit everything may go."""
    allowance = Allowance(None, 0, 0.0)
    allowance.spend(10**9, 1.0)
    assert allowance.wait_s(1.0) == 0.0


@given(st.lists(st.integers(1, 9_000), min_size=1, max_size=200), st.integers(1_000, 10**6))
def test_rate_holds_over_any_stretch(pieces: list[int], rate: int) -> None:
    """Whatever is sent, what has gone by a moment is never more than the burst, the rate, and one piece."""
    allowance, now_s, gone = Allowance(rate, 8_192, 0.0), 0.0, 0
    for piece in pieces:
        now_s += allowance.wait_s(now_s)
        allowance.spend(piece, now_s)
        gone += piece
        assert gone <= 8_192 + rate / 8 * now_s + piece + 1e-3


def test_rate_of_the_last_minute() -> None:
    """100 octets a second are 800 bit/s, whatever was before the last minute; the total counts all."""
    lately = Lately()
    lately.note(1_000_000, 0.0)
    for second in range(1, 181):
        lately.note(100, float(second))
    assert lately.bits_per_s(180.0) == pytest.approx(800, rel=0.02)
    assert lately.total == 1_018_000
    assert Lately().bits_per_s(5.0) == 0.0
