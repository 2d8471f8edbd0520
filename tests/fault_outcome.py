"""What a part of the fault runs came to, and the form that every part has."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass
class Outcome:
    """How many faults were made, what was wrong after them, in words, and how long it took.

    `asked`: how many were to be made, the part's own number where the run left it to the part.
    `looked`: how often the rules were looked at over what was left; None where a part doesn't count it.
    """

    name: str
    tried: int
    asked: int
    wrong: list[str]
    seconds: float
    looked: int | None = None


Run = Callable[[int, int, Path], Outcome]  # count, seed, a folder of its own
