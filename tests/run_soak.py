"""Hours of two vehicles and a thousand viewers while the link fails: `make soak` (`ARGS="--minutes 10"`).

Ship and shore are real processes. At the end every viewer ashore must hold every record once and in order, byte for
byte as both have it on their disks; no record may have come before its delay was over; and from the first quarter
on nothing may drift: the memory of either process, its open files, how long after its due instant a record comes. Last
the rules R1 to R6 are looked at over all that was left (`invariants.py`). It prints a line each minute, ends by itself,
and returns 1 where that isn't so; what was left then stays in a folder, which is named.

What memory may grow by, beyond the records that are kept by design, is that heaps settle for hours. A run of two hours
had 0.77 MiB an hour of it aboard and 0.40 ashore, and the slope of such a run, of which an hour and a half counts, is
known to about 0.1 MiB: 1.25 MiB an hour are too much then, or 1 MiB for certain. A shorter run has more of the settling
in it, and a line that is less sure: it may have 2 MiB, or 1 MiB for certain.
"""

import argparse
import asyncio
import random
import shutil
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import uvloop

from crowd import many_open_files
from drift import Slope, slope, thirds
from invariants import check
from link_ends import until
from soak_crowd import Crowd, boot_s
from soak_voyage import Voyage, Weather, note, voyage
from what_ran import SHIP, SHORE, Ran

MIB = 1024 * 1024
WARM = 0.25  # of the run: until then buffers fill, and caches
ENOUGH = 60  # measures, below which nothing is said of drifts
PATIENCE_S = 300.0
# What a process keeps of a record for as long as it runs: its frame as `bytes` (33 octets beside the content), a place
# in the list and one in the array of ends (core/history.py).
KEPT_OCTETS = 33 + 8 + 8
# By how much what is kept may be exceeded in an hour: a heap settles for hours. A leak of 15 octets for each of the
# 72,000 reports of an hour is more than this.
SETTLES_MIB = 1.0
AT_MOST_MIB, AT_MOST_SHORT_MIB, LONG_S = 1.25, 2.0, 7_200.0  # at the most, certain or not; in a run that is shorter
COUNTED = ("RssAnon:", "RssShmem:", "VmSwap:")
DRIFTS_MS = 50.0  # in an hour, within which the machine's own work moves what is measured
FRESH_S = 5.0  # a record that comes later than this after its due instant waited for the link


@dataclass
class Life:
    """What a process and its children held, at moments. `viewers`: who has one of its files open each, for a line.

    Of those some leave each second and come back in the next. As many as are there at that moment aren't counted, so
    that not one file more need be allowed for on their account.
    """

    name: str
    process: int
    at_s: list[float] = field(default_factory=list)
    memory: list[float] = field(default_factory=list)
    handles: list[float] = field(default_factory=list)
    viewers: Crowd | None = None

    def look(self, now_s: float) -> None:
        """Measure: memory in MiB that no file backs, and open files but for viewers' lines."""
        octets, files = measured(self.process)
        for child in family(self.process)[1:]:
            with suppress(FileNotFoundError, ProcessLookupError):  # it has ended meanwhile, and holds nothing
                more = measured(child)
                octets, files = octets + more[0], files + more[1]
        self.at_s.append(now_s)
        self.memory.append(octets / MIB)
        there = [] if self.viewers is None else [one for one in self.viewers.viewers if not one.is_away]
        self.handles.append(float(files - len(there)))


def family(process: int) -> list[int]:
    """Return a process and all that it started (proc(5), `children`); of one that has ended it alone."""
    children: list[str] = []
    with suppress(FileNotFoundError, ProcessLookupError):
        children = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    return [process, *(one for child in children for one in family(int(child)))]


def measured(process: int) -> tuple[int, int]:
    """Return how much memory a process holds that no file backs, and how many files; OSError where it has ended."""
    place = Path(f"/proc/{process}")
    return unbacked_octets((place / "status").read_text()), len(list((place / "fd").iterdir()))


def unbacked_octets(status: str) -> int:
    """Return the memory that no file backs, of a process whose status this is: its own, shared, and swapped out.

    proc(5): RssAnon, RssShmem, VmSwap. One that has ended, and wasn't waited for, has none of these lines.
    """
    lines = (line.split() for line in status.splitlines())
    return sum(1024 * int(words[1]) for words in lines if words[:1] and words[0] in COUNTED)


@dataclass
class Soak:
    """One soak: what is measured while it runs, and what came of it."""

    voyage: Voyage
    ashore: Crowd
    aboard: Crowd
    delay_s: float
    seconds: float
    tell: Callable[[str], None]
    lives: list[Life] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    _from_s: float = 0.0

    async def run(self, weather: Weather, chance: random.Random) -> None:
        """Run until the last record of the dive is with everybody."""
        ends = (("ship", self.voyage.ship.process, self.aboard), ("shore", self.voyage.shore.process, self.ashore))
        self.lives = [Life(name, process.pid, viewers=crowd) for name, process, crowd in ends if process is not None]
        await self.aboard.come()
        await self.ashore.come()
        await until(lambda: all(viewer.is_open for viewer in (*self.ashore.viewers, *self.aboard.viewers)), 60)
        self._from_s = boot_s()
        jobs = [self.voyage.fail(weather, chance), self._look(), self._stir(weather.leave_per_s, chance)]
        running = [asyncio.ensure_future(job) for job in jobs]
        try:
            await self.voyage.report(self.seconds)
        finally:
            for job in running:
                job.cancel()
            for ended in await asyncio.gather(*running, return_exceptions=True):
                if isinstance(ended, Exception):
                    raise ended
        await self._end()

    async def _look(self) -> None:
        """Measure some 720 times in all, at most twice a second; say how it is each minute."""
        every_s, minute = max(0.5, self.seconds / 720), 0
        while True:
            now_s = boot_s()
            for life in self.lives:
                life.look(now_s)
            self.voyage.look_at_shore()
            if now_s - self._from_s >= 60 * minute:
                self.tell(self._line(minute))
                minute += 1
            await asyncio.sleep(every_s)

    def _line(self, minute: int) -> str:
        held = "; ".join(f"{one.name} {one.memory[-1]:.2f} MiB, {one.handles[-1]:.0f} files" for one in self.lives)
        count = len(self.aboard.told.frames)
        late = self.late_s(self.aboard, count - 60)
        lateness = f"{1000 * max(late):.0f} ms at most after they were due" if late else "none due yet"
        behind = self.ashore.behind(count)
        return (
            f"{minute:4d} min: {count} records, {lateness}; {behind} of {len(self.ashore.viewers)} behind; {held}; "
            f"link failed {self.voyage.cuts} times"
        )

    async def _stir(self, leave_per_s: float, chance: random.Random) -> None:
        """Let some viewers leave each second, and come back in the next."""
        owed = 0.0
        while True:
            owed += leave_per_s * len(self.ashore.viewers)
            self.ashore.go(int(owed), chance)
            owed -= int(owed)
            await asyncio.sleep(1.0)
            await self.ashore.come()

    async def _end(self) -> None:
        """Return when everybody has the dive's last record."""
        late_s = boot_s() + self.delay_s + PATIENCE_S
        told = self.aboard.told
        while not (told.ended and self.ashore.told.ended and not self.ashore.behind(len(told.frames))):
            if boot_s() > late_s:
                return
            await self.ashore.come()
            await asyncio.sleep(0.2)

    def late_s(self, crowd: Crowd, begin: int = 0) -> list[float]:
        """Return how long after its due instant each record came to the first of a crowd."""
        told, begun_s = crowd.told, self.voyage.begun_s + self.delay_s
        begin = max(0, begin)
        return [came - begun_s - dive for came, dive in zip(told.first_s[begin:], told.dive_s[begin:], strict=True)]

    def judge(self) -> None:
        """Say what came of it; what is wrong is kept in `wrong`."""
        self._judge_records()
        self._judge_delay()
        for life in self.lives:
            self._judge_life(life)

    def _judge_records(self) -> None:
        told, ashore = self.aboard.told, self.ashore.told
        whole = b"".join(told.frames)
        self._must(told.ended and bool(told.frames), "the ship's followers have no whole dive")
        self._must(not self.voyage.back, "something came back at a station")
        self._must(ashore.frames == told.frames, "ashore other records came than aboard")
        behind = self.ashore.behind(len(told.frames))
        self._must(not behind, f"{behind} viewers lack records")
        for word in {*told.wrong, *ashore.wrong}:
            self.wrong.append(word)
        folders = {"ship": self.voyage.ship.expedition.parent / "released", "shore": self.voyage.shore.folder}
        for name, folder in folders.items():
            kept = (folder / "public" / "dive-001.recording").read_bytes()
            self._must(kept.startswith(whole) and whole != b"", f"on the {name}'s disk lie other records")
        self.tell(
            f"{len(self.ashore.viewers) - behind} of {len(self.ashore.viewers)} viewers hold all {len(told.frames)} "
            f"records once and in order ({sum(ashore.had)} receipts; {self.voyage.reports} reports; the link failed "
            f"{self.voyage.cuts} times; they came again {ashore.seen['came'] - len(self.ashore.viewers)} times, "
            f"{ashore.seen['lost']} of them thrown out; {ashore.seen['pings']} pings)"
        )

    def _judge_delay(self) -> None:
        for name, crowd in (("aboard", self.aboard), ("ashore", self.ashore)):
            late = self.late_s(crowd)
            if not late:
                continue
            self._must(min(late) >= 0, f"{name} a record came {-min(late):.3f} s before its delay was over")
            fresh = [(at, found) for at, found in zip(crowd.told.first_s, late, strict=True) if found < FRESH_S]
            told = self._slope([at for at, _ in fresh], [1000 * found for _, found in fresh])
            self.tell(f"{name} records came {1000 * min(late):.1f} ms or more after they were due; ms: {told}")
            if told is not None:
                self._must(told.low < DRIFTS_MS, f"{name} records drift: {told}")
                self._must(name == "ashore" or len(fresh) == len(late), f"{name} a record came {max(late):.1f} s late")

    def _judge_life(self, life: Life) -> None:
        frames = self.aboard.told.frames
        kept = sum(len(frame) + KEPT_OCTETS for frame in frames) / MIB / max(self.seconds, 1) * 3600
        memory = self._slope(life.at_s, life.memory)
        self.tell(f"{life.name}: memory, MiB: {memory}; the records that it keeps are {kept:.2f} an hour of it")
        most = kept + (AT_MOST_MIB if self.seconds >= LONG_S else AT_MOST_SHORT_MIB)
        grows = memory is not None and (memory.low > kept + SETTLES_MIB or memory.per_hour > most)
        self._must(not grows, f"{life.name}: memory grows")
        warm = self._warm(life.at_s, life.handles)
        if len(warm) < ENOUGH:
            return
        first, last = thirds(warm)
        self.tell(f"{life.name}: {first:.0f} open files but for viewers in the first third, {last:.0f} in the last")
        self._must(last <= first, f"{life.name}: open files grow from {first:.0f} to {last:.0f}")

    def _warm(self, times_s: list[float], values: list[float]) -> list[float]:
        since_s = self._from_s + WARM * self.seconds
        return [value for at, value in zip(times_s, values, strict=True) if at >= since_s] or values

    def _slope(self, times_s: list[float], values: list[float]) -> Slope | None:
        """Return how a measure grows once all is warm; None where the run was too short to tell."""
        warm = self._warm(times_s, times_s)
        return slope(warm, self._warm(times_s, values)) if len(warm) >= ENOUGH else None

    def _must(self, true: bool, words: str) -> None:
        if not true:
            self.wrong.append(words)

    def leave(self, folder: Path) -> None:
        """Write down what was sent and what the first of each crowd got, where `invariants.py` looks for it."""
        self.voyage.leave(folder)
        crowds = {"follower-aboard": self.aboard, "shore-ashore": self.ashore}
        Ran(tuple(crowds), tuple(self.voyage.sent), (SHIP, SHORE)).write(folder)
        for kind, crowd in crowds.items():
            note(folder / "receipts" / f"{kind}.msgpack", list(zip(crowd.told.first_s, crowd.told.frames, strict=True)))


@dataclass(frozen=True, slots=True)
class Course:
    """How long and how hard."""

    minutes: float = 120.0
    viewers: int = 1_000
    delay_s: float = 60.0
    seed: int = 9
    weather: Weather = field(default_factory=Weather)


async def soak(folder: Path, course: Course, tell: Callable[[str], None]) -> Soak:
    """Run a soak below a folder, and judge it, and what it left there by all of the rules."""
    many_open_files(2 * course.viewers + 500)
    async with voyage(folder, course.delay_s) as here:
        here.keeps = True
        crowds = Crowd(here.shore.site, course.viewers), Crowd(here.ship.port, 3)
        soaked = Soak(here, *crowds, course.delay_s, 60 * course.minutes, tell)
        try:
            await soaked.run(course.weather, random.Random(course.seed))
        finally:
            for viewer in (*crowds[0].viewers, *crowds[1].viewers):
                viewer.go()
    soaked.judge()
    soaked.leave(folder)
    wrong = check(folder)
    tell(f"{len(wrong)} things wrong by the rules R1 to R6 over all that was left")
    soaked.wrong += wrong
    return soaked


def main() -> int:
    """Run it, and print what came of it."""
    parser, usual = argparse.ArgumentParser(description=__doc__), Course()
    parser.add_argument("--minutes", type=float, default=usual.minutes, help="how long the vehicles dive (default 120)")
    parser.add_argument("--viewers", type=int, default=usual.viewers, help="ashore (default 1,000)")
    parser.add_argument("--delay", type=float, default=usual.delay_s, help="seconds (default 60)")
    parser.add_argument("--seed", type=int, default=usual.seed, help="of the link's faults (default 9)")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="leave all of it there (else only what went wrong)")
    options = parser.parse_args()
    course = Course(options.minutes, options.viewers, options.delay, options.seed)
    folder = options.keep or Path(tempfile.mkdtemp(prefix="offing-soak-"))
    print(f"all of it lies in {folder}", flush=True)
    soaked = uvloop.run(soak(folder, course, lambda words: print(words, flush=True)))
    print("\n".join(soaked.wrong) or "nothing was lost, doubled, early or drifting", flush=True)
    if not soaked.wrong and options.keep is None:
        shutil.rmtree(folder)
    return 1 if soaked.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
