"""Fuzz every decoder, each branch of it watched by atheris: `make fuzz` (`ARGS="--minutes 10 --only proof"`).

The minutes are spread evenly over the targets, two at a time; they are libFuzzer's own, from its first input on. Each
target begins with its corpus and its seeds; whatever makes it raise what it doesn't declare, take longer than `SLOW_S`
or more than `MOST_MIB` is printed, with what to put into `tests/corpus/crashes.json`. `--keep` keeps of what was found
the few inputs that reach most. It ends by itself, with 1 where anything was found, where a target tried nothing or
ended before its time, and where all of it took less than was asked for.
"""

import argparse
import math
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from subprocess import PIPE, STDOUT

from fuzz_cover import few_that_reach_most
from fuzz_targets import NAMES, corpus_of, keep_corpus, target_named

SLOW_S, MOST_MIB, MOST_KEPT = 10, 1_500, 30
HERE = Path(__file__).resolve().parent
_MEMORY = next((place for place in ("/dev/shm",) if os.access(place, os.W_OK)), None)  # files that no disk waits for
_RUNS = re.compile(r"stat::number_of_executed_units:\s+(\d+)")
_NEW = re.compile(r"stat::new_units_added:\s+(\d+)")
_SECONDS = re.compile(r"^Done \d+ runs in (\d+) second", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Fuzzed:
    """What came of a target: how many inputs were tried, how many reached something new, and those that failed.

    `seconds`: of fuzzing alone, as libFuzzer says when it comes to its end (whole ones alone); 0 where it didn't, as
    with an input that failed. `wrong`: each input that failed with the last words of what it did; without an
    input where the run itself failed.
    """

    name: str
    tried: int
    new: int
    seconds: int
    wrong: tuple[tuple[bytes | None, str], ...]
    reached: tuple[bytes, ...]


def fuzz(name: str, limit: Sequence[str], seed: int) -> Fuzzed:
    """Fuzz one target in a process of its own. `limit`: libFuzzer's option that ends it, as `-max_total_time=9`."""
    target = target_named(name)
    with tempfile.TemporaryDirectory(prefix="offing-fuzz-", dir=_MEMORY) as folder:
        inputs, found, scratch = (Path(folder) / part for part in ("inputs", "found", "scratch"))
        for part in (inputs, found, scratch):
            part.mkdir()
        for at, data in enumerate(dict.fromkeys((*target.seeds, *corpus_of(name)))):
            (inputs / f"{at:04d}").write_bytes(data)
        options = [f"-seed={seed}", f"-max_len={target.most}", f"-timeout={SLOW_S}", f"-rss_limit_mb={MOST_MIB}"]
        options += ["-print_final_stats=1", "-verbosity=1", f"-artifact_prefix={found}/", *limit]
        command = [sys.executable, str(HERE / "fuzz_one.py"), name, *options, str(inputs)]
        ran = subprocess.run(command, env=_environment(scratch), stdout=PIPE, stderr=STDOUT, check=False)
        words = ran.stdout.decode("utf-8", "replace")
        wrong: list[tuple[bytes | None, str]]
        wrong = [(path.read_bytes(), _last_words(words)) for path in sorted(found.iterdir())]
        if ran.returncode and not wrong:
            wrong = [(None, _last_words(words))]
        reached = tuple(path.read_bytes() for path in sorted(inputs.iterdir()))
        tried, new, seconds = (_counted(what, words) for what in (_RUNS, _NEW, _SECONDS))
        return Fuzzed(name, tried, new, seconds, tuple(wrong), reached)


def _environment(scratch: Path) -> dict[str, str]:
    """Return the environment of a target's process: our modules, and its files in a folder that goes with it."""
    paths = os.pathsep.join([str(HERE.parent), str(HERE), os.environ.get("PYTHONPATH", "")])
    return {**os.environ, "PYTHONPATH": paths, "TMPDIR": str(scratch)}


def _counted(what: re.Pattern[str], words: str) -> int:
    found = what.search(words)
    return int(found[1]) if found else 0


def _last_words(words: str) -> str:
    """Return what a process said of its end: from its exception on, or its last lines."""
    _, at, told = words.partition("=== Uncaught Python exception: ===")
    lines = [line for line in (told if at else words).splitlines() if line.strip() and not line.startswith("INFO")]
    return "\n".join(lines[:24] if at else lines[-12:])


def _tell(done: Fuzzed) -> None:
    found = f"{len(done.wrong)} WRONG" if done.wrong else "nothing wrong"
    _say(f"{done.name:22}{done.tried:>11,} tried{done.new:>7,} new{done.seconds:>7.0f} s  {found}")
    for data, words in done.wrong:
        _say(f"  input: {'none' if data is None else data.hex()}")
        _say("\n".join(f"  | {line}" for line in words.split("\n")))


def _say(words: str) -> None:
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def _keep(done: Fuzzed) -> None:
    """Keep of what was reached the few inputs that reach most."""
    check = target_named(done.name).check
    good = [data for data in done.reached if data not in {data for data, _ in done.wrong}]
    keep_corpus(done.name, few_that_reach_most(check, good, MOST_KEPT))


def run(names: Sequence[str], minutes: float, seed: int, jobs: int, tell: Callable[[Fuzzed], None]) -> list[Fuzzed]:
    """Fuzz targets for so many minutes in all."""
    each_s = share_s(minutes, len(names))

    def one(name: str) -> Fuzzed:
        done = whole(fuzz(name, [f"-max_total_time={each_s}"], seed), each_s)
        tell(done)
        return done

    with ThreadPoolExecutor(jobs) as pool:
        return list(pool.map(one, names))


def share_s(minutes: float, count: int) -> int:
    """Return how many seconds each of so many targets is fuzzed, of so many minutes in all."""
    return max(1, math.ceil(60 * minutes / count))


def whole(done: Fuzzed, least_s: int) -> Fuzzed:
    """Return what came of a target; that it tried nothing is wrong, and that it ended early though nothing failed."""
    words = [] if done.tried else ["no input was tried"]
    if done.seconds < least_s and not done.wrong:
        words.append(f"it ended after {done.seconds} s of fuzzing, where {least_s} s were asked for")
    return replace(done, wrong=(*done.wrong, *((None, each) for each in words)))


def _options(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=60.0, help="of fuzzing in all, over all targets (default 60)")
    parser.add_argument("--only", nargs="+", choices=NAMES, default=list(NAMES), metavar="TARGET", help="some targets")
    parser.add_argument("--seed", type=int, default=1, help="of libFuzzer's randomness (default 1)")
    parser.add_argument("--jobs", type=int, default=2, help="how many at a time (default 2)")
    parser.add_argument("--keep", action="store_true", help=f"keep at most {MOST_KEPT} inputs of each in tests/corpus")
    return parser.parse_args(arguments)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    options = _options(arguments)
    done = run(options.only, options.minutes, options.seed, options.jobs, _tell)
    for each in done if options.keep else ():
        _keep(each)
    return ended(done, options.minutes)


def ended(done: Sequence[Fuzzed], minutes: float) -> int:
    """Say what all of it comes to; return 1 if anything was found, or if it took less than the minutes asked for."""
    wrong = [each.name for each in done if each.wrong]
    tried, spent_s = sum(each.tried for each in done), sum(each.seconds for each in done)
    told = f"found something in {', '.join(wrong)}" if wrong else "nothing found"
    short = "" if spent_s >= 60 * minutes else ", and it is too short"
    _say(f"{len(done)} targets, {tried:,} inputs, {spent_s / 60:.2f} of {minutes:g} min of fuzzing: {told}{short}")
    return 1 if wrong or short else 0


if __name__ == "__main__":
    sys.exit(main())
