"""Random schedules for the paired runs of `test_nothing_early.py`: what happens alike in both runs, and what differs.

Both runs are alike in all that comes in up to a cut, and in what outsiders can see happen to the process and to their
own lines (kills, power cuts, starts, dialling) up to the horizon: the cut plus the longest delay. After the cut each
run gets its own input and decisions, wall-clock steps, and restarts that fall between two send moments. What is
released early is alike, too: it was received before it was decided, and that before the cut. After the
horizon everything is its own.
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache, cached_property

from dives import INVENTED_SITE, SECOND, message, plan, policy, walk
from relay.core.area import ZoneAction
from relay.core.decision import (
    Approve,
    Back,
    Begin,
    Cut,
    Decision,
    Early,
    End,
    Expect,
    HideZone,
    Hold,
    LiftZone,
    Resume,
    Say,
    SetLeg,
    Target,
    write_decision,
)
from relay.core.history import NOTHING, Position
from relay.core.policy import DiveLimits, Leg, Plan, SourcePlan
from relay.core.programme import Programme
from virtual_ship import AT_ONCE, Do, Event, Follower

DECADE_S = 3.2e8
QUICK, SLOW = "quick", "slow"
_POLICIES = (
    policy(QUICK, delay_us=3 * SECOND, extra_us=2 * SECOND, depth_step_m=10.0, stale_us=4 * SECOND),
    policy(SLOW, delay_us=9 * SECOND, extra_us=3 * SECOND, tick_us=3 * SECOND, depth_step_m=10.0),
)
_STATIONS = (("station", None), ("mirror", "station"))
PLANS = (
    replace(plan(*_POLICIES, dive=DiveLimits(quiet_us=3 * SECOND)), vehicles=("Lantern",)),
    replace(plan(*_POLICIES, dive=DiveLimits(begin_depth_m=35.0, quiet_us=4 * SECOND)), vehicles=("Lantern",)),
    plan(*_POLICIES[::-1], dive=DiveLimits(quiet_us=6 * SECOND)),
    replace(
        plan(*_POLICIES, dive=DiveLimits(quiet_us=5 * SECOND)),
        sources=tuple(SourcePlan(name=name, format="station-json", standby_for=of) for name, of in _STATIONS),
    ),
)
TELLING = (Do.INPUT, Do.DECIDE)
LATEST_US = 900_000  # the longest that the disk takes for a row
LONGEST_US = max(policy.delay_us for policy in _POLICIES)


@dataclass
class Schedule:
    """One pair of runs. `receipts_us`: when each numbered message is whole, by its number, for each run.

    `early`: to whom something was released early, when, and up to how long before. `held`: who is held in one run.
    """

    plan: Plan
    cut_us: int
    common: list[Event]
    tails: tuple[list[Event], list[Event]]
    followers: list[tuple[str, Position | None]]
    receipts_us: tuple[dict[int, int], dict[int, int]]
    early: tuple[str, int, int] | None = None
    held: str | None = None

    @cached_property
    def first_us(self) -> tuple[int, ...]:
        """When anything first came in or was decided, in each run."""
        told = [[event.at_us for event in events if event.do in TELLING] for events in (self.common, *self.tails)]
        return tuple(min((*told[0], *tail), default=0) for tail in told[1:])

    def voyagers(self) -> list[Follower]:
        """Return the followers of one run, none of them dialled yet."""
        return [Follower(audience, position) for audience, position in self.followers]


@cache
def line(number: int, vehicle: str, site: tuple[float, float] = INVENTED_SITE, noted: bool = False) -> bytes:
    """Return message `number`: ten metres deeper than the one before, so that a released depth tells which it was."""
    step = {**_steps()[number % 90], "depth": 10.0 * number, "altitude": 5.0}
    return message(step, site, vehicle, f"said {number}" if noted else None)


@cache
def _steps() -> list[dict[str, float]]:
    return walk(90)


def random_schedule(seed: int) -> Schedule:
    """Return the schedule that belongs to a seed."""
    chance = random.Random(seed)
    expedition = chance.choice(PLANS)
    cut_us = chance.randint(4 * SECOND, 13 * SECOND)
    horizon_us = cut_us + LONGEST_US
    receipts: tuple[dict[int, int], dict[int, int]] = ({}, {})
    shared = list(_input(chance, expedition, 1, 100_000, cut_us, receipts[0]))
    receipts[1].update(receipts[0])
    lives = _lives(chance, horizon_us)
    followers, lines = _followers(chance, horizon_us)
    decided = list(_decisions(chance, 0, cut_us))
    early = None
    if chance.random() < 0.15:
        back_us = chance.choice((0, chance.randint(0, 5 * SECOND)))
        early = (chance.choice((QUICK, SLOW)), chance.randint(0, cut_us), back_us)
        decided.append(_early(*early, _latency_us(chance)))
    common = shared + decided + lives + lines + [Event(cut_us, Do.PART)]
    held = chance.choice((QUICK, SLOW)) if chance.random() < 0.15 else None
    tails = tuple(list(_tail(chance, expedition, cut_us, horizon_us, receipts[run])) for run in (0, 1))
    if held is not None:
        hold = _held(chance, held, cut_us + (LATEST_US if decided else 1), horizon_us)
        tails[1].extend(list(hold)[: 1 if decided else 2])
    if not decided:
        for tail in tails:
            tail.extend(_needless(chance, cut_us + 1, horizon_us))
    return Schedule(expedition, cut_us, common, (tails[0], tails[1]), followers, receipts, early, held)


def _latency_us(chance: random.Random) -> int:
    return chance.choice((0, 300, 4_000, 40_000, chance.randint(0, LATEST_US - 1)))


def _input(
    chance: random.Random, expedition: Plan, first: int, from_us: int, to_us: int, receipts: dict[int, int]
) -> Iterator[Event]:
    """Yield numbered messages at odd moments, with bursts, pauses and torn lines."""
    at_us, number = from_us, first
    while True:
        at_us += chance.choice((chance.randint(1_000, 90_000), chance.randint(300_000, 2_000_000)))
        if chance.random() < 0.05:
            at_us += chance.randint(3, 9) * SECOND
        if at_us > to_us:
            return
        data = line(number, chance.choice(expedition.vehicles), noted=chance.random() < 0.25)
        if len(expedition.sources) > 1:
            mirrored = [event for event in _mirrored(chance, at_us, data) if event.at_us <= to_us]
            receipts.update((number, event.at_us) for event in mirrored if event.value is data)
            yield from mirrored
        if chance.random() < 0.1:
            torn = chance.randrange(len(data))
            yield Event(at_us, Do.INPUT, data[:torn], _latency_us(chance))
            at_us, data = at_us + chance.randint(0, 400_000), data[torn:]
            if at_us > to_us:
                return
        yield Event(at_us, Do.INPUT, data, _latency_us(chance))
        receipts[number] = min(at_us, receipts.get(number, at_us))
        number += 1


def _mirrored(chance: random.Random, at_us: int, data: bytes) -> Iterator[Event]:
    """Yield what the standby makes of a message: mostly the same a little later, now and then nothing, or nonsense."""
    at_us += chance.choice((2_000, 2_000, 40_000, chance.randint(0, 600_000)))
    if chance.random() < 0.8:
        told = data if chance.random() < 0.9 else chance.randbytes(20) + b"\n"
        yield Event(at_us, Do.INPUT, told, _latency_us(chance), "mirror")


Decide = Callable[[int, int], bytes]


def _always(decision: Decision) -> Decide:
    """Return what decides so, whenever it is."""
    data = write_decision(decision, "x")
    return lambda now_us, parted_us: data


def _early(audience: str, at_us: int, back_us: int, latency_us: int) -> Event:
    """Return an early release of what was received up to a while before it is decided."""
    decide: Decide = lambda now_us, _: write_decision(  # noqa: E731
        Early(audience=audience, upto_us=max(0, now_us - back_us)), "x"
    )
    return Event(at_us, Do.DECIDE, decide, latency_us)


def _held(chance: random.Random, audience: str, from_us: int, to_us: int) -> Iterator[Event]:
    """Yield a hold and perhaps its resume (which would undo an earlier hold, too)."""
    first, second = sorted(chance.randint(from_us, to_us) for _ in range(2))
    yield Event(first, Do.DECIDE, _always(Hold(audience=audience)), AT_ONCE)
    if chance.random() < 0.6:
        yield Event(second, Do.DECIDE, _always(Resume(audience=audience)), AT_ONCE)


def _needless(chance: random.Random, from_us: int, to_us: int) -> Iterator[Event]:
    """Yield what acts at once and changes nothing seen: a cut of what came after the parting, a needless resume.

    Both are on the disk at once, and so is all before them: only where no decision taken before the parting waits.
    """
    for _ in range(chance.choice((0, 0, 1, 2))):
        decide: Decide = lambda now_us, parted_us: write_decision(  # noqa: E731
            Cut(from_us=parted_us + 1, to_us=now_us), "x"
        )
        if chance.random() < 0.3:
            decide = _always(Resume(audience=chance.choice((None, QUICK, SLOW))))
        yield Event(chance.randint(from_us, to_us), Do.DECIDE, decide, AT_ONCE)


def _telling(chance: random.Random) -> Decide:
    """Return a decision that tells something."""
    decision = chance.choice((
        Say(text=f"seen {chance.randint(1, 99)} fish"), Say(text="a lamp failed", vehicle="Moth", audiences=(SLOW,)),
        Target(name="the boiler", verdict="of interest"), SetLeg(vehicle="Lantern", leg=chance.choice([None, *Leg])),
        Begin(), End(), LiftZone(name="the hold"), LiftZone(name="the hold"),
        Programme(schedule=("the bow", "the stern")),
        Programme(pinned=f"{chance.randint(1, 9)} finds so far", next_dive_in_s=chance.choice((None, 0, 300))),
    ))  # fmt: skip
    return _always(decision)


def _private(chance: random.Random) -> Decide:
    """Return a decision that stays on the ship, or tells what was said before and waited."""
    decision = chance.choice((
        Say(text="perhaps", wait=True), Approve(say=chance.randint(1, 12)), Approve(say=chance.randint(1, 12)),
        Expect(vehicle="Lantern", return_in_s=2, return_grace_s=1), Back(vehicle="Lantern"),
    ))  # fmt: skip
    return _always(decision)


def _removing(chance: random.Random) -> tuple[Decide, Decide]:
    """Return a decision that acts at once, and what undoes it if it is a hold."""
    audience = chance.choice((None, QUICK, SLOW))
    if chance.random() < 0.5:
        back_us, long_us = chance.randint(1, 20 * SECOND), chance.randint(1, 6 * SECOND)

        def cut(now_us: int, _: int) -> bytes:
            from_us = max(0, now_us - back_us)
            return write_decision(Cut(from_us=from_us, to_us=max(from_us + 1, min(now_us, from_us + long_us))), "x")

        return cut, _always(Resume(audience=audience))
    return _always(Hold(audience=audience)), _always(Resume(audience=audience))


_HOLD = HideZone(name="the hold", centre=INVENTED_SITE, radius_m=60.0, margin_m=30.0, action=ZoneAction.WITHHOLD)


def _decisions(chance: random.Random, from_us: int, to_us: int) -> Iterator[Event]:
    """Yield decisions of every kind but early release, a hold always with its resume.

    A zone is told before the parting alone: it acts at once, and is lifted after it in one run or both.
    """
    for _ in range(chance.choice((0, 0, 1, 2))):
        yield Event(chance.randint(from_us, to_us), Do.DECIDE, _telling(chance), _latency_us(chance))
    if chance.random() < 0.4:
        yield Event(chance.randint(from_us, to_us), Do.DECIDE, _always(_HOLD), _latency_us(chance))
    for _ in range(chance.choice((0, 2))):
        yield Event(chance.randint(from_us, to_us), Do.DECIDE, _private(chance), _latency_us(chance))
    if chance.random() < 0.3:
        first, second = sorted(chance.randint(from_us, to_us) for _ in range(2))
        act, undo = _removing(chance)
        yield Event(first, Do.DECIDE, act, _latency_us(chance))
        yield Event(second, Do.DECIDE, undo, _latency_us(chance))


def _wall(chance: random.Random, from_us: int, to_us: int) -> Iterator[Event]:
    for _ in range(chance.choice((0, 1, 3))):
        yield Event(chance.randint(from_us, to_us), Do.WALL, 1.7e9 + chance.uniform(-1, 1) * DECADE_S)


def _lives(chance: random.Random, horizon_us: int) -> list[Event]:
    """Return starts, kills and power cuts up to the horizon."""
    events, at_us = [Event(0, Do.START)], 0
    for _ in range(chance.choice((0, 1, 1, 2, 3))):
        at_us += chance.randint(300_000, 12 * SECOND)
        how = chance.choice((Do.KILL, Do.KILL_AFTER_COMMIT, Do.POWER_CUT))
        down_us = chance.choice((chance.randint(10_000, 900_000), chance.randint(1 * SECOND, 5 * SECOND)))
        if at_us + down_us > horizon_us:
            break
        events.append(Event(at_us, how))
        at_us += down_us
        events.append(Event(at_us, Do.REBOOT if how is Do.POWER_CUT else Do.START))
    return events


def _followers(chance: random.Random, horizon_us: int) -> tuple[list[tuple[str, Position | None]], list[Event]]:
    """Return followers of both audiences and their dialling: from the start, late, again and again, from now on."""
    followers: list[tuple[str, Position | None]] = [(QUICK, NOTHING), (SLOW, NOTHING)]
    events = [Event(0, Do.DIAL, 0), Event(0, Do.DIAL, 1)]
    for _ in range(2):
        number, audience = len(followers), chance.choice((QUICK, SLOW))
        followers.append((audience, chance.choice((None, NOTHING, Position(1, chance.randint(-1, 6))))))
        at_us = chance.randint(0, horizon_us)
        while at_us < horizon_us:
            events.append(Event(at_us, Do.DIAL, number))
            at_us += chance.randint(500_000, 20 * SECOND)
            if at_us < horizon_us:
                events.append(Event(at_us, Do.DROP, number))
            at_us += chance.randint(100_000, 6 * SECOND)
    return followers, events


def _tail(
    chance: random.Random, expedition: Plan, cut_us: int, horizon_us: int, receipts: dict[int, int]
) -> Iterator[Event]:
    """Yield what one run alone gets after the cut."""
    far = (chance.uniform(-80, 80), chance.uniform(-180, 180))
    kind = chance.choice(("nothing", "goes on", "goes on", "elsewhere", "noise", "burst"))
    if kind == "goes on":
        yield from _input(chance, expedition, 300, cut_us, horizon_us, receipts)
    for at in range(7 if kind in ("elsewhere", "burst") else 0):
        at_us = cut_us + 1 + at * (chance.randint(1, 2 * SECOND) if kind == "elsewhere" else 0)
        receipts[400 + at] = at_us
        data, source = line(400 + at, expedition.vehicles[-1], _near(far), True), chance.choice(expedition.sources).name
        yield Event(at_us, Do.INPUT, data, _latency_us(chance), source)
    for _ in range(8 if kind == "noise" else 0):
        at_us = chance.randint(cut_us + 1, horizon_us)
        yield Event(at_us, Do.INPUT, chance.randbytes(40) + b"\n", _latency_us(chance))
    for _ in range(chance.choice((0, 1, 2))):
        which = chance.choice((_telling, _telling, _private))
        yield Event(chance.randint(cut_us + 1, horizon_us), Do.DECIDE, which(chance), _latency_us(chance))
    for _ in range(chance.choice((0, 0, 1, 2))):
        yield Event(chance.randint(cut_us + 1, horizon_us), Do.BLINK, chance.randint(1_000, 900_000))
    yield from _wall(chance, 0, horizon_us)


def _near(far: tuple[float, float]) -> tuple[float, float]:
    """Return one of a few far places, so that their messages are made once."""
    return round(far[0] / 40) * 40.0, round(far[1] / 90) * 90.0
