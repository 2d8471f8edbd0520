"""Heads of the exact record that give something away: faults for the paired runs to find.

`planted_heads.py` plants such faults for the tests that look at heads alone; here they show that the paired runs, which
look at everything that leaves and when, would find them without those tests.
"""

import pytest

from relay.core.channel import Channel, _Dive
from relay.core.record_log import RecordLog
from relay.core.release import ReleasedRecord


def head_over_all_that_came(planted: pytest.MonkeyPatch) -> None:
    """Make a head over every minute that is whole by now, instead of by its tick."""

    def released(log: RecordLog, minutes: int, audience: str, dive: int, minute: int) -> bytes:
        return right(log, max(minutes, log.minute), audience, dive, minute)

    right = RecordLog.released
    planted.setattr(RecordLog, "released", released)


def head_when_a_minute_is_whole(planted: pytest.MonkeyPatch) -> None:
    """Let a head leave with whichever tick comes after a minute of the ship is whole."""

    def head(channel: Channel, dive: _Dive, at_us: int) -> list[ReleasedRecord]:
        dive.sealed_minute = seen.get(id(dive), -1) if channel._record.minute == seen.get(id(dive)) else -1
        seen[id(dive)] = channel._record.minute
        return right(channel, dive, at_us) if dive.sealed_minute == -1 else []

    seen: dict[int, int] = {}
    right = Channel._head
    planted.setattr(Channel, "_head", head)
