"""Changes the settings of one audience in the text of an expedition file, and nothing else of it.

Rules: remarks, blank lines and the order of keys stay; a key that is there keeps its line, a new one follows the last
of its audience, one that must go becomes a remark. What comes out is read again as `offing ship` would.
"""

import os
from collections.abc import Mapping
from difflib import unified_diff
from pathlib import Path
from shutil import copy2

from relay.core.errors import OperatorError
from relay.shell.plan.toml_lines import line_numbers

Changes = Mapping[str, str | None]
"""By key what is to stand behind it, as TOML; None: the key goes."""


def with_settings(text: str, audience: int, changes: Changes) -> str:
    """Return a text with keys of its audience of a number (from 0) changed."""
    lines = text.splitlines()
    for key, value in changes.items():
        places = line_numbers("\n".join(lines))
        start = places.get(("audience", audience, key))
        if start is not None:
            _replace(lines, start - 1, key, value)
        elif value is not None:
            lines.insert(_last(lines, audience), f"{key} = {value}")
    return "\n".join(lines) + ("\n" if text.endswith("\n") else "")


def _replace(lines: list[str], start: int, key: str, value: str | None) -> None:
    """Change a value that begins at a line, or make it a remark; remarks within it come before it."""
    end, remarks, last = _value_end(lines, start)
    indent = lines[start][: len(lines[start]) - len(lines[start].lstrip())]
    if value is None:
        lines[start : end + 1] = [f"{indent}# {line.strip()}" for line in lines[start : end + 1]]
        return
    behind = f"  {last}" if last else ""
    lines[start : end + 1] = [*(f"{indent}{remark}" for remark in remarks), f"{indent}{key} = {value}{behind}"]


def _value_end(lines: list[str], start: int) -> tuple[int, list[str], str]:
    """Return the last line of a value, the remarks within it, and the one behind it."""
    depth, remarks, text = 0, list[str](), lines[start].partition("=")[2]
    for at in range(start, len(lines)):
        opened, remark = _scanned(text)
        depth += opened
        if depth <= 0 or at + 1 == len(lines):
            return at, remarks, remark
        if remark:
            remarks.append(remark)
        text = lines[at + 1]
    raise AssertionError("a value ends with its file")


def _scanned(text: str) -> tuple[int, str]:
    """Return how many brackets more are opened than closed in a line, and the remark that ends it."""
    depth, quote, escaped = 0, "", False
    for at, letter in enumerate(text):
        if quote:
            if letter == quote and not escaped:
                quote = ""
            escaped = letter == "\\" and not escaped and quote == '"'
        elif letter in "\"'":
            quote = letter
        elif letter == "#":
            return depth, text[at:].rstrip()
        else:
            depth += (letter in "[{") - (letter in "]}")
    return depth, ""


def _last(lines: list[str], audience: int) -> int:
    """Return before which line a new key of an audience goes: after its last, however long that one is."""
    places = line_numbers("\n".join(lines))
    own = [number for path, number in places.items() if path[:2] == ("audience", audience) and len(path) == 3]
    return _value_end(lines, max(own) - 1)[0] + 1 if own else places[("audience", audience)]


def difference(before: str, after: str, path: Path) -> str:
    """Return what changed in a file, line by line."""
    lines = unified_diff(before.splitlines(), after.splitlines(), f"{path} (before)", str(path), lineterm="", n=2)
    return "\n".join(lines)


def write_over(path: Path, text: str) -> Path:
    """Write a file anew, whole or not at all, after a copy of what was there; return the copy's path."""
    copy = _free(path)
    new = path.with_name(f".{path.name}.new")
    try:
        copy2(path, copy)
        copy2(path, new)  # for its mode
        with new.open("w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        new.replace(path)
    except OSError as error:
        raise OperatorError(f"{path} can't be written ({error.strerror}); it is as it was") from error
    return copy


def _free(path: Path) -> Path:
    """Return a name for a copy that isn't taken: FILE.toml.before, FILE.toml.before-2, ..."""
    names = (path.with_name(f"{path.name}.before{'' if at == 1 else f'-{at}'}") for at in range(1, 10_000))
    return next(name for name in names if not name.exists())
