"""Promises aboard: what no round has seen stays in, what breaks a promise is held by the audit, the desk is told."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from peers import until
from promising import audited, promising, quick
from relay.core.errors import OperatorError
from relay.core.policy import MICROSECONDS
from relay.core.release import Kind
from relay.shell.plan.expedition import Expedition
from relay.shell.record.clock import MachineTime
from relay.shell.record.journal import read_rows
from relay.shell.released.recording import load_recording
from relay.shell.ship.audit_gate import NO_LEAVE, Leave, whose_process
from relay.shell.ship.foresight_process import Job, Seen, ask
from relay.shell.ship.promises import Promises
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from ship_in_hand import StuckDisk, report

PLENTY = Seen(left_km2=900.0, ahead_km2=800.0, kept_us=0)


class Rounds:
    """Answers each round as it is told to, and counts."""

    def __init__(self) -> None:
        self.jobs: list[Job] = []
        self.answer: Callable[[Job], dict[str, Seen] | str] = lambda job: "nobody has said yet"

    async def __call__(self, job: Job) -> dict[str, Seen] | str:
        """Do a round."""
        self.jobs.append(job)
        return self.answer(job)

    def keep(self, job: Job) -> dict[str, Seen]:
        """Find that all that was received keeps the promise."""
        return {"public": replace(PLENTY, kept_us=job.upto_us)}


@asynccontextmanager
async def sailing(expedition: Expedition, rounds: Rounds | None, leave: Leave = NO_LEAVE) -> AsyncIterator[Ship]:
    """Yield a served ship whose rounds are answered by `rounds`, every 50 ms; None: by the real process."""
    sources = tuple(replace(feed, url=replace(feed.url, port=0)) for feed in expedition.feeds)
    ship = Ship(replace(expedition, feeds=sources[:0]), MachineTime(), new_site(expedition), leave)
    ship.promises._asking, ship.promises._round_s = rounds or ask, 0.05
    await ship.start()
    serving = asyncio.ensure_future(ship.serve())
    try:
        yield ship
    finally:
        serving.cancel()
        await asyncio.wait({serving})
        await ship.close()


def released(expedition: Expedition, audience: str = "public") -> list[Any]:
    """Return the ticks that an audience was sent."""
    paths = sorted((expedition.released / audience).glob("dive-*.recording"))
    return [record for path in paths for record in load_recording(path).records if record.kind == Kind.TICK]


def decisions(expedition: Expedition) -> list[dict[str, Any]]:
    """Return the decisions in the journal."""
    rows = read_rows(expedition.private / "journal.db")
    return [json.loads(row.data) for row in rows if row.kind == "decision"]


async def begun(ship: Ship) -> None:
    """Begin a dive, and let reports come in until another audience, without a promise, has been sent two ticks."""
    ship.decide(b'{"do": "begin"}', "Ines")
    report(ship, 50.0)
    await until(lambda: len(released(ship.expedition, "family")) >= 3)


async def test_nothing_leaves_that_no_round_has_seen(tmp_path: Path) -> None:
    """While rounds fail nothing is sent to an audience with a promise, though it is due; once one has, it is."""
    expedition, rounds = quick(audited(promising(tmp_path, "87 km2"))), Rounds()
    audited(expedition)
    async with sailing(expedition, rounds) as ship:
        await begun(ship)
        due_us = ship.now_us() + 2 * MICROSECONDS
        await until(lambda: ship.now_us() > due_us)
        assert released(expedition) == []
        assert "isn't known: nobody has said yet; what no finished round has seen stays in (87 km2 are promised)" in (
            "".join(ship.alarms())
        )
        rounds.answer = rounds.keep
        await until(lambda: len(released(expedition)) >= 3)
        assert rounds.jobs[-1].promises == {"public": 87.0}
        assert rounds.jobs[-1].levels == {"public": 0.97}
        told = ship.desk.state()["promises"]
        assert told == [
            {
                "audience": "public", "promise_km2": 87.0, "left_km2": 900.0, "ahead_km2": 800.0, "state": "kept",
                "words": "public: 900 km2 left to search, 800 km2 with all that is about to leave; 87 km2 are promised",
            }
        ]  # fmt: skip
        assert not any("promised" in alarm for alarm in ship.alarms())


async def test_real_rounds_let_a_dive_out_while_the_promise_holds(tmp_path: Path) -> None:
    """With the real process, reading this journal and the chart, records leave, and the desk has the areas."""
    expedition = quick(audited(promising(tmp_path)))
    audited(expedition)
    async with sailing(expedition, None) as ship:
        await begun(ship)
        await until(lambda: len(released(expedition)) >= 2)
        (told,) = ship.desk.state()["promises"]
        assert told["state"] == "kept", told
        assert told["promise_km2"] < told["ahead_km2"] <= told["left_km2"]


async def test_tick_that_breaks_the_promise_is_held_by_the_audit(tmp_path: Path) -> None:
    """All before it leaves, it doesn't; the hold is in the journal, and a resume without a change holds again."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    audited(expedition)
    async with sailing(expedition, rounds) as ship:
        rounds.answer = rounds.keep
        await begun(ship)
        await until(lambda: len(released(expedition)) >= 2)
        breaks_us = ship.now_us() // MICROSECONDS * MICROSECONDS + MICROSECONDS
        broken = Seen(left_km2=200.0, ahead_km2=50.0, kept_us=breaks_us - 1, breaks_us=breaks_us + MICROSECONDS)
        rounds.answer = lambda job: {"public": broken}
        (channel,) = [one for one in ship.pipeline.channels if one.policy.audience == "public"]
        await until(lambda: channel.held)
        assert channel.from_us == breaks_us
        assert "held, for the next record would break it (50 km2 left with all that waits)" in "".join(ship.alarms())
        ship.decide(b'{"do": "resume", "audience": "public"}', "Ines")
        await until(lambda: [one["do"] for one in decisions(expedition)].count("hold") == 2)
        holds = [one for one in decisions(expedition) if one["do"] == "hold"]
        assert {(one["who"], one["audience"]) for one in holds} == {("the audit", "public")}
        assert channel.from_us == breaks_us
        family = [one for one in ship.pipeline.channels if one.policy.audience == "family"]
        assert not family[0].held
        rounds.answer = rounds.keep  # the operator has cut what told the place
        ship.decide(b'{"do": "resume", "audience": "public"}', "Ines")
        await until(lambda: channel.from_us > breaks_us and not channel.held)


async def test_hold_comes_when_the_tick_is_due_and_no_sooner(tmp_path: Path) -> None:
    """Known ahead, it is told on the desk alone: a hold before its moment would tell of what is hidden (R2)."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    audited(expedition)
    async with sailing(expedition, rounds) as ship:
        rounds.answer = rounds.keep
        await begun(ship)
        far_us = ship.now_us() + 3_600 * MICROSECONDS
        rounds.answer = lambda job: {"public": Seen(left_km2=200, ahead_km2=50, kept_us=far_us - 1, breaks_us=far_us)}
        await ship.promises.look()
        ship.promises.beat()
        assert not any(channel.held for channel in ship.pipeline.channels)
        assert "what is due within 1 h would break it" in "".join(ship.alarms())
        assert ship.desk.state()["promises"][0]["state"] == "breaks"
        left = len(released(expedition))
        await until(lambda: len(released(expedition)) > left)


async def test_desk_is_warned_within_half_as_much_again(tmp_path: Path) -> None:
    """One and a half times the promise is far enough, and less is an alarm that says so."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    audited(expedition)
    async with sailing(expedition, rounds) as ship:
        for ahead_km2, state in ((130.5, "kept"), (130.4, "near")):
            seen = Seen(left_km2=400, ahead_km2=ahead_km2, kept_us=0)
            rounds.answer = lambda job, seen=seen: {"public": seen}  # type: ignore[misc]
            await ship.promises.look()
            assert ship.desk.state()["promises"][0]["state"] == state
            assert any("it is close" in alarm for alarm in ship.alarms()) == (state == "near")


async def test_before_the_first_round_it_is_not_yet_known(tmp_path: Path) -> None:
    """While nothing has been worked out a promise is neither kept nor broken, and nobody is alarmed."""
    expedition = audited(quick(promising(tmp_path)))
    async with sailing(expedition, Rounds()) as ship:
        (told,) = ship.desk.state()["promises"]
        assert (told["state"], told["left_km2"]) == ("waiting", None)
        assert told["words"].startswith("public: not yet known: there is nothing to work out yet")
        assert not any("promised" in alarm for alarm in ship.alarms())


async def test_cut_has_all_that_waits_judged_anew_and_nothing_else_does(tmp_path: Path) -> None:
    """A round goes on after the last record that was judged; the one after a cut begins with what has left."""
    expedition, rounds = audited(quick(promising(tmp_path))), Rounds()
    async with sailing(expedition, rounds) as ship:
        rounds.answer = lambda job: {"public": replace(PLENTY, kept_us=job.upto_us, judged_dive=1, judged_seq=7)}
        await begun(ship)
        await until(lambda: rounds.jobs[-1].judged == {"public": (1, 7)})
        assert rounds.jobs[-1].open_audiences == expedition.open_audiences
        assert len(rounds.jobs[-1].digests) == len(expedition.audit.charts) == 1
        done = len(rounds.jobs)
        ship.decide(b'{"do": "say", "text": "a lamp"}', "Ines")
        await until(lambda: len(rounds.jobs) > done + 4)
        assert all(job.judged == {"public": (1, 7)} for job in rounds.jobs[done:])
        done = len(rounds.jobs)
        now_us = ship.now_us()
        ship.decide(json.dumps({"do": "cut", "from_us": now_us - 100_000, "to_us": now_us}).encode(), "Ines")
        await until(lambda: any(job.judged == {"public": (0, -1)} for job in rounds.jobs[done:]))
        anew = next(job for job in rounds.jobs[done:] if job.judged == {"public": (0, -1)})
        assert anew.upto_us >= now_us


async def test_work_that_falls_behind_is_told(tmp_path: Path) -> None:
    """Where rounds leave ticks unjudged that are due the desk says what would help, and what isn't judged stays in."""
    expedition, rounds = audited(quick(promising(tmp_path))), Rounds()
    async with sailing(expedition, rounds) as ship:
        rounds.answer = lambda job: {"public": replace(PLENTY, kept_us=-1, whole=False)}
        await begun(ship)
        await until(lambda: any("working it out falls behind" in alarm for alarm in ship.alarms()))
        assert released(expedition) == []


async def test_restart_sends_again_what_had_left_and_nothing_more(tmp_path: Path) -> None:
    """After a restart the same records leave again before any round; the rest waits for one."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    audited(expedition)
    async with sailing(expedition, rounds) as ship:
        rounds.answer = rounds.keep
        await begun(ship)
        await until(lambda: len(released(expedition)) >= 3)
    before, again = released(expedition), Rounds()
    async with sailing(expedition, again) as ship:
        due_us = ship.now_us() + 2 * MICROSECONDS
        await until(lambda: ship.now_us() > due_us)
        assert ship.stopped is None
        assert released(expedition) == before
        again.answer = again.keep
        await until(lambda: len(released(expedition)) > len(before))
        assert again.jobs[0].told["public"] == (1, before[-1].seq)


async def test_audience_without_an_audit_stands_on_the_desk(tmp_path: Path) -> None:
    """Whoever starts it says why, which is journalled and an alarm as long as the relay runs; nothing is watched."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    async with sailing(expedition, rounds, Leave({"public": "the chart comes tomorrow"}, "Ines")) as ship:
        await begun(ship)
        await until(lambda: len(released(expedition)) >= 2)
        assert rounds.jobs == []
        assert "public goes without a passed audit, by Ines: the chart comes tomorrow" in ship.alarms()
        assert ship.desk.state()["promises"][0]["state"] == "unaudited"
        assert {"do": "unaudited", "who": "Ines", "audience": "public", "reason": "the chart comes tomorrow"} in (
            decisions(expedition)
        )
        words = [one["words"] for one in ship.desk.state()["decisions"]]
        assert "public goes without a passed audit: the chart comes tomorrow" in words


async def test_alarm_stays_the_same_while_a_break_comes_nearer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the 45 minutes before what breaks a promise is due its alarm is new eight times, not each second."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    audited(expedition)
    async with sailing(expedition, rounds) as ship:
        due_us = ship.now_us() + 3_600 * MICROSECONDS
        rounds.answer = lambda job: {"public": Seen(left_km2=200, ahead_km2=50, kept_us=due_us - 1, breaks_us=due_us)}
        await ship.promises.look()
        said = set()
        for left_s in range(2_700, 0, -1):
            monkeypatch.setattr(ship, "now_us", lambda left_s=left_s: due_us - left_s * MICROSECONDS)
            said.update(ship.promises.alarms())
        assert len(said) == 8
        assert sum("what is due within 45 min would break it" in one for one in said) == 1


@pytest.mark.parametrize("leave", [NO_LEAVE, Leave({"public": "the chart comes tomorrow"}, "Ines")])
async def test_programme_of_a_promise_survives_a_restart(leave: Leave, tmp_path: Path) -> None:
    """A programme that had left between dives leaves again, with an audit or without, and the release goes on."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    rounds.answer = rounds.keep
    if leave is NO_LEAVE:
        audited(expedition)
    path = expedition.released / "public" / "programme.record"
    async with sailing(expedition, rounds, leave) as ship:
        await begun(ship)
        await until(lambda: len(released(expedition)) >= 2)
        ship.decide(b'{"do": "end"}', "Ines")
        await until(lambda: not any(channel.under_way for channel in ship.pipeline.channels))
        ship.decide(b'{"do": "programme", "pinned": "The boiler is next.", "next_dive_in_s": 7200}', "Ines")
        await until(path.exists)
    before = path.read_bytes()
    async with sailing(expedition, Rounds(), leave) as ship:
        assert ship.stopped is None
        assert path.read_bytes() == before
        assert ship.pipeline.channels[0].board.next_number == 1


async def test_audience_without_an_audit_waits_for_the_journal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing but what had left leaves at a start without an audit before the word for it is on the disk."""
    expedition, disk = quick(promising(tmp_path)), StuckDisk(monkeypatch)
    audited(expedition)
    async with sailing(expedition, Rounds()) as ship:
        await begun(ship)
    assert released(expedition) == []
    (expedition.private / "audit.json").unlink()
    disk.stuck = True
    async with sailing(expedition, Rounds(), Leave({"public": "because"}, "Ines")) as ship:
        due_us = ship.now_us() + 2 * MICROSECONDS
        await until(lambda: ship.now_us() > due_us)
        assert ship.stopped is None
        assert (released(expedition), [one for one in decisions(expedition) if one["do"] == "unaudited"]) == ([], [])
        disk.stuck = False
        await until(lambda: len(released(expedition)) >= 2)
        assert [one["who"] for one in decisions(expedition) if one["do"] == "unaudited"] == ["Ines"]


async def test_promise_that_is_taken_out_of_the_file_is_missed(tmp_path: Path) -> None:
    """At each start after it the desk says so, and the journal with whose process it is; until it is back."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    audited(expedition)
    async with sailing(expedition, rounds) as ship:
        assert ship.promises.told()[0]["state"] == "waiting"
    without = replace(expedition, audit=type(expedition.audit)())
    words = f"public goes without a passed audit, by {whose_process()}: its promise of 87 km2 was taken out of the"
    for starts in (1, 2):
        async with sailing(without, rounds) as ship:
            await until(lambda starts=starts: [one["do"] for one in decisions(without)].count("unaudited") == starts)  # type: ignore[misc]
            assert any(alarm.startswith(words) for alarm in ship.alarms())
            told = ship.desk.state()["promises"][0]
            assert (told["audience"], told["promise_km2"], told["state"]) == ("public", 87.0, "unaudited")
            assert (decisions(without)[-1]["who"], decisions(without)[-1]["audience"]) == (whose_process(), "public")
            await begun(ship)
            await until(lambda: len(released(without)) >= 2)
            ship.decide(b'{"do": "end"}', "Ines")
    async with sailing(expedition, rounds) as ship:
        assert [one["state"] for one in ship.promises.told()] == ["waiting"]


async def test_promise_of_an_audience_that_is_gone_is_missed(tmp_path: Path) -> None:
    """Another name for the audience is told, too, and keeps nothing from starting."""
    expedition = quick(audited(promising(tmp_path)))
    audited(expedition)
    async with sailing(expedition, Rounds()):
        pass
    first, *others = expedition.plan.policies
    plan = replace(expedition.plan, policies=(replace(first, audience="everybody"), *others))
    async with sailing(replace(expedition, plan=plan, audit=type(expedition.audit)()), Rounds()) as ship:
        assert "its promise of 87 km2 was taken out" in "".join(ship.alarms())
        await until(lambda: [one["do"] for one in decisions(expedition)] == ["unaudited"])


async def test_leave_is_not_given_at_the_desk(tmp_path: Path) -> None:
    """While the relay runs nobody can say that an audience goes without an audit."""
    expedition, rounds = quick(promising(tmp_path)), Rounds()
    audited(expedition)
    async with sailing(expedition, rounds) as ship:
        message = {"do": "unaudited", "audience": "public", "reason": "so", "who": "Ines"}
        answer = await ship.deciding.take(json.dumps(message).encode())
        assert (answer["ok"], "--without-audit" in answer["why"]) == (False, True)


def test_ship_does_not_start_unaudited(tmp_path: Path) -> None:
    """The relay itself refuses, before it has opened anything."""
    expedition = promising(tmp_path)
    with pytest.raises(OperatorError, match="87 km2 are promised, and it was never audited"):
        Ship(expedition, MachineTime(), new_site(expedition))
    assert not expedition.private.exists()


def test_expedition_without_a_promise_has_nothing_to_do(tmp_path: Path) -> None:
    """Where nothing is promised there is no job, no alarm and no line on the desk."""
    expedition = promising(tmp_path)
    nothing = Promises(replace(expedition, audit=type(expedition.audit)()), NO_LEAVE)
    assert (nothing.jobs, nothing.alarms(), nothing.told()) == ([], [], [])
