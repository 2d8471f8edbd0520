"""Whether a dive is under way now: for the operator, whose word is lost where there is none.

Rules: judged as an audience without a delay and with a tick of a second would judge it; it releases nothing, and no
audience depends on it.
"""

from collections import deque

from relay.core.decision import Begin, End
from relay.core.dive_phases import DiveWatch
from relay.core.fuse import Fuse, Stamped
from relay.core.policy import MICROSECONDS, Plan

_TICK_US = MICROSECONDS


class Present:
    """The dive that is under way now, if any: fed with all that counts, in order."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._fuse = Fuse(len(plan.vehicles))
        self._idle = DiveWatch(plan.dive)
        self._dive: DiveWatch | None = None
        self._ended: DiveWatch | None = None  # ended by hand: nothing begins by itself until it would have ended, too
        self._by_hand = False
        self._waiting: deque[Stamped] = deque()
        self._tick_us = 0

    def take(self, stamped: Stamped) -> None:
        """Take an observation, or a decision that tells something."""
        self._advance(stamped.embargo_us - 1)
        self._waiting.append(stamped)

    def under_way(self, at_us: int) -> bool:
        """Return whether a dive is under way at a moment that is not before what was taken."""
        self._advance(at_us)
        told = [stamped.said for stamped in self._waiting if isinstance(stamped.said, Begin | End)]
        return isinstance(told[-1], Begin) if told else self._dive is not None

    def begun_us(self, at_us: int) -> int | None:
        """Return when the dive that is under way at a moment began; None where none is, or it has yet to begin."""
        return self._dive.begun_us if self.under_way(at_us) and self._dive is not None else None

    def _advance(self, upto_us: int) -> None:
        """Judge at every tick up to a moment that something was taken for, and at the last."""
        while self._waiting and (tick_us := self._next_tick(self._waiting[0].embargo_us)) <= upto_us:
            self._judge(tick_us)
        last_us = upto_us // _TICK_US * _TICK_US
        if last_us > self._tick_us:
            self._judge(last_us)

    def _next_tick(self, moment_us: int) -> int:
        return max(-(-moment_us // _TICK_US) * _TICK_US, self._tick_us + _TICK_US)

    def _judge(self, at_us: int) -> None:
        self._tick_us = at_us
        if self._ended is not None and self._ended.ends(self._fuse, at_us):
            self._ended = None
            self._forget()
        begins, ends = self._arrived(at_us)
        begins = begins or (self._ended is None and self._idle.begins(self._fuse, at_us))
        if self._dive is None and not begins:
            self._forget()
            return
        if self._dive is None:
            self._dive, self._ended = DiveWatch(self._plan.dive, at_us, by_hand=self._by_hand), None
        if self._dive.ends(self._fuse, at_us):
            self._dive = None
            self._forget()
        elif ends:
            self._dive, self._ended = None, self._dive

    def _arrived(self, at_us: int) -> tuple[bool, bool]:
        """Take what waited, up to the end of a dive; return whether it begins one by hand, and whether it ends one."""
        self._by_hand = ends = False
        while not ends and self._waiting and self._waiting[0].embargo_us <= at_us:
            stamped = self._waiting.popleft()
            self._by_hand = self._by_hand or isinstance(stamped.said, Begin)
            ends = isinstance(stamped.said, End)
            self._fuse.take(stamped)
        return self._by_hand, ends

    def _forget(self) -> None:
        """Between dives nothing is remembered, unless it is still to be seen whether the one that was ended is over."""
        if self._dive is None and self._ended is None:
            self._fuse = Fuse(len(self._plan.vehicles))
