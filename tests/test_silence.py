"""Who has fallen silent in a dive: at a minute, or at three of its own gaps, and nobody who wasn't heard in it."""

import pytest

from relay.core.silence import MISSING, SILENT_US, Silence, silence_alarms

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR_US = 3_600 * SECOND


@pytest.mark.parametrize(("every_us", "limit_us"), [(100_000, SILENT_US), (3 * MINUTE, MISSING * 3 * MINUTE)])
def test_silent_is_past_a_minute_or_past_three_gaps_of_its_own(every_us: int, limit_us: int) -> None:
    """A quick feed is missed after a minute (common practice, no source), one of each three minutes after nine."""
    silence = Silence()
    for at in range(10):
        silence.hear("station", at * every_us)
    last_us = 9 * every_us
    assert not silence.is_silent("station", last_us + limit_us, 0)
    assert silence.is_silent("station", last_us + limit_us + 1, 0)
    silence.hear("station", last_us)
    assert silence.is_silent("station", last_us + limit_us + 1, 0)


def test_long_silence_that_ended_does_not_hide_the_next_for_long() -> None:
    """Five gaps count: after as many reports it is again as quick to be missed as before."""
    silence = Silence()
    for at_us in [*range(0, 10 * SECOND, SECOND), *range(HOUR_US, HOUR_US + 6 * SECOND, SECOND)]:
        silence.hear("station", at_us)
    assert silence.is_silent("station", HOUR_US + 5 * SECOND + SILENT_US + 1, 0)


def test_nobody_is_missed_who_was_not_heard_in_this_dive() -> None:
    """On deck, or switched off since the last dive: no alarm at the begin of each."""
    silence = Silence()
    silence.hear("station", 5 * SECOND)
    assert not silence.is_silent("station", HOUR_US, 5 * SECOND + 1)
    assert silence.is_silent("station", HOUR_US, 5 * SECOND)
    assert not silence.is_silent("other", HOUR_US, 0)


def test_alarms_name_who_is_silent() -> None:
    """In words that stay the same while it lasts."""
    assert silence_alarms(["Moth"], ["position"]) == [
        "nothing is heard of Moth any more, and the dive goes on",
        "the feed position is silent, and the dive goes on",
    ]
