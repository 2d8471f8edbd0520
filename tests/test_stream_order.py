"""Which message of a stream is taken: whatever it repeats, drops, reorders or invents, a reader holds a true prefix."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.history import NOTHING, History, Position
from relay.core.stream_order import Verdict, judge, message_id, read_position, say_position
from relay.shell.released.outlet import Frame
from released import dive, programme
from streams import SHIP, sealed

FRAMES = sealed([*dive(1, 4), *dive(2, 2), *dive(3, 3, closed=False)])
PLACES = [NOTHING, *(Position(frame.dive, frame.seq) for frame in FRAMES)]
FALSE = [replace(frame, data=frame.data[:9] + bytes([frame.data[9] ^ 4]) + frame.data[10:]) for frame in FRAMES]


def taken(history: History, frame: Frame, follows: Position | None) -> Verdict:
    """Judge a frame, and keep it if it is next."""
    verdict = judge(history, SHIP.key, frame.data, follows)
    if verdict is Verdict.NEXT:
        (history.post if frame.dive == 0 else history.append)(frame)
    return verdict


messages = st.lists(st.tuples(st.integers(0, len(FRAMES) - 1), st.integers(0, len(FRAMES)), st.sampled_from([0, 0, 1])))


@given(messages)
def test_history_is_always_a_true_prefix(said: list[tuple[int, int, int]]) -> None:
    """Frames in any order, true or altered, with any word on what they follow: no gap, nothing false, nothing twice."""
    history = History("public")
    for at, follows, false in said:
        taken(history, (FALSE if false else FRAMES)[at], PLACES[follows])
    held, _ = history.after(NOTHING, 1_000)
    whole = [frame.data for frame in FRAMES]
    begins = whole.index(held[0]) if held else 0  # who can alter every message can hide the first dives, no others
    assert held == whole[begins : begins + len(held)]
    assert FRAMES[begins].seq == 0


@given(st.permutations(range(len(FRAMES))))
def test_reading_again_from_the_first_message_comes_to_the_end(order: list[int]) -> None:
    """Each reading takes at least one record more: as many readings as records are enough for any order."""
    history = History("public")
    for _ in FRAMES:
        for at in order:
            taken(history, FRAMES[at], PLACES[at])
    assert history.after(NOTHING, 1_000)[0] == [frame.data for frame in FRAMES]


def filled(count: int) -> History:
    """Return a history of the first frames."""
    history = History("public")
    for frame in FRAMES[:count]:
        history.append(frame)
    return history


def test_each_verdict() -> None:
    """One case of each, at the limit and beside it."""
    history = filled(3)
    assert judge(history, SHIP.key, FRAMES[3].data, PLACES[3]) is Verdict.NEXT
    assert judge(history, SHIP.key, FRAMES[2].data, PLACES[2]) is Verdict.HELD
    assert judge(history, SHIP.key, FRAMES[4].data, PLACES[4]) is Verdict.GAP
    assert judge(history, SHIP.key, FRAMES[3].data, None) is Verdict.GAP
    assert judge(history, SHIP.key, FRAMES[6].data, PLACES[3]) is Verdict.GAP  # a dive before the last one's end
    assert judge(history, SHIP.key, FALSE[3].data, PLACES[3]) is Verdict.UNSIGNED
    assert judge(history, SHIP.key, FALSE[4].data, PLACES[3]) is Verdict.UNSIGNED  # what is false is no gap, either
    skipping = sealed(dive(3, 0))[0]
    assert judge(filled(6), SHIP.key, skipping.data, PLACES[6]) is Verdict.SKIP
    assert judge(filled(6), SHIP.key, skipping.data, PLACES[5]) is Verdict.GAP
    assert judge(history, SHIP.key, b"", PLACES[3]) is Verdict.UNSIGNED
    assert judge(history, bytes(32), FRAMES[3].data, PLACES[3]) is Verdict.UNSIGNED
    other = sealed(dive(1, 2))[3]  # an end where the longer dive has a tick
    assert judge(filled(5), SHIP.key, other.data, PLACES[3]) is Verdict.OTHER


def test_frame_for_another_audience_is_not_taken() -> None:
    """The signature is for one audience: what funders were told doesn't become public by another subject."""
    funders = sealed(dive(1, 4, audience="funders"))
    assert judge(History("public"), SHIP.key, funders[0].data, NOTHING) is Verdict.UNSIGNED


def test_programme_is_replaced_by_later_ones_alone() -> None:
    """Of no dive, so nothing comes before it; a number told before isn't told again."""
    history = History("public")
    posts = sealed([programme(number, f"post {number}") for number in range(4)])
    assert [taken(history, posts[at], None) for at in (1, 0, 1, 3, 2)] == [
        Verdict.NEXT,
        Verdict.HELD,
        Verdict.HELD,
        Verdict.NEXT,
        Verdict.HELD,
    ]
    other = sealed([programme(3, "another")])[0]
    assert judge(history, SHIP.key, other.data, None) is Verdict.OTHER


@pytest.mark.parametrize("position", PLACES)
def test_position_is_read_as_it_was_said(position: Position) -> None:
    """A header of a message names a position and nothing else does."""
    assert read_position(say_position(position)) == position


@pytest.mark.parametrize("text", ["", "1", "1.", ".1", "1.-2", "-1.0", "1.0 ", "1.0.0", "1e3.0", "٣.1", "1234567890.1"])
def test_what_names_no_position_is_none(text: str) -> None:
    """Bad headers are read as none."""
    assert read_position(text) is None


def test_message_ids_are_of_one_record_each() -> None:
    """Dive, audience and number: the stream's server refuses the same one twice."""
    names = {message_id(name, place) for name in ("public", "funders") for place in PLACES}
    assert len(names) == 2 * len(PLACES)
    assert message_id("public", Position(3, 41)) == "3-public-41"
