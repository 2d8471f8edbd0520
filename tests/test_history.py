"""What an audience has been sent: order kept, positions answered, recordings as the wire reads them."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.errors import OutOfOrderError
from relay.core.history import NOTHING, History, Position, is_next
from relay.core.wire import decode, read_recording
from released import dive, programme

DIVES = [*dive(1, 3), *dive(2, 0), *dive(5, 4, closed=False)]
PLACES = [Position(frame.dive, frame.seq) for frame in DIVES]


def filled() -> History:
    """Return a history of three dives, the last one open."""
    history = History("public")
    for frame in DIVES:
        history.append(frame)
    return history


def test_head_grows_with_every_frame() -> None:
    """The head is the last frame's position, NOTHING before the first."""
    history = History("public")
    assert history.head == NOTHING
    for frame in DIVES:
        history.append(frame)
        assert history.head == (frame.dive, frame.seq)


@pytest.mark.parametrize(
    "after",
    [
        dive(6, 1)[1],  # a dive that does not begin at 0
        dive(5, 9)[4],  # said already
        dive(5, 9)[6],  # one left out
        dive(4, 1)[0],  # an earlier dive
        replace(dive(5, 9)[5], seq=7),  # the envelope is not the letter
        replace(dive(6, 9)[0], dive=7),
    ],
)
def test_frame_out_of_order_is_not_taken(after: object) -> None:
    """It raises, and the history is what it was."""
    history = filled()
    with pytest.raises(OutOfOrderError):
        history.append(after)  # type: ignore[arg-type]
    assert history.after(NOTHING, 100) == ([frame.data for frame in DIVES], PLACES[-1])


def test_nothing_follows_the_end_of_a_dive() -> None:
    """A frame numbered after END is refused (the contract of the wire)."""
    history = History("public")
    frames = dive(1, 2)
    for frame in frames:
        history.append(frame)
    with pytest.raises(OutOfOrderError):
        history.append(dive(1, 9)[len(frames)])


@given(
    st.builds(Position, st.integers(0, 7), st.integers(-1, 9)),
    st.integers(1, 12),
)
def test_after_gives_the_frames_beyond_a_position(position: Position, limit: int) -> None:
    """For any position, real or not: the frames whose (dive, seq) is greater, oldest first; `owed` counts them all."""
    beyond = [frame.data for frame, place in zip(DIVES, PLACES, strict=True) if place > position]
    history = filled()
    frames, reached = history.after(position, limit)
    assert frames == beyond[:limit]
    assert reached == (PLACES[-len(beyond) :][len(frames) - 1] if frames else position)
    owed = history.owed(position)
    assert (owed.frames, owed.octets) == (len(beyond), sum(map(len, beyond)))


def test_recording_is_what_the_wire_reads() -> None:
    """The wire's own reader takes it; closed with a footer, open without."""
    history = filled()
    closed, open_dive = history.dive(1), history.dive(5)
    assert closed is not None
    assert open_dive is not None
    read = read_recording(closed.recording())
    assert read.closed
    assert [record.data for record in read.records] == [frame.data for frame in DIVES if frame.dive == 1]
    assert not read_recording(open_dive.recording()).closed
    assert history.dive(3) is None


def test_tag_names_exactly_these_frames() -> None:
    """Every frame changes the tag."""
    history = History("public")
    tags = set()
    for frame in dive(1, 5):
        history.append(frame)
        tags.add(history.dives[0].tag)
    assert len(tags) == 7


def test_programme_is_of_no_dive_and_only_grows() -> None:
    """It is kept beside the dives and changes nothing of them; one that is no later, or no programme, isn't taken."""
    history = filled()
    head = history.head
    for number in (0, 3):
        history.post(programme(number, f"no {number}"))
    for wrong in (programme(3, "again"), programme(2, "earlier"), DIVES[0], replace(programme(4, "x"), seq=5)):
        with pytest.raises(OutOfOrderError):
            history.post(wrong)
    assert history.programme is not None
    assert (history.programme.seq, history.head) == (3, head)


def test_what_follows_what() -> None:
    """The next number; after an end the begin of a later dive, whichever; nothing else, first or later."""
    records = [decode(frame.data) for number in (1, 2, 4) for frame in dive(number, 1)]
    begins, tick, end = records[:3]
    assert is_next(begins, NOTHING, False)
    assert is_next(records[6], NOTHING, False)
    assert not is_next(tick, NOTHING, False)
    assert is_next(tick, Position(1, 0), False)
    assert not any(is_next(record, Position(1, 0), False) for record in (begins, end, *records[3:]))
    assert [is_next(record, Position(1, 2), True) for record in records] == [False] * 3 + [True, False, False] * 2


def test_dive_does_not_begin_before_the_last_one_has_ended() -> None:
    """A history takes what follows, by the one rule, and keeps nothing of the rest."""
    history = History("public")
    for frame in dive(1, 1, closed=False):
        history.append(frame)
    with pytest.raises(OutOfOrderError, match="before dive 1 has ended"):
        history.append(dive(2, 1)[0])
    history.append(dive(1, 1)[2])
    history.append(dive(3, 1)[0])
    assert history.head == (3, 0)
