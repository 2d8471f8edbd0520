"""All fuzz targets by name, and their corpus: one small text file each, an input a line, written as Python's bytes.

A line is what `repr` writes of the bytes, so a corpus can be read, compared and reviewed; the fuzzer is given each
line as a file of its own. `crashes.json` holds by name what was found, with what it did then.
"""

import ast
import json
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

from fuzz_target import Target

CORPUS = Path(__file__).parent / "corpus"
CRASHES = CORPUS / "crashes.json"
# Which module has which targets: a process that fuzzes one loads, and instruments, no more than it needs.
PARTS = {
    "fuzz_feeds": (
        *("nmea0183", "mavlink", "station-json", "station-msgpack"),
        *("log-nmea0183", "log-mavlink", "log-station-json", "log-station-msgpack", "log-packed"),
    ),
    "fuzz_link": (
        "link-greetings",
        "link-stream",
        "guests-listing",
        "stream-message",
        "request-head",
        "follower-frames",
    ),
    "fuzz_files": ("record", "recording", "recording-handed-on", "recording-altered", "proof", "outlines"),
    "fuzz_plans": (
        *("expedition", "settings", "shore-file", "secrets", "guest-book", "watch-file", "identity", "opened"),
    ),
    "fuzz_kept": ("journal-sums", "checkpoint", "own-notes", "audit-results"),
    "fuzz_words": ("decision", "desk-message", "text", "proved-row", "still", "plan-value"),
    "fuzz_http": ("http-site", "http-desk", "http-stop"),
    "fuzz_pictures": ("picture", "still-markers"),
    "fuzz_charts": ("chart-text", "chart-geotiff", "chart-netcdf3", "chart-netcdf4", "ship-track", "wreck-list"),
}
PLANTED = {"planted_fuzz": ("planted",)}  # no decoder: what shows that a fault is found
NAMES = tuple(name for names in PARTS.values() for name in names)


def target_named(name: str) -> Target:
    """Return a target; KeyError if there is none of this name."""
    part = next((part for part, names in (PARTS | PLANTED).items() if name in names), None)
    if part is None:
        raise KeyError(name)
    return {target.name: target for target in __import__(part).TARGETS}[name]


@cache
def corpus_of(name: str) -> tuple[bytes, ...]:
    """Return the inputs that are kept for a target."""
    path = CORPUS / f"{name}.txt"
    lines = path.read_text(encoding="ascii").splitlines() if path.exists() else []
    return tuple(ast.literal_eval(line) for line in lines)


def keep_corpus(name: str, inputs: Iterable[bytes]) -> None:
    """Write the inputs that are kept for a target."""
    CORPUS.mkdir(exist_ok=True)
    text = "".join(f"{data!r}\n" for data in sorted(set(inputs), key=lambda data: (len(data), data)))
    (CORPUS / f"{name}.txt").write_text(text, encoding="ascii")


def crashes() -> list[dict[str, Any]]:
    """Return what was found: `name`, `target`, what it did then (`did`), and its bytes (`data`)."""
    found: list[dict[str, Any]] = json.loads(CRASHES.read_text(encoding="utf-8"))["vectors"]
    return [{**vector, "data": _data(vector)} for vector in found]


def _data(vector: dict[str, Any]) -> bytes:
    return bytes.fromhex(vector["hex"]) + bytes.fromhex(vector.get("repeated", "")) * vector.get("times", 0)
