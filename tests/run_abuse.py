"""Attacks on a ship's page, her desk, a shore and the commands that open what strangers hand on: `make abuse`.

Everything attacked is a process of ours on the loopback. Prints a row for each attack: what was tried, what was
expected, what was got; ends by itself, with 1 where anything but the expected was got. `--only` chooses by words.
"""

import argparse
import asyncio
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from time import monotonic

import abuse_browser
import abuse_doors
import abuse_files
import abuse_floods
import abuse_heads
import abuse_texts
from abuse_attack import Attack, Row, quick, tried
from abused import world

ATTACKS: tuple[Attack, ...] = (
    *abuse_heads.ATTACKS,
    *abuse_doors.ATTACKS,
    *abuse_texts.ATTACKS,
    *abuse_files.ATTACKS,
    *abuse_browser.ATTACKS,
    *abuse_floods.ATTACKS,
)


async def play(attacks: Sequence[Attack], folder: Path, tell: Callable[[Row], None]) -> list[Row]:
    """Play attacks one after another on one world; each row is told as it comes."""
    rows = []
    async with world(folder) as attacked:
        for attack in attacks:
            row = await tried(attack, attacked)
            rows.append(row)
            tell(row)
        rows += [await tried(attack, attacked) for attack in abuse_doors.AFTERWARDS]
        for row in rows[len(attacks) :]:
            tell(row)
    return rows


def told(row: Row) -> str:
    """Return a row of the table."""
    return f"| {row.attack} | {row.expected} | {row.got} | {'held' if row.held else 'NOT HELD'} |"


def main() -> int:
    """Play, and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="attacks with this word in their name")
    parser.add_argument("--quick", action="store_true", help="less of what takes many seconds by its nature, or none")
    options = parser.parse_args()
    chosen = [it for it in (quick(ATTACKS) if options.quick else ATTACKS) if options.only in it.name]
    print("| attack | expected | got | |\n| --- | --- | --- | --- |", flush=True)
    begun_s = monotonic()
    with tempfile.TemporaryDirectory(prefix="offing-abuse-") as folder:
        rows = asyncio.run(play(chosen, Path(folder), lambda row: print(told(row), flush=True)))
    held = sum(row.held for row in rows)
    print(f"\n{held} of {len(rows)} attacks held, in {monotonic() - begun_s:.0f} s")
    return 0 if rows and held == len(rows) else 1


if __name__ == "__main__":
    sys.exit(main())
