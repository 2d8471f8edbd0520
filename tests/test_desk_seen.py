"""What each audience sees, for the desk: from the released records as they were encoded, whatever is true (R7)."""

import pytest

from relay.core.release import Kind
from relay.core.wire import decode
from relay.shell.desk.desk_seen import LATELY_US, Seen
from released import dive, dive_with_stills, programme
from test_still import jpeg


@pytest.mark.parametrize("stills", [False, True])
def test_seen_is_what_the_records_say(stills: bool) -> None:
    """The newest tick's values, the track and the annotations of a dive, read back from its frames alone."""
    frames = dive_with_stills(1, [jpeg(), jpeg()]) if stills else dive(1, 12)
    seen = Seen(["public"], lambda _: 5_000_000)
    for frame in frames:
        seen.take(frame)
    shown, records = seen.shown["public"], [decode(frame.data) for frame in frames]
    ticks = [record for record in records if record.kind == Kind.TICK]
    assert (shown.dive, shown.records, shown.octets) == (1, len(frames), sum(len(frame.data) for frame in frames))
    for at, name in enumerate(shown.vehicles):
        row = ticks[-1].body[at]
        report = shown.reports[at]
        assert [report["east_m"], report["north_m"], report["depth_m"], report["leg"]] == [
            row[1],
            row[2],
            row[3],
            row[7],
        ]
        assert report["heard"] == (row[0] == "reporting")
        track = [(tick.elapsed_s, *tick.body[at][1:4]) for tick in ticks if tick.body[at][1] is not None]
        assert [point for point in shown.trails[name].points() if point[1] is not None] == track
    assert shown.at_us == 5_000_000 + round(records[-1].elapsed_s * 1e6)
    assert [note.text for note in shown.notes] == [
        record.body[1] for record in records if record.kind in (Kind.NOTE, Kind.STILL)
    ]
    assert shown.over == (records[-1].kind == Kind.END)


def test_next_dive_begins_afresh_but_for_what_was_sent_in_all() -> None:
    """What the last dive showed isn't shown as the next one's; octets go on being counted."""
    seen = Seen(["public"], lambda _: None)
    first, second = dive(1, 8), dive(2, 3)
    for frame in (*first, *second):
        seen.take(frame)
    shown = seen.shown["public"]
    assert (shown.dive, shown.records) == (2, len(second))
    assert shown.octets == sum(len(frame.data) for frame in (*first, *second))
    assert shown.at_us is None


@pytest.mark.parametrize("before", [0, 3])
def test_programme_is_no_part_of_the_dive_that_is_seen(before: int) -> None:
    """One that leaves during a dive, after one, or before the first changes neither age nor count, only octets."""
    seen, told = Seen(["public"], lambda _: 5_000_000), programme(0, "The boiler is next.")
    frames = dive(1, before, closed=False) if before else []
    for frame in frames:
        seen.take(frame)
    shown = seen.shown["public"]
    had = (shown.dive, shown.records, shown.elapsed_s, shown.at_us)
    assert had[1] == len(frames)
    seen.take(told)
    shown = seen.shown["public"]
    assert (shown.dive, shown.records, shown.elapsed_s, shown.at_us) == had
    assert shown.octets == sum(len(frame.data) for frame in (*frames, told))


@pytest.mark.parametrize("passed_us", [LATELY_US - 1, LATELY_US])
def test_lately_is_a_minute(passed_us: int) -> None:
    """What left within the last minute is counted, and nothing before it."""
    seen = Seen(["public"], lambda _: None)
    frames = dive(1, 3)
    for frame in frames:
        seen.take(frame)
    last_us = max(frame.instant_us for frame in frames)
    counted = [frame for frame in frames if frame.instant_us and frame.instant_us > last_us + passed_us - LATELY_US]
    assert seen.lately("public", last_us + passed_us) == (sum(len(frame.data) for frame in counted), len(counted))
