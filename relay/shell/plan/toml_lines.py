"""Where in a TOML text a key stands, so that a message can name the line.

`tomllib` tells the line of a syntax error but not of a value; this finds table headers and keys at the start of
a line, which is how expedition files are written. A key inside an inline table is found by the line of the
table's own key.
"""

import re
import tomllib
from collections import Counter
from typing import Any

Path = tuple[str | int, ...]
_HEADER = re.compile(r"\s*(\[\[?)\s*([A-Za-z0-9_.\- \"']+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"\s*([A-Za-z0-9_\-]+|\"[^\"]*\"|'[^']*')\s*=")


def read_toml(text: str) -> dict[str, Any]:
    """Return the values in a text; TOMLDecodeError for what can't be read, numbers and nesting beyond bounds, too."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except (ValueError, RecursionError) as error:  # the parser lets these through as they come
        raise tomllib.TOMLDecodeError("Beyond all bounds") from error


def line_numbers(text: str) -> dict[Path, int]:
    """Return the line (from 1) of every table header and key, by its path; items of arrays of tables by number."""
    lines: dict[Path, int] = {}
    counts: Counter[Path] = Counter()
    table: Path = ()
    for number, line in enumerate(text.splitlines(), 1):
        if header := _HEADER.match(line):
            table = _table(header, counts)
            lines.setdefault(table, number)
            if header[1] == "[[":
                lines.setdefault(table[:-1], number)
        elif key := _KEY.match(line):
            lines.setdefault((*table, key[1].strip("\"'")), number)
    return lines


def line_of(path: Path, lines: dict[Path, int]) -> int | None:
    """Return the line of the longest known beginning of `path`, or None."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


def _table(header: re.Match[str], counts: Counter[Path]) -> Path:
    names: Path = tuple(part.strip().strip("\"'") for part in header[2].split("."))
    if header[1] == "[":
        return names
    counts[names] += 1
    return (*names, counts[names] - 1)
