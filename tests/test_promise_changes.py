"""What has been judged stays judged only as long as it is told so: cuts, hidden places, and a vehicle outside."""

import asyncio
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from peers import until
from promising import audited, promising, quick
from relay.audit.attacks.attack import Dive
from relay.core.channel import Channel
from relay.core.policy import MICROSECONDS
from relay.shell.record.secrets_file import NAME, read_secrets
from relay.shell.ship.foresight_process import Job, Seen
from relay.shell.ship.foresight_run import work_out
from relay.shell.ship.ship import Ship
from test_promises import PLENTY, Rounds, begun, released, sailing

ZONE = {
    "do": "zone", "name": "bow", "centre": [-41.2, 17.5], "radius_m": 30, "margin_m": 15, "action": "withhold",
}  # fmt: skip
INSIDE, OUTSIDE = -41.2, -45.0


class Area:
    """An area that nothing tells."""

    def area_km2(self, dives: list[Dive]) -> float:
        """Return enough for any promise."""
        return 900.0


class Hanging(Rounds):
    """Rounds that look at the journal as the real ones do, on no chart; while `gate` is shut they hang."""

    def __init__(self) -> None:
        super().__init__()
        self.gate, self.hung = asyncio.Event(), asyncio.Event()
        self.gate.set()
        self.seen: Seen | None = None
        self.answer = lambda job: work_out(job, read_secrets(job.private / NAME), lambda level: Area())

    async def __call__(self, job: Job) -> dict[str, Seen] | str:
        """Do a round."""
        if not self.gate.is_set():
            self.hung.set()
        await self.gate.wait()
        found = await super().__call__(job)
        self.seen = found["public"] if isinstance(found, dict) else None
        return found

    async def hang(self) -> None:
        """Let no round end any more; return once one hangs."""
        self.gate.clear()
        await self.hung.wait()


def channel_of(ship: Ship, audience: str) -> Channel:
    """Return an audience's channel."""
    return next(one for one in ship.pipeline.channels if one.policy.audience == audience)


def place(ship: Ship, latitude_deg: float) -> None:
    """Let a report of a place come in."""
    values = {"vehicle": "Lantern", "latitude_deg": latitude_deg, "longitude_deg": 17.5, "depth_m": 50.0}
    ship._journal.append("station", "stream", json.dumps(values).encode() + b"\n")  # type: ignore[union-attr, arg-type]


async def passed(ship: Ship, seconds: int) -> None:
    """Wait until another audience, without a promise, has been sent ticks of so many seconds from now on."""
    upto_us = ship.now_us() + seconds * MICROSECONDS
    await until(lambda: channel_of(ship, "family").from_us > upto_us)


@pytest.mark.parametrize("kind", ["cut", "zone"])
async def test_what_was_judged_before_a_change_stays_in_until_a_round_has_ended(kind: str, tmp_path: Path) -> None:
    """A round had looked far ahead; what is due behind a cut or a hidden place waits for one that has seen it."""
    expedition, rounds = audited(quick(promising(tmp_path))), Hanging()
    rounds.answer = lambda job: {"public": replace(PLENTY, kept_us=job.upto_us + 3_600 * MICROSECONDS)}
    async with sailing(expedition, rounds) as ship:
        await begun(ship)
        await until(lambda: len(released(expedition)) >= 2)
        public = channel_of(ship, "public")
        await rounds.hang()
        since_us = ship.now_us() - 100_000
        change: dict[str, Any] = ZONE if kind == "zone" else {"do": "cut", "from_us": since_us, "to_us": since_us + 1}
        ship.decide(json.dumps(change).encode(), "Ines")
        assert await ship.settled(5)
        changed_us = public.from_us if kind == "zone" else since_us
        await passed(ship, 3)
        assert public.edge_us < changed_us
        rounds.gate.set()
        await until(lambda: public.edge_us > changed_us + 2 * MICROSECONDS)


async def test_after_a_stop_outside_only_what_a_finished_round_has_judged_leaves(tmp_path: Path) -> None:
    """Rounds judge what waits behind the stop; a resume lets out that at once, and what came later after a round."""
    expedition, rounds = audited(quick(promising(tmp_path))), Hanging()
    async with sailing(expedition, rounds) as ship:
        await begun(ship)
        await until(lambda: len(released(expedition)) >= 2)
        public = channel_of(ship, "public")
        place(ship, OUTSIDE)
        await until(lambda: public.outside is not None)
        place(ship, INSIDE)
        stopped, back_us = len(released(expedition)), ship.now_us() + MICROSECONDS
        await until(lambda: rounds.jobs[-1].upto_us > back_us)
        await rounds.hang()
        assert rounds.seen is not None
        judged = rounds.seen.judged_seq
        later_us = ship.now_us() + 3 * MICROSECONDS
        await until(lambda: ship.now_us() > later_us)
        ship.decide(b'{"do": "resume", "outside": true}', "Ines")
        assert await ship.settled(5)
        await passed(ship, 2)
        left = released(expedition)
        assert left[-1].seq <= judged
        assert len(left) > stopped
        rounds.gate.set()
        await until(lambda: released(expedition)[-1].seq > judged + 3)
