"""How a leak is planted: a text of `relay/` becomes another in a copy of it, and a named test must then fail.

A patch replaces a text that stands exactly once in its file, so that this list breaks loudly when the code moves.
"""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Patch:
    """One text of one file below `relay/` and what it becomes."""

    file: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Leak:
    """What an outsider would get, how the code is made to give it, and the test that catches it."""

    name: str
    patches: tuple[Patch, ...]
    test: str


class MovedError(Exception):
    """The text a patch replaces doesn't stand exactly once: the code moved, and the list has to follow."""


def plant(leak: Leak, tree: Path) -> None:
    """Apply a leak to the copy of `relay/` below `tree`; MovedError if one of its texts isn't there exactly once."""
    for patch in leak.patches:
        path = tree / "relay" / patch.file
        text = path.read_text(encoding="utf-8")
        if text.count(patch.old) != 1:
            raise MovedError(f"{leak.name}: {text.count(patch.old)} times in relay/{patch.file}: {patch.old!r}")
        path.unlink()  # it may be the same file as that of another copy
        path.write_text(text.replace(patch.old, patch.new), encoding="utf-8")


def leak(name: str, test: str, *patches: tuple[str, str, str]) -> Leak:
    """Return a leak from plain texts; the test is named without its folder and `.py`."""
    file, _, function = test.partition("::")
    return Leak(name, tuple(Patch(*patch) for patch in patches), f"tests/{file}.py::{function}")
