"""How a leak is planted: a text of `relay/` becomes another in a copy of it, and a named test must then fail.

A patch replaces a text that stands exactly once in its file, so that this list breaks loudly when the code moves.
"""

import contextlib
from collections.abc import Iterator
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


def _plant(leak: Leak, tree: Path) -> None:
    for patch in leak.patches:
        path = tree / "relay" / patch.file
        text = path.read_text(encoding="utf-8")
        if text.count(patch.old) != 1:
            raise MovedError(f"{leak.name}: {text.count(patch.old)} times in relay/{patch.file}: {patch.old!r}")
        path.unlink()  # its other name keeps what it was
        path.write_text(text.replace(patch.old, patch.new), encoding="utf-8")


@contextlib.contextmanager
def planted_in(tree: Path, leak: Leak) -> Iterator[None]:
    """Apply a leak to the copy of `relay/` below `tree`, and take it away again.

    MovedError if one of its texts isn't there exactly once.
    """
    paths = {tree / "relay" / patch.file for patch in leak.patches}
    kept = {path: path.with_name(f"{path.name}.kept") for path in paths}
    for path in paths:
        kept[path].hardlink_to(path)
    try:
        _plant(leak, tree)
        yield
    finally:
        for path in paths:
            path.unlink(missing_ok=True)
            kept[path].rename(path)


def leak(name: str, test: str, *patches: tuple[str, str, str]) -> Leak:
    """Return a leak from plain texts; the test is named without its folder and `.py`."""
    file, _, function = test.partition("::")
    return Leak(name, tuple(Patch(*patch) for patch in patches), f"tests/{file}.py::{function}")
