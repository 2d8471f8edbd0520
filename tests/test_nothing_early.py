"""Nothing early (R2): 10,000 pairs of runs that part at a cut send the same up to the cut and the delay.

Each pair is a ship (`virtual_ship.py`: the relay's own parts under a set clock) taken through a random schedule
(`schedules.py`): input in bursts, pauses and torn lines over a disk that takes its time; decisions; kills, also between
commit and hand-on; power cuts and boots; steps of the wall clock by years; followers from the start, late, dropped and
back again, with and without a place to go on from.

**What is compared**: for each follower, every frame it got and the true moment it got it, up to the cut plus its
audience's delay. That is everything an outsider can get, and the longest time for which the rule promises anything.

**What may differ after the cut**: all input, all decisions that tell something, how long the disk takes for them, the
wall clock at any time (where it does before the cut, heads of the exact record are left out, as they are over the
ship's wall clock too: `heads.masked`), and restarts that nobody outside can notice (nothing due and nobody dialling
meanwhile). Up to the cut plus the longest delay alike in both runs, because they are seen at once by their nature:
whether the process lives (what is down can't send) and when followers dial. A restart before a later power cut counts
as seen too: it shifts the beats, and so the time that the boot can prove. A hold only removes: where one run alone has
one, and perhaps its resume, its audience gets nothing that the other run's doesn't, and nothing sooner. A cut of what
came after the cut of the runs alone, and a resume of who isn't held, change nothing. Other cuts and resumes are alike
up to the cut. So is early release, which is there to break the delay: what it lets go was received before it was
decided, so all else still holds. One plan has a mirrored station, whose reports come late, twice or never.

**What the disk may tell**: a decision that acts at once is waited for, by all audiences, until the disk has it. Power
fails between the commits of beats (3 ms of 2 s), as whether that one came through can't be known.

In every run, besides: each follower's frames are gapless, in order and none twice; and by true time, which only the
test knows, no message shows before its receipt plus the delay (each message's number is in its depth and its note).
In the end the records are those of a run of the same rows that nothing disturbed. That holds with boots too, since
rows tell their own time.
"""

import functools
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgpack
import pytest

import relay.core.channel
import relay.core.pipeline
import relay.core.sayable
import relay.core.station_message
import virtual_ship
from decided_early import decided_at_once, early_for_good, zone_lifted_at_once
from dives import SECOND, SECRETS, run, sent
from heads import masked, short_minutes
from heads_leaking import head_over_all_that_came, head_when_a_minute_is_whole
from relay.core.channel import Channel
from relay.core.decision import Resume, write_decision
from relay.core.dive_phases import DiveWatch
from relay.core.embargo import Embargo
from relay.core.fuse import Fuse, Stamped
from relay.core.geodesy import Anchor
from relay.core.model import Observation
from relay.core.pipeline import Pipeline
from relay.core.release import NO_DIVE, Kind
from relay.core.restart import Checkpoint
from relay.core.secrets import Secrets
from relay.shell.record.checkpoint import read_checkpoint
from relay.shell.record.clock import EmbargoClock
from relay.shell.record.journal import NAME, Journal, clock_of, read_rows
from remembering_evidence import draw_once, low_trees
from schedules import LONGEST_US, QUICK, Schedule, random_schedule
from virtual_ship import Disk, Do, Event, Follower, Machine, Voyage

SCHEDULES, BATCH = 10_000, 500
TO_THE_END, ON_REAL_FILES = 400, 300
_SAID = re.compile(r"said (\d+)")
Got = list[tuple[int, bytes]]
NEVER_US = 10**18


@pytest.fixture(autouse=True)
def texts_read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same few lines come up again and again: what pure functions find in them, or draw, is remembered."""
    remembered, texts = functools.cache(relay.core.sayable.find_places), relay.core.station_message._JSON
    monkeypatch.setattr(relay.core.sayable, "find_places", remembered)
    monkeypatch.setattr(relay.core.pipeline, "find_places", remembered)
    monkeypatch.setattr(relay.core.pipeline, "read_decision", functools.cache(relay.core.pipeline.read_decision))
    monkeypatch.setattr(texts, "event", functools.lru_cache(4_096)(texts.event))
    monkeypatch.setattr(Secrets, "unit", functools.cache(Secrets.unit))
    for drawn in ("signing_seed", "evidence_key"):
        monkeypatch.setattr(Secrets, drawn, property(functools.cache(getattr(Secrets, drawn).fget)))
    monkeypatch.setattr(relay.core.channel, "Signer", functools.cache(relay.core.channel.Signer))
    draw_once(monkeypatch)
    low_trees(monkeypatch)


@pytest.fixture(autouse=True)
def heads_come_often(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let each run have heads of the exact record that are over some of its rows and not over others."""
    short_minutes(monkeypatch)


def voyage(schedule: Schedule, which: int, disk: Disk | None = None) -> Voyage:
    """Return one run of a pair, played up to the horizon."""
    out = Voyage(schedule.plan, SECRETS, schedule.voyagers(), disk or Disk())
    out.plan_for(schedule.common)
    out.plan_for(schedule.tails[which])
    out.play(schedule.cut_us + LONGEST_US)
    return out


masked_once = functools.lru_cache(1_024)(masked)


def delay_us(schedule: Schedule, audience: str) -> int:
    """Return the delay of an audience."""
    return next(policy.delay_us for policy in schedule.plan.policies if policy.audience == audience)


@functools.lru_cache(1_024)
def unpacked(frame: bytes) -> Any:
    """Return what a frame tells, read once for all followers of both runs; to be looked at alone."""
    return msgpack.unpackb(frame)


def seen(schedule: Schedule, one: Voyage, other: Voyage) -> Iterator[tuple[str, Got, Got]]:
    """Yield each follower's audience and what it got in two runs up to the cut and its delay."""
    for first, second in zip(one.followers, other.followers, strict=True):
        upto_us = schedule.cut_us + delay_us(schedule, first.audience)
        had, got = ([item for item in shown(schedule, follower) if item[0] <= upto_us] for follower in (first, second))
        yield first.audience, had, got


def shown(schedule: Schedule, follower: Follower) -> Got:
    """Return what a follower got; but for the heads, if the wall clocks that these are over part before the cut."""
    if any(event.do is Do.WALL and event.at_us <= schedule.cut_us for tail in schedule.tails for event in tail):
        return [(true_us, masked_once(frame)) for true_us, frame in follower.got]
    return follower.got


def told_apart(schedule: Schedule, one: Voyage, other: Voyage) -> bool:
    """Return whether two runs differ up to the cut and the delay, for any follower.

    Who is held in the other run alone may get less there, or later.
    """
    held = [] if schedule.held is None else shown(schedule, one.followers[schedule.held != QUICK])
    left_us = {frame: true_us for true_us, frame in held}
    for audience, had, got in seen(schedule, one, other):
        if audience != schedule.held and had != got:
            return True
        if audience == schedule.held and any(true_us < left_us.get(frame, NEVER_US) for true_us, frame in got):
            return True
    return False


def faults(schedule: Schedule, which: int, ended: Voyage) -> Iterator[str]:
    """Yield what is wrong with one run: a stop, a gap, a double, something before its delay of true time."""
    if ended.ship is not None and ended.ship.stopped is not None:
        yield ended.ship.stopped
    for follower in ended.followers:
        records = [(true_us, unpacked(frame)) for true_us, frame in follower.got]
        yield from out_of_order([record for _, record in records if record[0] != NO_DIVE])
        told = [record[1] for _, record in records if record[0] == NO_DIVE]
        if told != sorted(set(told)):
            yield f"programmes {told}"
        yield from early(records, schedule, which, follower.audience)


def out_of_order(records: list[Any]) -> Iterator[str]:
    """Yield each record that doesn't follow the one before it."""
    for before, after in pairwise(records):
        begins = before[2] == Kind.END and after[:3] == [before[0] + 1, 0, Kind.DIVE]
        follows = before[2] != Kind.END and after[:2] == [before[0], before[1] + 1]
        if not begins and not follows:
            yield f"{after[:3]} after {before[:3]}"


def may_leave_us(schedule: Schedule, audience: str, came_us: int) -> int:
    """Return the soonest that an audience may see what came at a moment: after the delay, or when let go early."""
    soonest_us = came_us + delay_us(schedule, audience)
    if schedule.early is None or schedule.early[0] != audience:
        return soonest_us
    _, decided_us, back_us = schedule.early
    return min(soonest_us, decided_us) if came_us <= decided_us - back_us else soonest_us


def early(records: list[tuple[int, Any]], schedule: Schedule, which: int, audience: str) -> Iterator[str]:
    """Yield each record that shows a message sooner than it may, by the clock nobody is told.

    A dive's first record shows that something came, or was decided, at all, and so does a programme.
    """
    came_us = {0: 0, **schedule.receipts_us[which], -1: schedule.first_us[which]}
    least_us = {number: may_leave_us(schedule, audience, us) for number, us in came_us.items()}
    for true_us, (dive, seq, kind, _, body, _) in records:
        numbers = []
        if kind == Kind.TICK:
            numbers = [round(row[3] / 10) for row in body if row[3] is not None]
        elif kind == Kind.NOTE and (said := _SAID.fullmatch(body[1])):
            numbers = [int(said[1])]
        elif kind in (Kind.DIVE, Kind.PROGRAMME):
            numbers = [-1]
        if any(true_us < least_us[number] for number in numbers):
            yield f"dive {dive} record {seq} of {numbers} is early"


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, SCHEDULES, BATCH))
def test_what_comes_after_the_cut_changes_nothing_up_to_the_cut_and_the_delay(first: int) -> None:
    """Ten thousand pairs of runs that part at the cut: no byte, no moment differs up to the cut and the delay."""
    compared = 0
    for seed in range(first, first + BATCH):
        schedule = random_schedule(seed)
        runs = [voyage(schedule, which) for which in (0, 1)]
        assert not told_apart(schedule, *runs), f"schedule {seed}"
        for _, _, got in seen(schedule, *runs):
            compared += len(got)
        for which, ended in enumerate(runs):
            assert list(faults(schedule, which, ended)) == [], f"schedule {seed}, run {which}"
    assert compared > 8 * BATCH


def to_the_end(schedule: Schedule, ended: Voyage) -> None:
    """Let everything be resumed and started, and time pass until nothing more is due."""
    ended.play(ended.machine.true_us + SECOND)  # who was away for a blink comes back by itself
    now_us = ended.machine.true_us
    if ended.ship is None:
        ended.plan_for([Event(now_us + 1, Do.START)])
    ended.plan_for([Event(now_us + 2, Do.DECIDE, lambda *_: write_decision(Resume(), "x"))])
    ended.play(now_us + 60 * SECOND)


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, TO_THE_END, 100))
def test_everything_journalled_leaves_once_whatever_the_process_went_through(first: int) -> None:
    """In the end the records are those of a run of the same rows that nothing disturbed, for site and followers."""
    for seed in range(first, first + 100):
        schedule = random_schedule(seed)
        ended = voyage(schedule, seed % 2)
        to_the_end(schedule, ended)
        assert list(faults(schedule, seed % 2, ended)) == [], f"schedule {seed}"
        undisturbed = sent(run(Pipeline(schedule.plan, SECRETS), ended.disk.memory.rows()))
        for audience, history in ended.public.histories.items():
            frames = [frame for _, name, frame in undisturbed if name == audience]
            told = [frame for frame in frames if msgpack.unpackb(frame)[0] == NO_DIVE]
            frames = [frame for frame in frames if frame not in told]
            assert [frame for dive in history.dives for frame in dive.frames] == frames, f"schedule {seed}"
            assert (history.programme and history.programme.data) == (told[-1] if told else None), f"schedule {seed}"
            follower = ended.followers[audience != QUICK]
            got = [frame for _, frame in follower.got]
            assert [frame for frame in got if frame not in told] == frames, f"schedule {seed}"
            assert [frame for frame in got if frame in told][-1:] == told[-1:], f"schedule {seed}"


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, ON_REAL_FILES, 100))
def test_real_files_give_what_the_twins_in_memory_give(first: int, quick_folder: Path) -> None:
    """The same schedules with SQLite and real recordings: every follower gets the same frames at the same moments."""
    for seed in range(first, first + 100):
        schedule = random_schedule(seed)
        twin = voyage(schedule, seed % 2)
        real = voyage(schedule, seed % 2, Disk(quick_folder / str(seed)))
        assert [follower.got for follower in real.followers] == [follower.got for follower in twin.followers]
        if real.ship is not None:
            real.ship.power_off()
        files = sorted(path for path in (quick_folder / str(seed) / "released").rglob("*") if path.is_file())
        assert [path.read_bytes() for path in files] == [data for _, data in sorted(twin.disk.files.files.items())]
        assert list(read_rows(quick_folder / str(seed) / "private" / NAME)) == list(twin.disk.memory.rows())


class WallTime:
    """A machine that tells the wall clock where it should tell the time since the boot."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine

    def boot_id(self) -> str:
        return "always"

    def boot_us(self) -> int:
        return round(self._machine.wall_s() * 1e6)

    def wall_s(self) -> float:
        return self._machine.wall_s()


def by_the_wall_clock(planted: pytest.MonkeyPatch) -> None:
    """Count the embargo by the ship's wall clock."""
    planted.setattr(virtual_ship, "clock_of", lambda file, machine: clock_of(file, WallTime(machine)))


def cut_tells_the_newest(planted: pytest.MonkeyPatch) -> None:
    """Let a cut take what is older along with what it names."""
    right = Embargo.cut
    planted.setattr(Embargo, "cut", lambda embargo, from_us, to_us: right(embargo, from_us - 9 * SECOND, to_us))


def extra_from_the_future(planted: pytest.MonkeyPatch) -> None:
    """Draw the extra delay from what has been received by now."""

    def next_us(channel: Channel) -> int | None:
        due_us = right(channel)
        return None if due_us is None else due_us + len(channel._embargo._held) % 2 * channel.policy.tick_us

    right = Channel.next_us
    planted.setattr(Channel, "next_us", next_us)


def frame_about_the_newest_fix(planted: pytest.MonkeyPatch) -> None:
    """Lay the frame about a fix that is still under the embargo."""

    def seek(channel: Channel, stamped: Stamped) -> None:
        newest = channel._embargo._held[-1].said if channel._embargo._held else stamped.said
        if channel._anchor is None and isinstance(newest, Observation) and newest.latitude_deg is not None:
            channel._anchor = Anchor(newest.latitude_deg, newest.longitude_deg or 0.0, stamped.embargo_us)

    planted.setattr(Channel, "_seek", seek)


def end_told_at_once(planted: pytest.MonkeyPatch) -> None:
    """Let a dive last as long as anything is being received, instead of as long as anything was."""

    def ends(watch: DiveWatch, fuse: Fuse, at_us: int) -> bool:
        held = channels[0]._embargo._held
        return right(watch, fuse, at_us) and not (held and held[-1].embargo_us > at_us)

    def made(channel: Channel, *arguments: Any) -> None:
        channels[:] = [channel]
        made_right(channel, *arguments)

    channels: list[Channel] = []
    right, made_right = DiveWatch.ends, Channel.__init__
    planted.setattr(DiveWatch, "ends", ends)
    planted.setattr(Channel, "__init__", made)


def sent_when_the_disk_is_idle(planted: pytest.MonkeyPatch) -> None:
    """Release only up to what waits for the disk: the moments tell that there is input now."""
    planted.setattr(Journal, "release_us", Journal.watermark_us)


def boot_counts_from_the_last_row(planted: pytest.MonkeyPatch) -> None:
    """Go on after a power cut from the last row: the moments tell when the last input came."""

    def by_rows(file: Any, machine: Machine) -> EmbargoClock:
        right = clock_of(file, machine)
        known = right.mark.boot_id == file.marks().get("clock boot_id")
        return right if known else EmbargoClock(machine, None, max(right.now_us(), file.last()[1]))

    planted.setattr(virtual_ship, "clock_of", by_rows)


def downtime_counts(planted: pytest.MonkeyPatch) -> None:
    """Let a minute of proof fall from the sky at every start."""
    planted.setattr(virtual_ship, "clock_of", lambda file, machine: ahead(clock_of(file, machine)))


def ahead(clock: EmbargoClock) -> EmbargoClock:
    """Return a clock that believes more time to have passed than is proven, if it was started before."""
    return EmbargoClock(clock._source, None, clock.now_us() + (5 * SECOND if clock.now_us() else 0))


def restart_forgets_what_was_had(planted: pytest.MonkeyPatch) -> None:
    """Give an audience that has had more than another everything again after a restart."""
    planted.setattr(virtual_ship, "read_checkpoint", lambda text, plan: forgetful(read_checkpoint(text, plan)))


def forgetful(checkpoint: Checkpoint | None) -> Checkpoint | None:
    """Return a checkpoint that doesn't know what anybody has had."""
    if checkpoint is None:
        return None
    return replace(checkpoint, standings=tuple(replace(standing, had_us=-1) for standing in checkpoint.standings))


@pytest.mark.parametrize(
    "plant",
    [
        by_the_wall_clock, early_for_good, decided_at_once, zone_lifted_at_once, cut_tells_the_newest,
        extra_from_the_future, frame_about_the_newest_fix, end_told_at_once,
        sent_when_the_disk_is_idle, boot_counts_from_the_last_row, downtime_counts, restart_forgets_what_was_had,
        head_over_all_that_came, head_when_a_minute_is_whole,
    ],
)  # fmt: skip
def test_planted_leak_of_the_future_is_found(
    plant: Callable[[pytest.MonkeyPatch], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same pairs, a few hundred of them, tell a relay that gives something away early from one that doesn't."""
    plant(monkeypatch)
    for seed in range(400):
        schedule = random_schedule(seed)
        runs = [voyage(schedule, which) for which in (0, 1)]
        if told_apart(schedule, *runs) or any([*faults(schedule, which, ended)] for which, ended in enumerate(runs)):
            return
    pytest.fail("400 pairs of runs found nothing")
