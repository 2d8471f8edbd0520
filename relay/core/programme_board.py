"""What one audience was told of the programme, and when the countdown in it comes to its next step.

Rules: everything here goes by the ticks at which input went through the embargo, so a step is as late as a record of
the same tick (R2); numbers are gapless from 0 within an audience, across dives and restarts (R5); a programme is for
the next dive: once that begins its countdown is over.
"""

from relay.core.policy import MICROSECONDS, Policy
from relay.core.programme import Programme, Told, coarse_s, next_step_s
from relay.core.release import ProgrammeLog, ReleasedRecord


class Board:
    """The programme of one audience."""

    def __init__(self, policy: Policy, told: Told | None) -> None:
        """`told`: what was told before a restart."""
        self.told = told
        self._policy, self._log = policy, ProgrammeLog(policy.audience)

    @property
    def in_force(self) -> ReleasedRecord | None:
        """The last record again, byte for byte."""
        return None if self.told is None else self._record(self.told)

    def take(self, programme: Programme, at_us: int, dive: int) -> ReleasedRecord | None:
        """Return the record of a programme that came through at a tick; `dive`: the number of the next dive."""
        in_s = programme.next_dive_in_s
        about_s = None if in_s is None else coarse_s(in_s, self._policy.extra_us)
        number = 0 if self.told is None else self.told.number + 1
        told = Told(number, at_us, programme.pinned, programme.schedule, about_s, about_s, dive)
        if told.is_empty and (self.told is None or self.told.is_empty):
            return None
        self.told = told
        return self._record(told)

    def begun(self, dive: int) -> None:
        """End the countdown if this is the dive that it was for."""
        if self.told is not None and dive >= self.told.dive:
            self.told = self.told.begun()

    def next_us(self) -> int | None:
        """Return the moment from which on less is left than was told last; None where that stays."""
        told = self.told
        if told is None or told.about_s is None or told.left_s is None:
            return None
        below_s = next_step_s(told.left_s, self._policy.extra_us)
        return None if below_s is None else told.tick_us + round((told.about_s - below_s) * MICROSECONDS) + 1

    def step(self, at_us: int) -> ReleasedRecord | None:
        """Return the countdown's next step, if it has come by this tick."""
        due_us, told = self.next_us(), self.told
        if due_us is None or at_us < due_us or told is None or told.about_s is None:
            return None
        left_s = told.about_s - (at_us - told.tick_us) / MICROSECONDS
        self.told = told.stepped(coarse_s(left_s, self._policy.extra_us))
        return self._record(self.told)

    def _record(self, told: Told) -> ReleasedRecord:
        return self._log.programme(told.number, told.pinned, told.schedule, told.left_s, told.dive)
