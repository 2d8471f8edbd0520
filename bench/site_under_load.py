"""The public site as a process of its own, driven like `floor.c`: `go RATE SECONDS` on standard input, JSON back.

Each round mints, encodes and publishes one tick of two vehicles through the real door, once for all viewers.
Argument: the port. It ends at the end of its input.
"""

import sys

import uvloop
from driven import be_driven

from relay.core.channel import Due
from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleaseLog
from relay.core.wire import encode
from relay.shell.released.outlet import Frame
from relay.shell.site.gate import Limits
from relay.shell.site.site import Site

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


class Rounds:
    """Publishes ticks."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._log = ReleaseLog(POLICY, PLAN, 1, 0)
        self._at_us = 0
        self._publish(Due(0, self._log.open(0)))

    def _publish(self, due: Due) -> None:
        record = due.record
        frame = Frame(record.audience, record.dive, record.seq, False, due.instant_us, encode(record))
        self._site.publish(frame)

    def send(self) -> None:
        """Publish the next tick."""
        self._publish(Due(self._at_us, self._log.tick(self._at_us, [REPORT, REPORT])))
        self._at_us += SECOND_US


async def serve(port: int) -> None:
    """Serve until standard input ends."""
    everybody = Limits(viewers_per_address=0, connections_per_address=0)
    site = Site(PLAN.expedition, limits=everybody)
    rounds = Rounds(site)
    await site.start("127.0.0.1", port)
    await be_driven(rounds.send, {"listening": 1})
    await site.close()


if __name__ == "__main__":
    uvloop.run(serve(int(sys.argv[1])))
