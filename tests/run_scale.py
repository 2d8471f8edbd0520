"""Three relays on a stream under load, each process killed in turn: `make scale` (`ARGS="--followers 500"`).

The ship's end of the link feeds the first relay; followers are at all three, and come back elsewhere when theirs is
killed. At the end each must hold every record once, in order, byte for byte as the ship signed it. It ends by itself,
with 1 where that isn't so.
"""

import argparse
import asyncio
import contextlib
import sys
import tempfile
from collections import Counter
from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import ExitStack, asynccontextmanager
from itertools import chain
from pathlib import Path
from time import monotonic

import uvloop

from peers import until
from relay.shell.uplink.uplink import Uplink
from released import dive, endless_dive
from scale_followers import Follower
from scale_relays import RelayProcess, ship_of
from streams import Frame, StreamServer, sealed

PATIENCE_S = 90.0
FIRST = 1_100  # records of the first dive: more octets than a socket replays, so who comes late reads history


class Scale:
    """A stream's server, three relays, a ship and followers. `tell` is told what happens, in words."""

    def __init__(self, folder: Path, followers: int, per_s: float, tell: Callable[[str], None]) -> None:
        self.server = StreamServer(folder)
        self.relays = [
            RelayProcess(folder / f"relay-{number}", self.server.url, uplink=number == 1) for number in (1, 2, 3)
        ]
        self.ship: Uplink = ship_of(self.relays[0])
        addresses = [relay.address for relay in self.relays]
        self._addresses = addresses
        self._following: list[asyncio.Task[None]] = []
        self.followers: list[Follower] = []
        self._crowd = followers
        self.sent: list[bytes] = []
        self._tell, self._per_s = tell, per_s

    @asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """Run everything; whatever happens, no process is left."""
        with ExitStack() as ends:
            for process in (self.server, *self.relays):
                ends.callback(process.end)
                process.start()
            for relay in self.relays:
                await asyncio.to_thread(relay.serves)
            ship = asyncio.create_task(self.ship.run())
            self.come(self._crowd)
            try:
                yield
            finally:
                jobs = [ship, *self._following]
                for job in jobs:
                    job.cancel()
                await asyncio.gather(*jobs, return_exceptions=True)

    def come(self, count: int) -> None:
        """Let so many followers more come, each at another relay."""
        for number in range(len(self.followers), len(self.followers) + count):
            self.followers.append(Follower(self._addresses, number))
            self._following.append(asyncio.create_task(self.followers[-1].follow()))

    async def spread(self) -> None:
        """Return when everybody follows where they began, a third at each relay."""
        await asyncio.gather(*(one.go_home() for one in self.followers))
        await self._until(lambda: all(one.is_home for one in self.followers))

    async def release(self, frames: Iterable[Frame]) -> None:
        """Release a whole dive at once, then so many records a second."""
        for frame in frames:
            self.ship.publish(frame)
            self.sent.append(frame.data)
            if frame.dive > 1:
                await asyncio.sleep(1 / self._per_s)

    async def caught_up(self, what: str) -> None:
        """Return when every follower holds all that had been released by now."""
        count, began = len(self.sent), monotonic()
        await self._until(lambda: all(len(one.held) >= count for one in self.followers))
        self._tell(
            f"{what}: all {len(self.followers)} followers have {count} records, {monotonic() - began:.1f} s after"
        )

    async def more(self, count: int) -> None:
        """Return when so many more records were released."""
        wanted = len(self.sent) + count
        await self._until(lambda: len(self.sent) >= wanted)

    async def _until(self, condition: Callable[[], bool]) -> None:
        async with asyncio.timeout(PATIENCE_S):
            await until(condition)

    async def story(self, load: int) -> None:
        """Kill each process in turn, with `load` records released while it is away."""
        await self.more(FIRST)
        await self.caught_up("at the beginning")
        for number, relay in enumerate(self.relays, 1):
            await self.spread()
            relay.kill()
            await self.more(load)
            if number > 1:
                await self.caught_up(f"relay {number} killed, {load} records later")
            relay.start()
            await asyncio.to_thread(relay.serves)
            self.come(3)
            await self.caught_up(f"relay {number} started again")
        for lost in (False, True):
            await self.spread()
            self.server.kill()
            await self.more(load)
            if lost:
                self.server.lose()
            await asyncio.to_thread(self.server.start)
            self.come(3)
            await self.caught_up(f"nats-server killed and started again, its store {'lost' if lost else 'kept'}")

    def verdict(self) -> Counter[str]:
        """Return what came of it, counted."""
        told: Counter[str] = Counter(followers=len(self.followers), records=len(self.sent))
        for one in self.followers:
            told["whole"] += one.held == self.sent and not one.faults
            told["lost"] += len(set(self.sent) - set(one.held))
            told["doubled"] += len(one.held) - len(set(one.held))
            told["out of order"] += len(one.faults)
            told["came again"] += one.seen["came again"]
            told["from history"] += one.seen["history"]
        return told


async def play(folder: Path, followers: int, per_s: float, load: int, tell: Callable[[str], None]) -> Counter[str]:
    """Run the whole story below a folder; return what came of it."""
    frames = (sealed([frame])[0] for frame in chain(dive(1, FIRST), endless_dive(2)))
    scale = Scale(folder, followers, per_s, tell)
    async with scale.running():
        releasing = asyncio.create_task(scale.release(frames))
        try:
            await scale.story(load)
            await scale.more(load)
        finally:
            releasing.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await releasing
        await scale.caught_up("at the end")
    return scale.verdict()


def main() -> int:
    """Play, and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--followers", type=int, default=150, help="websockets over all relays (default 150)")
    parser.add_argument("--rate", type=float, default=20.0, help="records a second (default 20)")
    parser.add_argument("--load", type=int, default=60, help="records released while a process is away (default 60)")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="offing-scale-") as folder:
        story = play(
            Path(folder), options.followers, options.rate, options.load, lambda words: print(words, flush=True)
        )
        told = uvloop.run(story)
    print(
        f"{told['whole']} of {told['followers']} followers hold all {told['records']} records once and in order; "
        f"lost {told['lost']}, doubled {told['doubled']}, out of order {told['out of order']}; they came again "
        f"{told['came again']} times, {told['from history']} of them by the history"
    )
    return 0 if told["whole"] == told["followers"] else 1


if __name__ == "__main__":
    sys.exit(main())
