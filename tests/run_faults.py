"""Hostile conditions, made one after another: `make faults` (`ARGS="--only kills --count 500 --seed 9"`).

Each part makes its faults on real relays and holds what is left to the rules R1 to R6 (`invariants.py`). It prints as
it goes, a line for each part at the end, and ends with 1 where anything was wrong; what a part left then stays in a
folder, which is named. Fewer faults than were asked for are wrong, too, and so is a part that isn't there or raises:
those after it are made all the same.
"""

import argparse
import asyncio
import shutil
import sys
import tempfile
import time
import traceback
from pathlib import Path
from pkgutil import resolve_name

from fault_outcome import Outcome, Run

MOST = 50
COUNTS = {"kills": 500, "disk": 0, "power": 0, "shore": 0, "clock": 0, "link": 10_000}  # 0: as many as the part has


def part(name: str) -> Run:
    """Return a part; ImportError or AttributeError where it isn't there."""
    run: Run = resolve_name(f"faults_{name}:run")
    return run


def play(name: str, count: int, seed: int) -> Outcome:
    """Run one part in a folder of its own, which goes where nothing was wrong. What it raises is wrong."""
    folder, begun_s = Path(tempfile.mkdtemp(prefix=f"offing-{name}-")), time.monotonic()
    try:
        outcome = part(name)(count, seed, folder)
    except (Exception, SystemExit, asyncio.CancelledError):
        outcome = Outcome(name, 0, count, [traceback.format_exc().strip()], time.monotonic() - begun_s)
    if outcome.tried < max(1, outcome.asked):
        outcome.wrong.append(f"only {outcome.tried} of {outcome.asked} faults were made")
    if outcome.wrong:
        print(f"{name}: what it left is in {folder}", flush=True)
    else:
        shutil.rmtree(folder)
    return outcome


def told(outcome: Outcome) -> str:
    """Return a part's line, and what was wrong."""
    looked = "" if outcome.looked is None else f", rules looked at {outcome.looked} times,"
    made = f"{outcome.tried} of {outcome.asked} faults{looked} in {outcome.seconds:.0f} s"
    line = f"{outcome.name}: {made}, {len(outcome.wrong)} things wrong"
    return "\n".join([line, *(f"  WRONG: {words}" for words in outcome.wrong[:MOST])])


def main(arguments: list[str] | None = None) -> int:
    """Run the parts that are asked for, and print what each came to."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", action="append", choices=[*COUNTS], help="a part; may be given again (default: all)")
    parser.add_argument("--count", type=int, help="how many faults each part makes (default: its own number)")
    parser.add_argument("--seed", type=int, default=9, help="with which the moments are drawn (default 9)")
    options = parser.parse_args(arguments)
    outcomes = []
    for name in options.only or COUNTS:
        outcomes.append(play(name, COUNTS[name] if options.count is None else options.count, options.seed))
        print(told(outcomes[-1]), flush=True)
    print("\n".join(["", "in all:", *(told(outcome) for outcome in outcomes)]))
    return 1 if any(outcome.wrong for outcome in outcomes) else 0


if __name__ == "__main__":
    sys.exit(main())
