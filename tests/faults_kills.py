"""kill -9 at random moments of ship, shore and uplink, under load: a part of `make faults`.

The uplink runs in the ship's process, which dials: it is killed at a random octet of what it sends over the link (from
its handshake on), the shore at a random octet of what it answers, both of them besides at random moments, also while
they start, one and both together. After each kill: what was in the journal is there, no follower has a gap, what is
ashore is what the ship told. In every round of a few kills all clients must get something newer, the operator is
answered, a dive ends for everybody. At the end all rules are looked at over everything (`invariants.py`).
"""

import asyncio
import random
import sqlite3
import time
from collections import Counter
from collections.abc import Awaitable, Callable
from pathlib import Path

from fault_outcome import Outcome
from forked_relays import Running
from invariants import check
from killed_voyage import AUDIENCES, Voyage, newcomer, voyage
from left_behind import told_by
from peers import until
from relay.core.model import Row
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.journal import read_rows
from relay.shell.record.secrets_file import NAME, read_secrets

KILLS_A_DIVE = 8
PATIENCE_S = 180.0  # fair on a machine that does much else: it is a fault if nothing comes in that time
LONGEST_S = 1.2
GREETING_OCTETS = {"out": 1_500, "in": 1_300}  # measured: 727 and 1,164 until records go
GOING_OCTETS = {"out": 2_000, "in": 150}
VICTIMS = ("ship", "uplink", "shore", "landing", "both")


class Kills:
    """Kills, and looks after each."""

    def __init__(self, here: Voyage, seed: int, tell: Callable[[str], None]) -> None:
        self._here, self._chance, self._tell = here, random.Random(seed), tell
        self.tried: Counter[str] = Counter()
        self.wrong: list[str] = []
        self._last: Row | None = None
        self._compared = dict.fromkeys(AUDIENCES, 0)
        self._rounds = 0

    async def play(self, count: int) -> None:
        """Kill so many times, in rounds of a dive each."""
        here = self._here
        here.start_shore()
        here.start_ship()
        while self.tried.total() < count and not self.wrong:
            self._rounds += 1
            for station in here.stations:
                station.talks.set()
            if not await self._newer("at the begin of a dive"):
                return
            self._newcomers()
            for _ in range(min(KILLS_A_DIVE, count - self.tried.total())):
                if not self.wrong:
                    await self._kill()
                    self._look()
            if not self.wrong:
                await self._round_over()
        await self._everything_has_come()

    async def _everything_has_come(self) -> None:
        """Wait until every client has all that the journal gives, for which it is run again; nobody sends any more."""
        rows: list[Row] = []
        journal = self._here.private / "journal.db"
        while not self.wrong and len(rows) != len(rows := list(read_rows(journal))):
            expedition = read_expedition(self._here.folder / "site" / "EXPEDITION.toml")
            told = Counter(each[2] for each in told_by(expedition.plan, read_secrets(journal.with_name(NAME)), rows))
            clients = [(client, name.rpartition("-")[2]) for name, client in self._here.clients.items()]
            await self._within("all", lambda: all(len(one.held) >= told[name] for one, name in clients))  # noqa: B023

    def _newcomers(self) -> None:
        here, dive = self._here, max(client.dive for client in self._here.clients.values())
        here.come(newcomer("follower", self._rounds), "page", "public", dive)
        here.come(newcomer("shore", self._rounds), "shore", "public", dive)

    async def _round_over(self) -> None:
        """Let everybody get something newer and the operator be answered, then the dive end for everybody."""
        here = self._here
        if not await self._newer("after kills"):
            return
        await self._within("an answer for the operator", lambda: True, here.say)
        for station in here.stations:
            station.talks.clear()
        for end in ("follower", "shore"):
            await here.leave(newcomer(end, self._rounds))
        await self._within("the dive's end", lambda: all(one.between_dives for one in here.clients.values()))
        self._look()
        records = sum(len(client.held) for client in here.clients.values())
        self._tell(f"kills: {self.tried.total()} ({_counted(self.tried)}), {self._rounds} dives, {records} records")

    async def _newer(self, when: str) -> bool:
        had = {name: len(client.held) for name, client in self._here.clients.items()}
        clients = self._here.clients
        return await self._within(f"anything newer {when}", lambda: all(len(clients[n].held) > had[n] for n in had))

    async def _within(
        self, what: str, condition: Callable[[], bool], first: Callable[[], Awaitable[bool]] | None = None
    ) -> bool:
        """Wait for a condition, once what comes first has been done; what takes too long is wrong."""
        try:
            async with asyncio.timeout(PATIENCE_S):
                while first is not None and not await first():  # noqa: ASYNC110 - what is waited for is an answer
                    await asyncio.sleep(0.05)
                await until(condition)
        except TimeoutError:
            state = {name: (client.dive, client.seq) for name, client in self._here.clients.items()}
            self.wrong.append(f"after {self.tried.total()} kills: nobody, or not everybody, had {what}: {state}")
            return False
        return True

    async def _kill(self) -> None:
        """Kill one, at a moment or an octet of chance, and start it again at once."""
        victim = self._chance.choice(VICTIMS)
        self.tried[victim] += 1
        here = self._here
        saying = asyncio.ensure_future(here.say())
        here.look_at_shore()
        if victim in ("uplink", "landing"):
            await self._kill_at_octet(victim == "uplink")
        else:
            await asyncio.sleep(self._chance.uniform(0.0, LONGEST_S))
        await self._again("ship", victim in ("ship", "uplink", "both"))
        await self._again("shore", victim in ("shore", "landing", "both"))
        await saying

    async def _kill_at_octet(self, of_ship: bool) -> None:
        """Kill the ship at an octet that it sends, or the shore at one that it answers, of a new link or as it goes."""
        here = self._here
        way, process = ("out", here.ship) if of_ship else ("in", here.shore)
        assert process is not None
        begins = self._chance.random() < 0.5
        octets = self._chance.randrange(1, GREETING_OCTETS[way] if begins else GOING_OCTETS[way])
        here.link.at(way, octets, process.kill)
        if begins:
            here.link.cut()
        await self._within(f"octet {octets} {way} of the link", lambda: not process.lives)

    async def _again(self, which: str, killed: bool) -> None:
        """Kill a process for certain if it is the one, wait for its end, start it again."""
        process: Running | None = getattr(self._here, which)
        assert process is not None
        if not killed:
            if not process.lives:
                self.wrong.append(f"the {which} ended by itself: {process.complained.read_text()[-800:]}")
            return
        process.kill()
        await process.ended()
        (self._here.start_ship if which == "ship" else self._here.start_shore)()

    def _look(self) -> None:
        """Look at what can be looked at after each kill: the journal's new rows, every follower's new records."""
        self.wrong += self._wrong_rows()
        for name, client in self._here.clients.items():
            self.wrong += [f"{name} had {fault}" for fault in client.faults[:1]]
        for audience in AUDIENCES:
            aboard, ashore = (self._here.clients[f"{end}-1-{audience}"].held for end in ("follower", "shore"))
            both, since = min(len(aboard), len(ashore)), self._compared[audience]
            if aboard[since:both] != ashore[since:both]:
                self.wrong.append(f"what {audience} had ashore isn't what the ship told, from record {since} on")
            self._compared[audience] = both

    def _wrong_rows(self) -> list[str]:
        last = self._last
        try:
            rows = list(read_rows(self._here.private / "journal.db", 1 if last is None else last.seq))
        except sqlite3.Error as error:
            return [f"the journal can't be read: {error}"] if last is not None else []
        if last is not None and rows[:1] != [last]:
            return [f"row {last.seq} was in the journal, and isn't any more as it was"]
        numbers = [row.seq for row in rows]
        self._last = rows[-1] if rows else last
        return [] if numbers == list(range(numbers[0], numbers[0] + len(numbers))) else ["the journal has a gap"]


def _counted(tried: Counter[str]) -> str:
    return ", ".join(f"{tried[victim]} {victim}" for victim in VICTIMS)


async def _play(count: int, seed: int, folder: Path, tell: Callable[[str], None]) -> tuple[int, list[str]]:
    async with voyage(folder, seed) as here:
        kills = Kills(here, seed, tell)
        await kills.play(count)
    rows = list(read_rows(here.private / "journal.db"))
    here.write(lambda source: b"".join(row.data for row in rows if row.source == source))
    return kills.tried.total(), kills.wrong


def run(count: int, seed: int, folder: Path) -> Outcome:
    """Kill `count` times, look after each kill and at all in the end."""
    begun_s = time.monotonic()
    tried, wrong = asyncio.run(_play(count, seed, folder, lambda words: print(words, flush=True)))
    return Outcome("kills", tried, count, [*wrong, *check(folder)], time.monotonic() - begun_s)
