"""What the operator says: one way of taking it, for the control socket and for the desk."""

import json
from typing import Any

import pytest

from relay.shell.desk.deciding import CONFIRM_S, NOBODY, NOT_SETTLED, QUESTIONS, STOP_SETTLE_S, Deciding
from wheelhouse import Wheelhouse


def test_early_release_is_taken_only_at_the_second_time_of_asking() -> None:
    """A wrong code, a code for another message, and one that is too old are asked again; the right one works once."""
    bridge, now = Wheelhouse(), [0.0]
    deciding = Deciding(bridge, lambda: now[0])

    def early(code: str | None = None, upto_us: int = 5) -> dict[str, Any]:
        message = {"do": "early", "audience": "public", "upto_us": upto_us, "who": "Ines"}
        return deciding.answer(json.dumps(message if code is None else {**message, "code": code}).encode())

    first = early()["confirm"]
    assert "confirm" in early("00000000")
    assert "confirm" in early(first)  # asking anew had made it void
    code = early()["confirm"]
    assert "confirm" in early(code, upto_us=6)
    code = early()["confirm"]
    now[0] += CONFIRM_S + 0.1
    assert "confirm" in early(code)
    code = early()["confirm"]
    now[0] += CONFIRM_S
    assert early(code) == {"ok": True, "taken": "early"}
    assert "confirm" in early(code)
    assert bridge.taken == [({"do": "early", "audience": "public", "upto_us": 5}, "Ines")]


def test_questions_of_two_desks_do_not_void_each_other_and_are_bounded() -> None:
    """Each message has a question of its own, so two desks can ask at once; of too many the oldest is asked again."""
    bridge = Wheelhouse()
    deciding = Deciding(bridge, lambda: 0.0)

    def early(upto_us: int, code: str | None = None) -> dict[str, Any]:
        message = {"do": "early", "audience": "public", "upto_us": upto_us, "who": "Ines"}
        return deciding.answer(json.dumps(message if code is None else {**message, "code": code}).encode())

    first, second = early(1)["confirm"], early(2)["confirm"]
    assert early(1, first) == early(2, second) == {"ok": True, "taken": "early"}
    codes = [early(upto_us)["confirm"] for upto_us in range(QUESTIONS + 1)]
    assert "confirm" in early(0, codes[0])
    assert early(QUESTIONS, codes[-1]) == {"ok": True, "taken": "early"}


@pytest.mark.parametrize("who", ["Ines", "", None, 7, "x" * 81, "a\nb", ["Ines"]])
async def test_stop_is_taken_whatever_is_wrong_with_the_name(who: object) -> None:
    """A hand on the stop is not asked for its name twice: a bad one becomes the desk's."""
    bridge = Wheelhouse()
    answer = await Deciding(bridge, lambda: 0.0).stop(who)
    assert answer == {"ok": True, "held": True, "on_disk": True, "taken": "hold"}
    assert bridge.taken == [({"do": "hold"}, "Ines" if who == "Ines" else NOBODY)]


async def test_answer_says_so_when_the_disk_does_not_take_a_decision() -> None:
    """What was taken acts, and whoever took it learns that a power cut now would lose it."""
    bridge = Wheelhouse()
    bridge.full = True
    deciding = Deciding(bridge, lambda: 0.0)
    stopped = await deciding.stop("Ines")
    assert (stopped["held"], stopped["on_disk"], stopped["but"]) == (True, False, NOT_SETTLED)
    assert bridge.patience_s == STOP_SETTLE_S
    assert (await deciding.take(b'{"do": "begin", "who": "Ines"}'))["but"] == NOT_SETTLED
    assert "but" not in await deciding.take(b'{"do": "begin"}')


@pytest.mark.parametrize("data", [b"", b"[1]", b"7", b"\xff", b'{"do": "hold"}', b"[" * 100_000, b'{"do": {"a": 1}}'])
async def test_what_is_no_decision_says_why_and_changes_nothing(data: bytes) -> None:
    """Nonsense of every form is refused in words, and nothing of it is taken."""
    bridge = Wheelhouse()
    answer = await Deciding(bridge, lambda: 0.0).take(data)
    assert answer["ok"] is False and answer["why"]
    assert bridge.taken == []
