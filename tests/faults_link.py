"""Faults of the link, by the thousand: between ship and shore, before followers of either, and before the stations.

A part of `run_faults.py`: `make faults ARGS="--only link --count 10000"`. Every fault strikes something that
passes, so each shows that all had come back after the one before. At the end every follower must hold each record once,
in order, none early, byte for byte as the ship recorded it; the shore must hold what the ship does; the journal must
hold what the stations said; and no relay may have grown.
"""

import asyncio
import random
import sys
from collections.abc import Callable
from pathlib import Path
from time import monotonic

import uvloop

from fault_outcome import Outcome
from faulty_wire import passed
from invariants import check
from link_campaigns import Struck, play, play_datagrams
from link_programs import AUDIENCES
from link_verdict import all_wrong
from link_voyage import Voyage, voyage

PER_S = 25.0
TELL_S = 30.0
OF_DATAGRAMS = 0.07


async def sail(count: int, seed: int, folder: Path, tell: Callable[[str], None]) -> Struck:
    """Let `count` faults strike on one voyage below a folder; return them with all that was wrong."""
    struck, began_s = Struck(), monotonic()
    async with voyage(folder, seed, PER_S) as here:
        telling = asyncio.ensure_future(_tell(here, struck, tell))
        try:
            await _strike(here, count, seed, struck)
            tell(f"  {struck.count} faults have struck, {monotonic() - began_s:.0f} s after the beginning")
            await here.finish()
        except* TimeoutError:
            struck.wrong.append("what was released didn't come everywhere in time")
        finally:
            telling.cancel()
        beyond = await here.left()
        await here.close_programs()
        here.keep_receipts()
        struck.wrong += [*all_wrong(here, beyond), *check(folder)]
        _say_end(here, tell)
    return struck


async def _strike(here: Voyage, count: int, seed: int, struck: Struck) -> None:
    campaigns = here.campaigns()
    parts = [int(count * each.weight) for each in campaigns[1:]]
    odd = int(count * OF_DATAGRAMS)
    shares = [count - odd - sum(parts), *parts]
    async with asyncio.TaskGroup() as group:
        for campaign, share in zip(campaigns, shares, strict=True):
            chance = random.Random(f"{seed} {campaign.name}")
            group.create_task(play(campaign, share, chance, struck, here.whole))
        chance = random.Random(f"{seed} datagrams")
        group.create_task(play_datagrams(lambda: here.lark.odd(chance), odd, struck, chance))


async def _tell(here: Voyage, struck: Struck, tell: Callable[[str], None]) -> None:
    began_s, said = monotonic(), 0
    while True:
        await passed(TELL_S)
        for words in struck.wrong[said:]:
            tell(f"  WRONG: {words}")
        said = len(struck.wrong)
        held = {name: (each.handles[-1], each.octets[-1] >> 20) for name, each in here.held.items() if each.handles}
        stands = ", ".join(f"{name} {files} files {mib} MiB" for name, (files, mib) in held.items())
        tell(f"  {monotonic() - began_s:5.0f} s: {struck.count} faults, {len(struck.wrong)} wrong; {stands}")


def _say_end(here: Voyage, tell: Callable[[str], None]) -> None:
    octets = sum(here.told("ship", audience) for audience in AUDIENCES)
    again = sum(one.seen["came again"] for one in here.followers.values())
    tell(
        f"  {len(here.followers)} followers, {len(here.released())} records each, {octets} octets released; the ship "
        f"dialled {here.wires['link'].dialled} times, followers came again {again} times"
    )
    for name, held in here.held.items():
        tell(
            f"  {name}: files {held.handles[0]} to {max(held.handles)}, at last {held.handles[-1]}; memory "
            f"{held.octets[0] >> 20} to {held.octets[-1] >> 20} MiB"
        )


def _print(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


def run(count: int, seed: int, folder: Path) -> Outcome:
    """Let `count` faults of the link strike; see `run_faults.py`."""
    return outcome(count, seed, folder, _print)


def outcome(count: int, seed: int, folder: Path, tell: Callable[[str], None]) -> Outcome:
    """Let them strike, and tell how it goes."""
    began_s = monotonic()
    struck = uvloop.run(sail(count, seed, folder, tell))
    tell("  " + ", ".join(f"{many} {kind.value}" for kind, many in struck.kinds.most_common()))
    return Outcome("faults of the link", struck.count, count, struck.wrong, monotonic() - began_s)
