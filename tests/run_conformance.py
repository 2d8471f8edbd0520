"""Every case of RFC 6455 against the relay's own websockets, then its HTTP against what is written of it.

`make conformance` (`ARGS="--count 200 --seed 9"`). A real ship and a real shore run on the loopback. It prints a row
for each group of cases and each server, and what was wrong with each; it ends by itself, with 1 where anything was. A
group of cases that a server wasn't tried with is wrong, too, and so is a path to which no request was made.
"""

import argparse
import asyncio
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import wire_cases
import wire_dialled
import wire_openings
from described_http import Checked, document, told_shore, tried
from wire_cases import Case
from wire_line import PATIENCE_S, Line, Server, played
from wire_openings import REFUSED, Opening
from wire_servers import Tested, aboard, all_servers
from wire_verdict import faults, opening_faults

SINGLY_OCTETS = 160
PAGE = Path(__file__).resolve().parents[1] / "web" / "dist"
FORBIDDEN = (403,)
NO_SOCKET = (*REFUSED, 200, 401, 408, 421, 501)
DIALS = "a feed that dials"
SOCKETS = (
    *("followers, aboard", "stations, aboard", "followers, ashore (TLS)"),
    *("uplink, before the proof (TLS)", "uplink, proved (TLS)"),
)
SERVERS = (*SOCKETS, "desk, aboard", DIALS)
RUNS = {
    "HTTP, ashore, a stranger": "site",
    "HTTP, ashore, a guest": "site",
    "HTTP, ashore, the watch": "watch",
    "HTTP, aboard, no dive yet": "site",
}  # and the tag of the paths that each is to try
Tell = Callable[[str], None]
T = TypeVar("T")


@dataclass(frozen=True)
class Row:
    """One case on one server. `wrong`: what was, nothing where it did right."""

    server: str
    group: str
    name: str
    wrong: tuple[str, ...]


async def framing(tested: Tested, cases: Iterable[tuple[str, Case]], *, singly: bool) -> list[Row]:
    """Run cases of frames on a server, as many at once as it lets one address have."""
    room = asyncio.Semaphore(tested.server.at_once)

    async def run(group: str, case: Case, one_by_one: bool) -> Row:
        async with room:
            got = await played(tested.server, case.raw, singly=one_by_one, leaves=case.leaves)
        name = case.name + (", octet by octet" if one_by_one else "")
        return Row(tested.name, group, f"{name} (section {case.section})", tuple(faults(case, tested.role, got)))

    every = list(cases)
    jobs = [run(group, case, False) for group, case in every]
    if singly:
        jobs += [run(group, case, True) for group, case in every if len(case.raw) <= SINGLY_OCTETS]
    return list(await asyncio.gather(*jobs))


async def openings(tested: Tested, cases: Iterable[tuple[str, Opening]]) -> list[Row]:
    """Run opening handshakes on a server."""
    room = asyncio.Semaphore(tested.server.at_once)

    async def run(group: str, opening: Opening) -> Row:
        async with room:
            head = await answered(tested.server, opening)
        wrong = opening_faults(opening, head, statuses_of(tested, opening))
        return Row(tested.name, group, f"{opening.name} (section {opening.section})", tuple(wrong))

    return list(await asyncio.gather(*(run(group, opening) for group, opening in cases)))


def statuses_of(tested: Tested, opening: Opening) -> tuple[int, ...] | None:
    """Return the statuses that a server has of its own for an opening."""
    if not tested.socket:
        return NO_SOCKET
    return FORBIDDEN if opening.of_a_page and tested.role.refuses_pages else None


async def answered(server: Server, opening: Opening) -> bytes:
    """Return the head of the answer to an opening."""
    async with asyncio.timeout(PATIENCE_S):
        line = await Line.dial(server)
        try:
            await line.send(opening.raw.format(server.path).encode("latin-1"))
            return await line.head()
        finally:
            line.hang_up()


def spread(cases: Iterable[tuple[str, T]], most: int | None) -> list[tuple[str, T]]:
    """Return so many cases of each group at the most, from all over it; every case if there is no bound."""
    groups: dict[str, list[tuple[str, T]]] = {}
    for case in cases:
        groups.setdefault(case[0], []).append(case)
    return [case for group in groups.values() for case in group[:: -(-len(group) // (most or len(group)))]]


async def websockets(folder: Path, tell: Tell, *, singly: bool = True, most: int | None = None) -> list[Row]:
    """Run every case on every server, and tell the table as it grows. `most`: so many of each group alone."""
    rows: list[Row] = []
    async with all_servers(folder) as servers:
        for tested in servers:
            rows += (found := await openings(tested, spread(wire_openings.every(), most)))
            if tested.socket:
                cases = spread(wire_cases.every(), most)
                rows += (more := await framing(tested, cases, singly=singly and not tested.server.tls))
                found += more
            tell_table(found, tell)
    tell_table(found := await dialled(most), tell)
    return rows + found


async def dialled(most: int | None = None) -> list[Row]:
    """Run the cases on the relay where it is the client: a feed that dials its station."""
    rows = [
        Row(DIALS, "answers", f"{each} (section 4.1)", tuple(wrong)) for each, wrong in await wire_dialled.answers()
    ]
    for group, case, wrong in await wire_dialled.framing(spread(wire_dialled.every(), most)):
        rows.append(Row(DIALS, group, f"{case.name} (section {case.section})", tuple(wrong)))
    return rows


def tell_table(rows: list[Row], tell: Tell) -> None:
    """Tell a line for each group, and each row that was wrong."""
    tried = Counter((row.server, row.group) for row in rows)
    wrong = Counter((row.server, row.group) for row in rows if row.wrong)
    for (server, group), count in tried.items():
        tell(f"{server:32} {group:18} {count:4} tried {wrong[server, group]:4} wrong")
    for row in rows:
        if row.wrong:
            tell(f"  wrong: {row.server}: {row.name}: {'; '.join(row.wrong)}")


def not_tried(rows: list[Row]) -> list[str]:
    """Return which servers weren't tried with which groups of cases, though each was to be tried with all."""
    shaking, framed = {*wire_openings.GROUPS}, {*wire_cases.GROUPS}
    asked = dict.fromkeys(SOCKETS, shaking | framed) | {"desk, aboard": shaking, DIALS: {"answers", *framed}}
    there = Counter((row.server, row.group) for row in rows)
    return [f"{name}: no case of {one}" for name in SERVERS for one in sorted(asked[name]) if not there[name, one]]


@dataclass(frozen=True)
class Looked:
    """What the library said of a server's HTTP, and of how many paths it was to say something."""

    name: str
    paths: int
    checked: Checked

    @property
    def wrong(self) -> tuple[str, ...]:
        """What was: its own words, a path that it passed over, no request at all."""
        words = [] if self.checked.ok else [self.checked.words]
        if self.checked.tested < self.paths or not self.paths:
            words.append(f"{self.checked.tested} of {self.paths} paths were tried")
        if self.checked.requests < max(1, self.paths):
            words.append(f"{self.checked.requests} requests to {self.paths} paths")
        return tuple(words)


def not_looked_at(looked: list[Looked]) -> list[str]:
    """Return which runs of the library there weren't."""
    return [f"{name}: it wasn't tried" for name in RUNS if name not in {one.name for one in looked}]


async def described(folder: Path, tell: Tell, *, count: int, seed: int) -> list[Looked]:
    """Try the HTTP description on a shore that holds dives, as a stranger and as a guest, and on a ship without any."""
    found: list[Looked] = []
    told = document(PAGE if PAGE.is_dir() else None)

    async def look(name: str, url: str, *more: str, token: str = "") -> None:
        here, tag = folder / f"http-{len(found)}", RUNS[name]
        here.mkdir()
        paths = sum(tag in path["get"]["tags"] for path in told["paths"].values())
        checked = await tried(here, told, url, *more, tag=tag, count=count, seed=seed, token=token)
        found.append(Looked(name, paths, checked))
        tell(f"{name:32} {checked.tested} of {paths} paths, {checked.summary}")
        for words in found[-1].wrong:
            tell(words)

    for name in ("told", "silent"):
        (folder / name).mkdir()
    async with told_shore(folder / "told") as shore:
        await look("HTTP, ashore, a stranger", shore.site)
        await look("HTTP, ashore, a guest", shore.site, token=shore.token)
        await look("HTTP, ashore, the watch", shore.watch, "--phases", "coverage,fuzzing")
    async with aboard(folder / "silent") as (followed, *_):
        await look("HTTP, aboard, no dive yet", f"http://127.0.0.1:{followed.server.port}")
    return found


def main() -> int:
    """Run it all, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100, help="requests for each path, beside those of its borders")
    parser.add_argument("--seed", type=int, default=1, help="of the requests that are made")
    options = parser.parse_args()

    def tell(words: str) -> None:
        print(words, flush=True)

    with tempfile.TemporaryDirectory(prefix="offing-conformance-") as folder:
        rows = asyncio.run(websockets(Path(folder), tell))
        looked = asyncio.run(described(Path(folder), tell, count=options.count, seed=options.seed))
    return ended(rows, looked, options.count, tell)


def ended(rows: list[Row], looked: list[Looked], count: int, tell: Tell) -> int:
    """Tell what all of it comes to, beside what was asked; return 1 if anything was wrong, or wasn't tried."""
    missing = [*not_tried(rows), *not_looked_at(looked)]
    for words in missing:
        tell(f"  wrong: {words}")
    wrong, bad = sum(bool(row.wrong) for row in rows), sum(bool(one.wrong) for one in looked)
    requests, servers = sum(one.checked.requests for one in looked), len({row.server for row in rows})
    tell(
        f"{len(rows)} cases of RFC 6455 tried on {servers} of {len(SERVERS)} servers, {wrong} wrong; {requests} "
        f"requests in {len(looked)} of {len(RUNS)} runs, {count} asked for on each path beside its borders, "
        f"{bad} wrong; {len(missing)} parts not tried"
    )
    return 1 if wrong or bad or missing else 0


if __name__ == "__main__":
    sys.exit(main())
