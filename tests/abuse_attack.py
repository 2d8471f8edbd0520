"""One attack of the table: what is tried, what is expected, and how what was got is judged."""

import asyncio
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass, replace

import pytest

from abused import World

WITHIN_S = 180.0
Try = Callable[[World], Awaitable[str]]
# What the tests' own helpers raise where a program is missing: no `Exception`, so that it would end the whole table.
MISSING = (pytest.skip.Exception, pytest.fail.Exception)


@dataclass(frozen=True)
class Attack:
    """`run` returns in words what was got, and raises AssertionError where it isn't what was expected.

    `slow`: it takes many seconds by its nature (a deadline that must pass, a crowd, a command run many times), and the
    short version of the table plays `short` in its place, which tries less of the same, or leaves it out.
    """

    name: str
    expected: str
    run: Try
    slow: bool = False
    short: Try | None = None


@dataclass(frozen=True)
class Row:
    """A row of the table."""

    attack: str
    expected: str
    got: str
    held: bool


def quick(attacks: Iterable[Attack]) -> list[Attack]:
    """Return the short version of a table."""
    return [replace(it, run=it.short or it.run) for it in attacks if it.short or not it.slow]


async def tried(attack: Attack, world: World) -> Row:
    """Try an attack, then whether followers have every record, in order, and the processes still run.

    Whatever an attack raises, its row alone has failed, and says by what.
    """
    try:
        async with asyncio.timeout(WITHIN_S):
            got, held = await attack.run(world), True
        for process in (world.ship, world.shore):
            assert process.process is not None and process.process.returncode is None, "a relay has ended"
        world.in_order()
    except (Exception, *MISSING) as error:
        got, held = f"{type(error).__name__}: {error}", False
    return Row(attack.name, attack.expected, " ".join(got.split())[:300], held)
