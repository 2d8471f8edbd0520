"""What one audience was told of the programme, and when the countdown in it comes to its next step.

Rules: a programme leaves as late as a record of the same tick, and the steps of its countdown are counted from the
moment at which it left. They keep the secret addition that it had, whatever dive has run since: the distance between
two records of a programme is the same for every addition, and tells none (R2). Numbers are gapless from 0 within an
audience, across dives and restarts (R5); a programme is for the next dive: once that begins its countdown is over.
"""

from relay.core.policy import MICROSECONDS, Disclosed, Policy
from relay.core.programme import Programme, Told, coarse_s, next_step_s
from relay.core.release import ProgrammeLog, ReleasedRecord


class Board:
    """The programme of one audience."""

    def __init__(self, policy: Policy, told: Told | None) -> None:
        """`told`: what was told before a restart; since then the audience may have lost the right to be told any."""
        self.told = told
        self.may_be_told = Disclosed.NOTES in policy.fields
        self._policy, self._log = policy, ProgrammeLog(policy.audience)

    @property
    def in_force(self) -> ReleasedRecord | None:
        """The last record again, byte for byte."""
        return None if self.told is None or not self.may_be_told else self._record(self.told)

    @property
    def next_number(self) -> int:
        """The number of the record that comes next."""
        return 0 if self.told is None else self.told.number + 1

    def take(self, programme: Programme, leaves_us: int, dive: int) -> ReleasedRecord | None:
        """Return the record of a programme that leaves at a moment; `dive`: the number of the next dive."""
        in_s = programme.next_dive_in_s
        about_s = None if in_s is None else coarse_s(in_s, self._policy.extra_us)
        told = Told(self.next_number, leaves_us, programme.pinned, programme.schedule, about_s, about_s, dive)
        if told.is_empty and (self.told is None or self.told.is_empty):
            return None
        self.told = told
        return self._record(told)

    def begun(self, dive: int) -> None:
        """End the countdown if this is the dive that it was for."""
        if self.told is not None and dive >= self.told.dive:
            self.told = self.told.begun()

    def next_us(self) -> int | None:
        """Return the moment of the grid at which less is left than was told last; None where that stays."""
        told = self.told
        if told is None or told.about_s is None or told.left_s is None or not self.may_be_told:
            return None
        below_s = next_step_s(told.left_s, self._policy.extra_us)
        if below_s is None:
            return None
        below_us = told.leaves_us + round((told.about_s - below_s) * MICROSECONDS) + 1
        return -(-below_us // self._policy.tick_us) * self._policy.tick_us

    def step(self) -> ReleasedRecord:
        """Return the countdown's next step, of which `next_us` says when it comes."""
        due_us, told = self.next_us(), self.told
        assert due_us is not None
        assert told is not None
        assert told.about_s is not None
        left_s = told.about_s - (due_us - told.leaves_us) / MICROSECONDS
        self.told = told.stepped(coarse_s(left_s, self._policy.extra_us))
        return self._record(self.told)

    def _record(self, told: Told) -> ReleasedRecord:
        return self._log.programme(told.number, told.pinned, told.schedule, told.left_s, told.dive)
