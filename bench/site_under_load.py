"""The public site as a process of its own, driven like `floor.c`: `go RATE SECONDS` on standard input, JSON back.

Each round mints, encodes and publishes one tick of two vehicles through the real door, once for all viewers.
Argument: the port. It ends at the end of its input.
"""

import asyncio
import json
import resource
import sys
from time import perf_counter

import uvloop

from relay.core.channel import Due
from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleaseLog
from relay.core.wire import encode
from relay.shell.gate import Limits
from relay.shell.outlet import Frame
from relay.shell.site import Site

SECOND_US = 1_000_000
POLICY = Policy(
    audience="public",
    delay_us=2_700 * SECOND_US,
    extra_us=0,
    tick_us=SECOND_US,
    fields=frozenset(Disclosed),
    cell_m=25.0,
    depth_step_m=10.0,
)
PLAN = Plan(expedition="The search for the Isoline Marr", vehicles=("Lantern", "Moth"), sources=(), policies=(POLICY,))
REPORT = Report(True, -1250, 3075, 1120, 337.5, "near the bottom", "autonomous", "bottom", -5, 0)


def tick_octets() -> int:
    """Return the length of every tick's frame: all of an expedition have one."""
    log = ReleaseLog(POLICY, PLAN, 1, 0)
    log.open(0)
    return len(encode(log.tick(0, [REPORT, REPORT])))


def cpu_s() -> float:
    """Return the processor time this process has used."""
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime


class Rounds:
    """Publishes ticks at a rate."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._log = ReleaseLog(POLICY, PLAN, 1, 0)
        self._at_us = 0
        self._publish(Due(0, self._log.open(0)))

    def _publish(self, due: Due) -> None:
        record = due.record
        frame = Frame(record.audience, record.dive, record.seq, False, due.instant_us, encode(record))
        self._site.publish(frame)

    async def run(self, rate: float, seconds: float) -> dict[str, float]:
        """Publish for so long and return what it took."""
        loop = asyncio.get_running_loop()
        begun, begun_cpu_s, rounds = loop.time(), cpu_s(), 0
        while (due := begun + rounds / rate) < begun + seconds:
            await asyncio.sleep(max(0.0, due - loop.time()))
            self._publish(Due(self._at_us, self._log.tick(self._at_us, [REPORT, REPORT])))
            self._at_us += SECOND_US
            rounds += 1
        await asyncio.sleep(max(0.0, begun + seconds - loop.time()))
        return {"rounds": rounds, "cpu_s": cpu_s() - begun_cpu_s, "secs": loop.time() - begun}


async def serve(port: int) -> None:
    """Serve until standard input ends."""
    everybody = Limits(viewers_per_address=0, connections_per_address=0)
    site = Site(PLAN.expedition, limits=everybody)
    rounds = Rounds(site)
    await site.start("127.0.0.1", port)
    commands = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(commands), sys.stdin)
    print(json.dumps({"listening": perf_counter()}), flush=True)
    while line := await commands.readline():
        _, rate, seconds = line.split()
        told = await rounds.run(float(rate), float(seconds))
        print(json.dumps(told | {"conns": site.figures().viewers["public"]}), flush=True)
    await site.close()


if __name__ == "__main__":
    uvloop.run(serve(int(sys.argv[1])))
