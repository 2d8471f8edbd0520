"""Deadlines in turns: each connection is due once, and stands on the wheel once."""

import pytest

from relay.shell.site.wheel import Wheel


class Waiting:
    """A connection that notes when it was due."""

    def __init__(self) -> None:
        self.deadline = 0
        self.dues = 0

    def due(self) -> None:
        self.dues += 1

    def leave(self) -> None:
        raise AssertionError("nobody leaves here")

    abort = leave


@pytest.mark.parametrize("turns", [1, 2, 60])
def test_connection_is_due_after_its_turns_and_once(turns: int) -> None:
    """Not a turn before, and not again."""
    wheel, waiting = Wheel(), Waiting()
    wheel.put(waiting, turns)
    for _ in range(turns - 1):
        wheel.turn()
    assert waiting.dues == 0
    for _ in range(100):
        wheel.turn()
    assert waiting.dues == 1
    assert len(wheel) == 0


def test_later_deadline_replaces_the_earlier() -> None:
    """A connection stands on the wheel once; taken off, it is never due."""
    wheel, moved, removed = Wheel(), Waiting(), Waiting()
    for connection in (moved, removed):
        wheel.put(connection, 1)
    wheel.put(moved, 3)
    wheel.remove(removed)
    assert list(wheel) == [moved]
    wheel.turn()
    assert (moved.dues, removed.dues) == (0, 0)
    wheel.turn()
    wheel.turn()
    assert (moved.dues, removed.dues) == (1, 0)


def test_zero_turns_are_one() -> None:
    """A deadline is never in the turn that sets it: nobody is due twice in one turn."""
    wheel, waiting = Wheel(), Waiting()
    wheel.put(waiting, 0)
    wheel.turn()
    assert waiting.dues == 1
