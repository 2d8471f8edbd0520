"""Every case of RFC 6455 against the relay's own websockets, then its HTTP against what is written of it.

`make conformance` (`ARGS="--count 200 --seed 9"`). A real ship and a real shore run on the loopback. It prints a row
for each group of cases and each server, and what was wrong with each; it ends by itself, with 1 where anything was.
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
    name = "a feed that dials"
    rows = [Row(name, "answers", f"{each} (section 4.1)", tuple(wrong)) for each, wrong in await wire_dialled.answers()]
    for group, case, wrong in await wire_dialled.framing(spread(wire_dialled.every(), most)):
        rows.append(Row(name, group, f"{case.name} (section {case.section})", tuple(wrong)))
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


async def described(folder: Path, tell: Tell, *, count: int, seed: int) -> list[Checked]:
    """Try the HTTP description on a shore that holds dives, as a stranger and as a guest, and on a ship without any."""
    found: list[Checked] = []

    async def look(name: str, url: str, tag: str, *more: str, token: str = "") -> None:
        here = folder / f"http-{len(found)}"
        here.mkdir()
        page = PAGE if PAGE.is_dir() else None
        found.append(await tried(here, document(page), url, *more, tag=tag, count=count, seed=seed, token=token))
        tell(f"{name:32} {found[-1].summary}")
        if not found[-1].ok:
            tell(found[-1].words)

    for name in ("told", "silent"):
        (folder / name).mkdir()
    async with told_shore(folder / "told") as told:
        await look("HTTP, ashore, a stranger", told.site, "site")
        await look("HTTP, ashore, a guest", told.site, "site", token=told.token)
        await look("HTTP, ashore, the watch", told.watch, "watch", "--phases", "coverage,fuzzing")
    async with aboard(folder / "silent") as (followed, *_):
        await look("HTTP, aboard, no dive yet", f"http://127.0.0.1:{followed.server.port}", "site")
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
        checked = asyncio.run(described(Path(folder), tell, count=options.count, seed=options.seed))
    wrong = sum(bool(row.wrong) for row in rows)
    bad = sum(not each.ok for each in checked)
    requests = sum(each.requests for each in checked)
    print(
        f"{len(rows)} cases of RFC 6455 tried, {wrong} wrong; {requests} requests in {len(checked)} runs, {bad} wrong"
    )
    return 1 if wrong or bad else 0


if __name__ == "__main__":
    sys.exit(main())
