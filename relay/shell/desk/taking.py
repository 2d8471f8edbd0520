"""How a decision is taken aboard: judged, journalled and, if it is a hold, let act before anything else is asked.

Rules: a hold needs the channels alone, and acts first: whatever breaks after that, it is held, and that is what is
answered. Decisions are judged beside those that were taken before them and aren't on the disk yet. A hold that adds
nothing to one that is still on its way, or that was answered before the disk had it, is that one: a desk that asks
again fills no journal.
"""

from collections import deque
from collections.abc import Iterable
from typing import Any

from relay.core.decision import (
    ActsAtOnce,
    Approve,
    Back,
    Begin,
    Decision,
    Dismiss,
    End,
    HideZone,
    Hold,
    LiftZone,
    Resume,
    read_decision,
    word_for,
    write_decision,
)
from relay.core.errors import OperatorError
from relay.core.find import Find
from relay.core.model import RowKind
from relay.core.pipeline import Pipeline
from relay.shell.desk.desk_decided import decision_words
from relay.shell.desk.standing import check_decision, check_names
from relay.shell.record.clock import EmbargoClock
from relay.shell.record.journal import Journal

DESK = "desk"
NO_ROOM = "the journal has no room: nothing is taken until the disk can be written"
HELD_ALL_THE_SAME = "it is HELD, but the journal has no room to note it: a restart would release again"
ONLY_JOURNALLED = "the release has stopped: this is only journalled, and acts when the relay is started again"


class Taking:
    """Takes the decisions of one running relay."""

    def __init__(self, pipeline: Pipeline, journal: Journal, clock: EmbargoClock) -> None:
        self._pipeline, self._journal, self._clock = pipeline, journal, clock
        self._unwritten: deque[tuple[int, Decision]] = deque()
        self._last: tuple[int, str, str | None] | None = None
        self._owed: tuple[int, str, str | None] | None = None

    def take(self, data: bytes, who: str, stopped: str | None) -> dict[str, Any]:
        """Take a decision and say what it does; OperatorError if it can't be. `stopped`: why nothing is released."""
        decision = read_decision(data)
        answer = self._hold(decision, who) if isinstance(decision, Hold) else self._other(decision, who)
        return answer if stopped is None else {**answer, "but": ONLY_JOURNALLED}

    def durable(self, row: int) -> None:
        """Note that the disk has everything up to a row."""
        while self._unwritten and self._unwritten[0][0] <= row:
            self._unwritten.popleft()

    def was_late(self) -> None:
        """Note that somebody was answered before the disk had what was taken last."""
        self._owed = self._last

    def _hold(self, hold: Hold, who: str) -> dict[str, Any]:
        check_names(hold, self._pipeline)
        hold = self._pipeline.completed_hold(hold)
        self._pipeline.halt(self._journal.rows + 1, hold)
        try:
            row = self._same(hold, who)
            if row is None:
                row = self._append(hold, who)
                self._last = row, who, hold.audience
        except Exception as error:  # it only removes, so it stays; the words of the fault may hold a position
            raise OperatorError(_held_all_the_same(error)) from error
        return {"taken": "hold", "words": decision_words(hold, 0), "row": row}

    def _same(self, hold: Hold, who: str) -> int | None:
        """Return the row of a hold that this one adds nothing to."""
        if self._last is None or self._last[2] not in (None, hold.audience):
            return None
        if self._last[0] in [row for row, _ in self._unwritten]:
            return self._last[0]
        if self._owed != self._last or self._last[1] != who:
            return None
        self._owed = None
        return self._last[0]

    def _other(self, decision: Decision, who: str) -> dict[str, Any]:
        now_us = self._clock.now_us()
        decision, before = self._pipeline.completed(decision, now_us), [other for _, other in self._unwritten]
        check_beside(decision, before)
        answer = check_decision(decision, self._pipeline, now_us, _under_way(before))
        row = self._append(decision, who)
        if isinstance(decision, Resume):
            self._last = None
        return {**answer, "words": decision_words(decision, now_us), "row": row}

    def _append(self, decision: Decision, who: str) -> int:
        data, acts = write_decision(decision, who), isinstance(decision, ActsAtOnce)
        if not self._journal.append(DESK, RowKind.DECISION, data, acts=acts):
            raise OperatorError(NO_ROOM)
        row = self._journal.rows
        self._unwritten.append((row, decision))
        return row


def _held_all_the_same(error: Exception) -> str:
    if isinstance(error, OperatorError):
        return HELD_ALL_THE_SAME
    why = f"a fault of Offing's own ({type(error).__name__}) kept it out of the journal"
    return f"it is HELD, but {why}: a restart would release again"


def _under_way(before: Iterable[Decision]) -> bool | None:
    """Return whether a dive is under way by what was decided and isn't on the disk yet; None: that says nothing."""
    told = [isinstance(other, Begin) for other in before if isinstance(other, Begin | End)]
    return told[-1] if told else None


def check_beside(decision: Decision, before: Iterable[Decision]) -> None:
    """Refuse what somebody has just decided, or decided otherwise, though it isn't on the disk yet."""
    mine = _about(decision)
    for other in before:
        if mine is not None and mine == _about(other):
            raise OperatorError(f"{mine[1]} has just been decided upon ({word_for(other)}): look again")


def _about(decision: Decision) -> tuple[str, str] | None:
    """Return of what there can be one decision alone."""
    match decision:
        case Approve() | Dismiss():
            return "say", f"row {decision.say}"
        case HideZone() | LiftZone():
            return "zone", f'the zone "{decision.name}"'
        case Find():
            return "find", f'the find "{decision.name}"'
        case Back():
            return "back", f"that {decision.vehicle} is back"
        case _:
            return None
