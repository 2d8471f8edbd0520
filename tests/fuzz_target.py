"""What a fuzz target is: a decoder, the property that must hold of it whatever the bytes, and inputs to begin with."""

import contextlib
import io
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Target:
    """A decoder under test.

    `check` takes any bytes: it returns whatever they are, and raises where the decoder raised what it doesn't declare,
    or where its property doesn't hold. `seeds`: inputs to begin with. `most`: the longest input, in bytes.
    """

    name: str
    check: Callable[[bytes], None]
    seeds: Sequence[bytes]
    most: int = 4_096


@cache
def scratch() -> Path:
    """Return a folder of this process for files that are read and written over, input after input."""
    return Path(tempfile.mkdtemp(prefix="offing-fuzz-"))


def as_file(data: bytes, name: str) -> Path:
    """Return a file that holds these bytes, readable by its owner alone."""
    path = scratch() / name
    path.write_bytes(data)
    path.chmod(0o600)
    return path


def result_or(error: type[Exception] | tuple[type[Exception], ...], call: Callable[[], object]) -> object:
    """Return what a call returns, or the kind and words of the error that it declares; any other goes through."""
    try:
        return call()
    except error as told:
        return f"{type(told).__name__}: {told}"


def pieces(data: bytes) -> tuple[list[bytes], bytes]:
    """Return the input cut as its first byte says, and the input whole: the rest of it."""
    step, rest = (data[0] or 256 if data else 1), data[1:]
    edges = [*range(0, len(rest), step), len(rest)]
    return [rest[before:after] for before, after in pairwise(edges)], rest


@contextmanager
def quiet() -> Iterator[None]:
    """Keep what a command prints to itself."""
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        yield
