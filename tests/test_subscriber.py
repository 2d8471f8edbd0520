"""One viewer's standing: what it may ask, when the socket is the wrong way, and that it never misses or repeats."""

from itertools import islice

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.history import History, Position
from relay.core.subscriber import Ask, ReplayLimit, Standing, Subscriber, admit, parse_ask
from relay.core.websocket import CloseCode
from relay.shell.released.outlet import Frame
from released import dive, endless_dive

BROAD = ReplayLimit(10_000, 10_000_000)


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("audience=public", Ask("public", None)),
        ("audience=public&dive=3&after=41", Ask("public", Position(3, 41))),
        ("after=-1&dive=1&audience=press%20box", Ask("press box", Position(1, -1))),
        ("audience=public&dive=1&after=0&later=yes", Ask("public", Position(1, 0))),
        ("audience=public&dive=999999999&after=999999999", Ask("public", Position(999_999_999, 999_999_999))),
        ("", None),
        ("audience=", None),
        ("dive=1&after=0", None),
        ("audience=public&dive=1", None),
        ("audience=public&after=1", None),
        ("audience=public&dive=0&after=1", None),
        ("audience=public&dive=-1&after=1", None),
        ("audience=public&dive=1&after=-2", None),
        ("audience=public&dive=1&after=", None),
        ("audience=public&dive=1.0&after=1", None),
        ("audience=public&dive=%D9%A1&after=1", None),
        ("audience=public&dive=1&after=1000000000", None),
        ("audience=public&audience=funders", None),
        ("audience=public&dive=1&dive=1&after=0", None),
        ("audience", None),
        ("audience=public&a&b", None),
        ("audience=public&" + "&".join(f"n{n}=1" for n in range(8)), None),
    ],
)
def test_ask_is_read_or_refused(query: str, expected: Ask | None) -> None:
    """The query of the wire contract; anything that could be read two ways is refused."""
    assert parse_ask(query) == expected


@given(
    st.text(max_size=60) | st.from_regex(r"(audience|dive|after)=[-0-9a-z%]{0,4}(&(dive|after|x)=[-0-9%]{0,3}){0,3}")
)
def test_ask_never_raises(query: str) -> None:
    """Any text gives an ask whose numbers are in range, or none."""
    ask = parse_ask(query)
    if ask is not None and ask.position is not None:
        assert ask.position.dive >= 1
        assert ask.position.seq >= -1


def test_first_ask_is_owed_nothing_of_the_past() -> None:
    """Without a position a viewer stands at the head: live at once."""
    history = filled(dive(1, 50))
    subscriber = admit(Ask("public", None), history, ReplayLimit(0, 0))
    assert isinstance(subscriber, Subscriber)
    assert subscriber.standing(history) is Standing.LIVE


@pytest.mark.parametrize(("frames", "admitted"), [(40, True), (39, False)])
def test_replay_is_limited_in_frames(frames: int, admitted: bool) -> None:
    """Exactly as many as the limit are replayed; one more, and the recording is the way."""
    history = filled(dive(1, 8) + dive(2, 28))
    assert history.owed(Position(1, -1)).frames == 40
    decision = admit(Ask("public", Position(1, -1)), history, ReplayLimit(frames, BROAD.octets))
    assert isinstance(decision, Subscriber) if admitted else decision is CloseCode.HISTORY_FIRST


@pytest.mark.parametrize(("spare", "admitted"), [(0, True), (-1, False)])
def test_replay_is_limited_in_bytes(spare: int, admitted: bool) -> None:
    """Exactly as many bytes as the limit are replayed; one more, and the recording is the way."""
    frames = dive(1, 20)
    octets = sum(len(frame.data) for frame in frames[5:])
    decision = admit(Ask("public", Position(1, 4)), filled(frames), ReplayLimit(BROAD.frames, octets + spare))
    assert isinstance(decision, Subscriber) if admitted else decision is CloseCode.HISTORY_FIRST


@given(st.integers(0, 12), st.integers(-1, 14), st.lists(st.integers(1, 5), max_size=40), st.integers(0, 20))
def test_viewer_gets_everything_after_its_position_once(dive_: int, after: int, steps: list[int], before: int) -> None:
    """However publishing and taking interleave: exactly the frames beyond the position, in order, then live."""
    frames = [*dive(1, 5), *dive(2, 0), *islice(endless_dive(3), 20)]
    position = Position(max(1, dive_ // 4), after)
    history = filled(frames[:before])
    coming = iter(frames[before:])
    subscriber = admit(Ask("public", position), history, BROAD)
    assert isinstance(subscriber, Subscriber)
    got: list[bytes] = []
    for step in steps:
        if step > 3:
            got += subscriber.take(history, step)
        elif (frame := next(coming, None)) is not None:
            history.append(frame)
    for frame in coming:
        history.append(frame)
    while taken := subscriber.take(history, 7):
        got += taken
    assert got == [frame.data for frame in frames if (frame.dive, frame.seq) > position]
    assert (subscriber.standing(history) is Standing.LIVE) == (position <= history.head)


def test_viewer_that_is_ahead_wants_only_what_it_lacks() -> None:
    """It holds more than this server: nothing is owed, and only a later record is wanted."""
    history = filled(dive(1, 10, closed=False))
    subscriber = admit(Ask("public", Position(1, 12)), history, BROAD)
    assert isinstance(subscriber, Subscriber)
    assert subscriber.standing(history) is Standing.AHEAD
    assert subscriber.take(history, 10) == []
    assert [subscriber.wants(1, seq) for seq in (11, 12, 13)] == [False, False, True]
    assert subscriber.wants(2, 0)


def filled(frames: list[Frame]) -> History:
    """Return the history of `frames`."""
    history = History("public")
    for frame in frames:
        history.append(frame)
    return history
