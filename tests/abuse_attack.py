"""One attack of the table: what is tried, what is expected, and how what was got is judged."""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from abused import World

WITHIN_S = 180.0


@dataclass(frozen=True)
class Attack:
    """`run` returns in words what was got, and raises AssertionError where it isn't what was expected.

    `slow`: it takes many seconds by its nature (a deadline that must pass), and is left out of the short version.
    """

    name: str
    expected: str
    run: Callable[[World], Awaitable[str]]
    slow: bool = False


@dataclass(frozen=True)
class Row:
    """A row of the table."""

    attack: str
    expected: str
    got: str
    held: bool


async def tried(attack: Attack, world: World) -> Row:
    """Try an attack, then whether followers have every record, in order, and the processes still run."""
    try:
        async with asyncio.timeout(WITHIN_S):
            got, held = await attack.run(world), True
        for process in (world.ship, world.shore):
            assert process.process is not None and process.process.returncode is None, "a relay has ended"
        world.in_order()
    except (AssertionError, OSError, EOFError, TimeoutError) as error:
        got, held = f"{type(error).__name__}: {error}", False
    return Row(attack.name, attack.expected, " ".join(got.split())[:300], held)
