"""Rounds of the promises on a clock in hand: what came in lately changes neither what leaves nor when (R2)."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dives import SECOND, SECRETS, decided, dive_rows, in_order, plan, policy
from promising import audited, promising
from relay.audit.attacks.attack import Dive
from relay.core.channel import Due
from relay.core.decision import Cut
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.release import Kind
from relay.core.wire import encode
from relay.shell.plan.audit_plan import LEAST_DELAY_US
from relay.shell.plan.expedition import Expedition
from relay.shell.released.outlet import Frame
from relay.shell.ship.audit_gate import NO_LEAVE
from relay.shell.ship.foresight import Measure, foresee, judged
from relay.shell.ship.foresight_process import BUDGET_S, LIMIT_S, Job, Seen
from relay.shell.ship.promises import ROUND_S, Promises

ROUND, LIMIT, DELAY = 6, 30, 120  # seconds, in the proportion of ROUND_S, LIMIT_S and LEAST_DELAY_US
PARTING = 150  # from this second on two runs differ
PLAN = plan(policy("public", delay_us=DELAY * SECOND, extra_us=0))


class Dipping:
    """An area of 200 km2 that is 10 km2 for ticks 60 to 64 of a dive, if it dips at all, and grows again."""

    def __init__(self, dips: bool) -> None:
        self._dips = dips

    def area_km2(self, dives: list[Dive]) -> float:
        """Return the area for so many ticks."""
        ticks = sum(record.kind == Kind.TICK for dive in dives for record in dive.records)
        return 10.0 if self._dips and 60 <= ticks < 65 else 200.0


class Deck:
    """A ship in hand: the pipeline, the promises, and a clock that the test turns."""

    def __init__(self, expedition: Expedition, journal: Sequence[Row], dips: bool) -> None:
        self.expedition, self.pipeline = expedition, Pipeline(PLAN, SECRETS)
        self.out: list[tuple[int, bytes]] = []
        self.held_us: int | None = None
        self.ticks = 0
        self._journal, self._areas, self._clock_us, self._asked_us = journal, Dipping(dips), 0, 0
        self.promises = Promises(self.expedition, NO_LEAVE, asking=self._ask, round_s=float(ROUND))
        self.promises.board(self, lambda audience, dive, programmes: False, lambda: None)
        self.promises.begin(lambda: self._asked_us)
        self._failing = False

    def now_us(self) -> int:
        """Return the moment on the test's clock."""
        return self._clock_us

    def decide(self, data: bytes, who: str) -> dict[str, Any]:
        """Take the audit's hold, at once."""
        assert json.loads(data)["do"] == "hold"
        self.held_us = self._clock_us
        self.pipeline.channels[0].hold(1)
        return {}

    async def _ask(self, job: Job) -> dict[str, Seen] | str:
        if self._failing and job.upto_us >= PARTING * SECOND:
            return "it took longer than it may"
        coming = foresee(Pipeline(PLAN, SECRETS), self._journal, job.upto_us)["public"]
        told, since = job.told.get("public", (0, -1)), job.judged["public"]
        measure = Measure(self._areas, [], coming)
        return {"public": judged(measure, coming, told, since, job.promises["public"], job.upto_us)}

    async def sail(self, seconds: int, takes: Sequence[int], failing: bool) -> None:
        """Let time go by, second by second; rounds take so long, one after the other, from the parting on."""
        self._failing = failing
        rows, ends, begins, count = list(self._journal), None, 1, 0
        for second in range(1, seconds):
            self._clock_us = second * SECOND
            while rows and rows[0].embargo_us < self._clock_us:
                row = rows.pop(0)
                self._leave(self.pipeline.receive(row))
                self.promises.took(row)
            if ends is None and second >= begins:
                lasts = takes[count % len(takes)] if second > PARTING else 1
                self._asked_us, ends, count = self._clock_us, second + lasts, count + 1
            elif ends == second:
                await self.promises.look()
                begins, ends = second + ROUND, None
            self.promises.beat()
            self._leave(self.pipeline.advance(self._clock_us))

    def _leave(self, due: list[Due]) -> None:
        for item in due:
            record = item.record
            self.ticks += record.kind == Kind.TICK
            self.out.append((item.instant_us, encode(record)))
            self.promises.sent(Frame("public", record.dive, record.seq, False, item.instant_us, b""))


async def sailed(folder: Path, seed: int, *, dips: bool, takes: Sequence[int], failing: bool = False) -> Deck:
    """Return a ship after five minutes of a dive that goes on by `seed` after the parting, or ends there (0)."""
    before = [row for row in dive_rows(PARTING) if row.embargo_us <= PARTING * SECOND]
    after = [row for row in dive_rows(300, seed=seed) if row.embargo_us > PARTING * SECOND] if seed else []
    rows = [replace(row, seq=at) for at, row in enumerate([*before, *after], 1)]
    deck = Deck(audited(replace(promising(folder), plan=PLAN)), rows, dips)
    await deck.sail(PARTING + DELAY, takes, failing)
    return deck


@pytest.mark.parametrize("dips", [False, True])
@pytest.mark.parametrize(("takes", "failing"), [((1,), False), ((LIMIT,), False), ((LIMIT, 1, 17), True)])
async def test_what_came_in_lately_changes_neither_what_leaves_nor_when(
    dips: bool, takes: Sequence[int], failing: bool, tmp_path: Path
) -> None:
    """Until the parting is as old as the delay both runs send the same at the same moments, however long rounds take.

    In one the dive just ends and rounds are quick; in the other it goes on otherwise, rounds take as long as they
    may, and fail where they look beyond the parting. Where the area dips, what is before the dip leaves, no more, and
    the hold comes when the tick that dips is due, in both.
    """
    for name in ("calm", "rough"):
        (tmp_path / name).mkdir()
    calm = await sailed(tmp_path / "calm", 0, dips=dips, takes=(1,))
    rough = await sailed(tmp_path / "rough", 2, dips=dips, takes=takes, failing=failing)
    assert rough.out == calm.out
    assert (rough.held_us, rough.ticks) == (calm.held_us, calm.ticks)
    assert (calm.held_us is not None) is dips
    assert calm.ticks == 59 if dips else calm.ticks > 65


async def test_what_is_older_than_a_cut_leaves_at_its_moments_though_no_round_ends(tmp_path: Path) -> None:
    """What came in before what is cut stays judged; from there on nothing leaves, for no round has seen the cut.

    Those that look no farther than to the parting, before the cut was made, would end.
    """
    cut = decided(160 * SECOND, Cut(from_us=140 * SECOND, to_us=150 * SECOND))
    out = {}
    for name, journal in (("calm", dive_rows(200)), ("cut", in_order(dive_rows(200), [cut]))):
        (tmp_path / name).mkdir()
        deck = Deck(audited(replace(promising(tmp_path / name), plan=PLAN)), journal, dips=False)
        await deck.sail(PARTING + DELAY, (1,), failing=name == "cut")
        out[name] = deck.out
    assert out["cut"] == [item for item in out["calm"] if item[0] < (140 + DELAY) * SECOND]
    assert 60 < len(out["cut"]) < len(out["calm"])


async def test_no_round_looks_short_of_a_cut(tmp_path: Path) -> None:
    """The first behind it looks at all there is; one that follows at once, or one that failed, no less than at it."""
    deck = Deck(audited(replace(promising(tmp_path), plan=PLAN)), [], dips=False)
    seen: list[int] = []

    async def asking(job: Job) -> dict[str, Seen] | str:
        seen.append(job.upto_us // SECOND)
        return "it failed" if len(seen) == 2 else {"public": Seen(left_km2=900, ahead_km2=900, kept_us=job.upto_us)}

    deck.promises._asking, deck._asked_us = asking, 161 * SECOND
    deck.promises.took(decided(160 * SECOND, Cut(from_us=140 * SECOND, to_us=150 * SECOND)))
    for _ in range(3):
        await deck.promises.look()
    assert (161 // ROUND * ROUND, seen) == (156, [161, 160, 160])


def test_delay_leaves_room_for_a_round_that_fails() -> None:
    """A round under way, one that fails and a full one, each after its wait, fit into the least delay of a promise."""
    assert 3 * (ROUND_S + LIMIT_S) * SECOND <= LEAST_DELAY_US
    assert 3 * (ROUND + LIMIT) <= DELAY
    assert BUDGET_S < LIMIT_S
