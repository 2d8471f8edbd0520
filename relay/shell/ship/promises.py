"""The promises aboard a running relay: watched as records leave, told on the desk, kept by holding what breaks them.

Rules (R4), for each audience with a promise and a passed audit:
1. A tick leaves only if a finished round of `foresight` has seen it and found the promise kept with it and with each
   tick before it. What was found of a tick stays found, unless a cut or a hidden place comes between: then all that
   waits is judged anew, and what may be told otherwise now, ticks from the cut on or all, stays in until then. A round
   that fails or hangs lets nothing out and takes nothing back. Behind a hold, or outside the declared area, rounds go
   on, and a resume lets out what they have seen.
2. Rounds look up to moments on a fixed grid; after one that failed, only a little beyond the last that didn't, but not
   short of a cut: what came in lately must not keep in what is older (R2). `audit_plan.LEAST_DELAY_US` leaves room for
   a round under way, one that fails and a full one before what came in meanwhile is due, so how long they take doesn't
   tell. It tells after a start, where a place is hidden, and where a cut reaches what is due: there R4 goes first.
3. Where a round finds the tick that breaks the promise, everything before it leaves, and when it is due itself the
   audience is held by "the audit", a decision in the journal. Earlier the hold would tell of what is still hidden (R2).
4. After a restart what had left leaves again; whatever else waits for the first round.
5. An audience that goes without an audit, or whose promise was taken out of the file, isn't watched, and the desk says
   so until the relay ends. Nothing new leaves before that is on the disk.
"""

import asyncio
import contextlib
import logging
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Protocol

from relay.core.channel import Channel
from relay.core.decision import Cut, HideZone, Hold, Unaudited, read_decision, write_decision
from relay.core.errors import OperatorError
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import MICROSECONDS
from relay.core.release import NO_DIVE
from relay.core.secrets import Secrets
from relay.shell.plan.expedition import Expedition
from relay.shell.plan.quantities import say_duration
from relay.shell.released.outlet import Frame
from relay.shell.ship.audit_gate import Leave, marks_of, promised_ever, taken_away, whose_process, without_audit
from relay.shell.ship.audit_result import level_of, read_results, say_area
from relay.shell.ship.foresight_process import Job, Number, Seen, ask

log = logging.getLogger("offing.audit")
ROUND_S = 60.0
LEAST_STEP_US = MICROSECONDS
NEAR = 1.5
HOUR_US = 3_600 * MICROSECONDS
SPANS_US = tuple(minutes * 60 * MICROSECONDS for minutes in (1, 2, 5, 10, 15, 20, 30, 45))
FINE = "kept", "waiting"
WHO = "the audit"
Asking = Callable[[Job], Awaitable[dict[str, Seen] | str]]


class Aboard(Protocol):
    """What the promises need of the ship's relay."""

    expedition: Expedition
    pipeline: Pipeline

    def now_us(self) -> int:
        """Return the moment on the embargo clock."""
        ...

    def decide(self, data: bytes, who: str) -> dict[str, Any]:
        """Take a decision."""
        ...


@dataclass(slots=True)
class Standing:
    """How one promise stands: what the last finished round saw, and why the last one didn't finish.

    `judged`: the last record that is judged and kept, with all before it; it needn't be judged again.
    """

    promise_km2: float
    level: float
    kept_us: int = -1
    judged: Number = (0, -1)
    seen: Seen | None = None
    fault: str | None = None


class Promises:
    """The promises of one ship's relay. `board` before anything leaves, `begin` once decisions are taken."""

    def __init__(self, expedition: Expedition, leave: Leave, *, asking: Asking = ask, round_s: float = ROUND_S) -> None:
        """OperatorError where an audience has a promise, no passed audit, and nobody's leave to go without."""
        self._unaudited, self._who = without_audit(expedition, leave), leave.who or whose_process()
        self._opened: set[str] = set()
        promises = expedition.audit.promises
        self._standings = {
            name: Standing(promise_km2, level_of(expedition, name))
            for name, promise_km2 in promises.items()
            if name not in leave.reasons
        }
        self._promises: Mapping[str, float] = promises
        self._without = dict(leave.reasons)
        self._asking, self._round_s = asking, round_s
        self.secrets: Secrets | None = None  # None: each round reads the site's plain file
        self._told: dict[str, Number] = {}
        self._again = asyncio.Event()
        self._changes = self._judged_changes = 0  # how often what waits was changed, now and for the last round
        self._changed_us = -1  # when it was changed last
        self._reached_us = -1  # up to where the last finished round looked
        self._step_us: int | None = None  # how far beyond it the next may, after one that failed
        self._digests = _digests(expedition, self._standings) if self._standings else ()
        self._regrowing = True
        self._ship: Aboard | None = None
        self._received_us: Callable[[], int] = lambda: -1

    def remember(self, marks: Mapping[str, str]) -> None:
        """Owed before all else: the journal's marks, by which promises that were taken out of the file are known."""
        gone = taken_away(marks, self._promises)
        self._unaudited += gone
        self._without |= {decision.audience: decision.reason for decision in gone}
        self._promises = promised_ever(marks, self._promises)

    @property
    def marks(self) -> dict[str, str]:
        """What the journal is to remember of the promises."""
        return marks_of(self._promises)

    def board(self, ship: Aboard, owes: Callable[[str, int, bool], bool], stir: Callable[[], None]) -> None:
        """Keep in from now on what no round has seen, and what goes without an audit until that is on the disk.

        `owes`: whether an audience had been sent more of a dive (its number), or of programmes too, before a restart
        than has left again; `stir`: look again what may leave.
        """
        self._ship, self._owes, self._stir = ship, owes, stir
        for channel in ship.pipeline.channels:
            if channel.policy.audience in self._promises:
                channel.may_leave = partial(self._may_leave, channel)

    def begin(self, received_us: Callable[[], int]) -> None:
        """Let leave again no more of what had left before a restart, and journal who goes without an audit.

        `received_us`: the moment up to which everything received is on the disk.
        """
        self._regrowing, self._received_us = False, received_us
        for decision in self._unaudited:
            self._aboard.decide(write_decision(decision, self._who), self._who)

    @property
    def _aboard(self) -> Aboard:
        assert self._ship is not None
        return self._ship

    def _may_leave(self, channel: Channel, tick_us: int) -> bool:
        if self._regrowing:
            return self._owes(channel.policy.audience, channel.next_dive, channel.board.may_be_told)
        if channel.policy.audience in self._without:
            return channel.policy.audience in self._opened
        return tick_us <= self._standings[channel.policy.audience].kept_us

    def sent(self, frame: Frame) -> None:
        """Note that a record has left."""
        if frame.dive != NO_DIVE:
            self._told[frame.audience] = max(self._told.get(frame.audience, (0, -1)), (frame.dive, frame.seq))

    def took(self, row: Row) -> None:
        """Note that the pipeline has taken a row: what was decided may change what leaves."""
        if row.kind is not RowKind.DECISION:
            return
        self._again.set()
        self._open(row)
        if (from_us := _changes_from_us(row)) is not None:
            self._changes, self._changed_us = self._changes + 1, row.embargo_us
            for standing in self._standings.values():
                standing.judged, standing.kept_us = (0, -1), min(standing.kept_us, from_us - 1)

    def _open(self, row: Row) -> None:
        """Let an audience go without an audit, now that this is on the disk."""
        with contextlib.suppress(OperatorError):
            if not self._regrowing and isinstance(decision := read_decision(row.data), Unaudited):
                self._opened.add(decision.audience)

    @property
    def jobs(self) -> list[Callable[[], Awaitable[None]]]:
        """What is to be done over and over while the relay runs."""
        return [self.watch] if self._standings else []

    async def watch(self) -> None:
        """Work out once what is about to leave, and wait for the next time."""
        self._again.clear()
        if self._has_something():
            await self.look()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(self._round_s / 10 if self._is_behind() else self._round_s):
                await self._again.wait()

    def _is_behind(self) -> bool:
        """Whether the next round is to begin soon: this one went well and left something to it."""
        standings = self._standings.values()
        if any(standing.fault is not None for standing in standings):
            return False
        left = any(standing.seen is not None and not standing.seen.whole for standing in standings)
        return left or self._step_us is not None

    def _has_something(self) -> bool:
        pipeline = self._aboard.pipeline
        return pipeline.embargo.oldest_row() is not None or any(channel.under_way for channel in pipeline.channels)

    async def look(self) -> None:
        """Do one round."""
        changes, upto_us = self._changes, self._upto_us()
        found = await self._asking(self._job(upto_us))
        if changes != self._changes:
            return  # of what waited before: the next round begins at once
        for audience, standing in self._standings.items():
            if isinstance(found, str) or audience not in found:
                standing.fault = found if isinstance(found, str) else "it wasn't answered"
                continue
            seen = found[audience]
            standing.seen, standing.fault, kept_us = seen, None, seen.kept_us
            standing.kept_us = kept_us if seen.breaks_us is not None else max(standing.kept_us, kept_us)
            standing.judged = seen.judged_dive, seen.judged_seq
        self._reach(upto_us, any(standing.fault is not None for standing in self._standings.values()))
        self._stir()

    def _upto_us(self) -> int:
        """Return up to which moment the next round looks."""
        grid_us = max(1, int(self._round_s * MICROSECONDS))
        upto_us = received_us = self._received_us()
        if self._changes == self._judged_changes:
            upto_us = upto_us // grid_us * grid_us
        if self._step_us is not None:
            upto_us = min(upto_us, self._base_us() + self._step_us)
        return min(received_us, max(upto_us, self._changed_us))  # a cut acts at once: each round has to see it

    def _base_us(self) -> int:
        """Return the moment up to which everything is judged or has left."""
        watched = [one.from_us for one in self._aboard.pipeline.channels if one.policy.audience in self._standings]
        return max(self._reached_us, min(watched) - 1)

    def _reach(self, upto_us: int, failed: bool) -> None:
        if failed:
            span_us = max(0, upto_us - self._base_us())
            self._step_us = max(LEAST_STEP_US, span_us // 2)
            return
        self._reached_us, self._judged_changes = max(self._reached_us, upto_us), self._changes
        if self._step_us is not None:
            grown_us = 2 * self._step_us
            self._step_us = None if upto_us + grown_us >= self._received_us() else grown_us

    def _job(self, upto_us: int) -> Job:
        expedition = self._aboard.expedition
        return Job(
            plan=expedition.plan,
            private=expedition.private,
            secrets=self.secrets,
            released=expedition.released,
            charts=expedition.audit.charts,
            upto_us=upto_us,
            told=dict(self._told),
            levels={name: standing.level for name, standing in self._standings.items()},
            promises={name: standing.promise_km2 for name, standing in self._standings.items()},
            judged={name: standing.judged for name, standing in self._standings.items()},
            digests=self._digests,
            open_audiences=expedition.open_audiences,
        )

    def beat(self) -> None:
        """Hold whoever would be sent what breaks a promise now."""
        ship = self._aboard
        for channel in ship.pipeline.channels:
            standing = self._standings.get(channel.policy.audience)
            if standing is None or channel.held or not self._breaks_now(standing, ship.now_us()):
                continue
            audience = channel.policy.audience
            try:
                ship.decide(write_decision(Hold(audience=audience), WHO), WHO)
            except OperatorError as error:  # it is kept in all the same
                log.error("%s can't be held by decision: %s", audience, error)

    @staticmethod
    def _breaks_now(standing: Standing, now_us: int) -> bool:
        breaks_us = None if standing.seen is None else standing.seen.breaks_us
        return breaks_us is not None and now_us >= breaks_us

    def alarms(self) -> list[str]:
        """Return what is wrong with promises now, in words without a position."""
        return [told["words"] for told in self.told() if told["state"] not in FINE] if self._ship is not None else []

    def told(self) -> list[dict[str, Any]]:
        """Return how each promise stands, for the desk."""
        if not self._promises:
            return []
        now_us = self._aboard.now_us()
        return [self._told_of(name, promise_km2, now_us) for name, promise_km2 in self._promises.items()]

    def _told_of(self, audience: str, promise_km2: float, now_us: int) -> dict[str, Any]:
        standing = self._standings.get(audience)
        seen = None if standing is None else standing.seen
        if standing is None:
            reason = self._without[audience]
            state, words = "unaudited", f"{audience} goes without a passed audit, by {self._who}: {reason}"
        else:
            channel = next(one for one in self._aboard.pipeline.channels if one.policy.audience == audience)
            late = channel.from_us > standing.kept_us and channel.from_us + channel.policy.delay_us <= now_us
            state, words = _standing_words(audience, standing, now_us, self._has_something(), late)
        return {
            "audience": audience,
            "promise_km2": promise_km2,
            "left_km2": None if seen is None else seen.left_km2,
            "ahead_km2": None if seen is None else seen.ahead_km2,
            "state": state,
            "words": words,
        }


def _span(microseconds: int) -> str:
    """Return a span that isn't shorter, in words: of a few, for words that change with every beat are an alarm anew."""
    hour_us = -(-microseconds // HOUR_US) * HOUR_US
    return say_duration(min((span for span in SPANS_US if span >= microseconds), default=hour_us))


def _digests(expedition: Expedition, audited: Mapping[str, Standing]) -> tuple[str, ...]:
    """Return the digests of the charts that audiences were audited with: the gate has seen that all have the same."""
    return read_results(expedition.private)[next(iter(audited))].charts


def _changes_from_us(row: Row) -> int | None:
    """Return from which tick on a decision may change what was judged; None if it changes nothing.

    A tick tells nothing of what came in after it, so one before a cut stays as it was judged.
    """
    try:
        decision = read_decision(row.data)
    except OperatorError:
        return None
    if isinstance(decision, Cut):
        return decision.from_us
    return 0 if isinstance(decision, HideZone) else None


def _standing_words(
    audience: str, standing: Standing, now_us: int, something: bool, late: bool
) -> tuple[str, str]:  # fmt: skip
    """Return the state of a promise, and in words: what is left, what is about to be, what is promised, what to do."""
    seen, promised = standing.seen, f"{say_area(standing.promise_km2)} are promised"
    if standing.fault is not None:
        stays = "what no finished round has seen stays in"
        return "unknown", f"what is left of the area for {audience} isn't known: {standing.fault}; {stays} ({promised})"
    if seen is None:
        stays = "nothing leaves before it is worked out" if something else "there is nothing to work out yet"
        return "waiting", f"{audience}: not yet known: {stays} ({promised})"
    left = f"{audience}: {say_area(seen.left_km2)} left to search"
    if late and not seen.whole:
        remedy = "give coarser charts, or such as reach no farther than the declared area"
        return "unknown", f"{left}; working it out falls behind, and what isn't judged stays in ({promised}): {remedy}"
    if seen.breaks_us is not None:
        due_us = seen.breaks_us - now_us
        when = "held, for the next record would break it"
        if due_us > 0:
            when = f"what is due within {_span(due_us)} would break it, and is held then"
        remedy = "cut or hide what tells the place, or end the dive"
        return "breaks", f"{left}, {promised}; {when} ({say_area(seen.ahead_km2)} left with all that waits): {remedy}"
    ahead = f"{say_area(seen.ahead_km2)} with all that is about to leave; {promised}"
    if seen.ahead_km2 < NEAR * standing.promise_km2:
        return "near", f"{left}, {ahead}: it is close, so think of a cut or the end of the dive"
    return "kept", f"{left}, {ahead}"
