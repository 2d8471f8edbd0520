"""Faults of an expedition file, or of a shore's, in words: where it is, what is wrong there, and what to write instead.

Rules (R4): a fault is one line, `FILE line N: where: what is wrong and what to do`; parts that may be there several
times are told by the name that the file gives them.
"""

import difflib
import re
from collections.abc import Mapping
from pathlib import Path
from tomllib import TOMLDecodeError
from typing import Any

from pydantic import BaseModel

from relay.shell.plan.expedition_form import AS_POSITION, NAME, PARTS, SLUG
from relay.shell.plan.toml_lines import Path as TomlPath
from relay.shell.plan.toml_lines import line_numbers, line_of

Fault = tuple[TomlPath, str]


class Faults:
    """Puts the faults of one file into lines."""

    def __init__(
        self,
        path: Path,
        text: str,
        values: dict[str, Any],
        parts: Mapping[str, type[BaseModel]] = PARTS,
        add: Mapping[str, str] | None = None,
    ) -> None:
        self._path, self._values, self._lines = path, values, line_numbers(text)
        self._parts, self._add = parts, _ADD if add is None else add

    def line(self, fault: Fault) -> str:
        """Return a fault as a line."""
        place, text = fault
        number = line_of(place, self._lines)
        where = f"{self._path} line {number}" if number else str(self._path)
        return f"{where}: {self._words(place)}: {text}"

    def checked(self, item: Any) -> str:
        """Return a fault that pydantic found as a line."""
        place: TomlPath = tuple(item["loc"])
        return self.line((place, self._message(item, place)))

    def _message(self, item: Any, place: TomlPath) -> str:
        if item["type"] == "extra_forbidden":
            return f"no such key{_nearest(place, self._parts)}"
        if item["type"] == "missing":
            return f"is missing: {self._add.get(_named(place), 'add it')}"
        return _message(item, place)

    def _words(self, place: TomlPath) -> str:
        """Return where a fault is: `audience "public": delay`, or the number of a part whose name tells nothing."""
        if len(place) < 2 or not isinstance(place[1], int):
            return _dotted(place)
        kind, at, rest = place[0], place[1], place[2:]
        name = self._name(str(kind), at)
        part = f'{kind} "{name}"' if name else f"{kind} {at + 1}"
        return f"{part}: {_dotted(rest)}" if rest else part

    def _name(self, kind: str, at: int) -> str | None:
        """Return the name of a part, if it has one and no other part of its kind has the same."""
        parts = self._values.get(kind)
        names = [part.get("name") if isinstance(part, dict) else None for part in parts] if parts else []
        name = names[at] if at < len(names) else None
        return name if isinstance(name, str) and name and names.count(name) == 1 else None


def _dotted(place: TomlPath) -> str:
    return ".".join(str(part) if isinstance(part, str) else f"{part + 1}" for part in place)


def _message(item: Any, place: TomlPath) -> str:
    kind = item["type"]
    if kind in ("literal_error", "enum"):
        return f"{item['input']!r} is not known; one of {item['ctx']['expected']}{_meant(item)}"
    if kind == "string_pattern_mismatch":
        return f"{item['input']!r} won't do: {_PATTERNS[item['ctx']['pattern']]}"
    if kind == "list_type" and len(place) == 1:
        return f"there may be several: write [[{place[0]}]] with double brackets"
    if kind == "model_type" and isinstance(item["input"], list):
        return f"there is only one: write [{place[-1]}] with single brackets, not [[{place[-1]}]]"
    if kind in _REMEDIES:
        return _REMEDIES[kind].format(**item.get("ctx", {}))
    return str(item["msg"]).removeprefix("Value error, ")


def _meant(item: Any) -> str:
    """Return which of the values that are known may have been meant."""
    close = difflib.get_close_matches(str(item["input"]), re.findall(r"'([^']*)'", item["ctx"]["expected"]), 1)
    return f'; did you mean "{close[0]}"?' if close else ""


def _named(place: TomlPath) -> str:
    """Return a place without its numbers: `zone.margin`."""
    return ".".join(part for part in place if isinstance(part, str))


_ADD = {
    "audience": 'add [[audience]] with a name and a preset, such as preset = "public"',
    "audience.fields": 'add preset = "public" (or "funders", "heritage"), or fields = ["track", "depth", ...]',
    "audit.charts": 'add the charts that an outsider has of the area, such as charts = ["chart.nc"]',
    "expedition": "add [expedition] with name and ship",
    "feed": "add [[feed]] with name, format and from",
    "feed.format": 'add format = "nmea0183" (or "mavlink", "station-json", "station-msgpack")',
    "feed.from": 'add where its bytes come from, such as from = "udp://0.0.0.0:10110"',
    "survey.corners": "add the corners of the planned area in their order round it, such as "
    "corners = [[-30.0, -22.0], [-30.0, -21.9], [-30.1, -21.9]]",
    "uplink.to": 'add where the shore listens, such as to = "wss://shore.example:8444"',
    "vehicle": "add [[vehicle]] with its name",
    "zone.centre": "add centre = [latitude, longitude] in degrees",
    "zone.margin": "add by how much a secret may move and widen its edge, at least half the radius: "
    'margin = "50 m" for a radius of 100 m',
    "zone.radius": 'add how far it reaches, such as radius = "100 m"',
}
_PATTERNS = {
    NAME: "a name in one line, no blank before or after it, no letter in it that can't be seen",
    SLUG: "a short name of small letters, digits and hyphens, beginning with a letter",
}
_REMEDIES = {
    "bool_type": "must be true or false, without quotes",
    "float_parsing": "must be a number",
    "float_type": "must be a number",
    "greater_than_equal": "must be at least {ge:g}",
    "int_from_float": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_type": "must be a whole number",
    "less_than_equal": "must be at most {le:g}",
    "list_type": 'must be a list: write it in brackets, such as ["one", "two"]',
    "model_type": "must be a table: begin it with its name in brackets, on a line of its own",
    "string_too_long": "is too long: at most {max_length} characters",
    "string_too_short": "is empty: write at least {min_length} character",
    "string_type": "must be text: write it in quotes",
    "too_long": "are too many: at most {max_length}",
    "too_short": "is too short: give at least {min_length}",
}


def _nearest(place: TomlPath, parts: Mapping[str, type[BaseModel]]) -> str:
    """Return what may have been meant by a key that is not known where it stands."""
    table, key = str(place[0]) if len(place) > 1 else None, str(place[-1])
    here = _keys(parts[table]) if table else list(parts)
    elsewhere = [name for name, part in parts.items() if name != table and key in _keys(part)]
    if close := difflib.get_close_matches(key, here, 1):
        return f'; did you mean "{close[0]}"?'
    if elsewhere:
        return f" here; it belongs under {' or '.join(_header(name) for name in elsewhere)}"
    return f"; known here: {', '.join(here)}"


def _keys(part: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in part.model_fields.items()]


def _header(name: str) -> str:
    return f"[[{name}]]" if name in ("audience", "feed", "vehicle", "zone") else f"[{name}]"


_SYNTAX = {
    "Illegal character '\\n'": "a quote is opened on this line and not closed on it",
    "Illegal character": "a character stands here that no text editor shows: take it out",
    "Unterminated string": "a quote is opened and not closed",
    "Expected \"'\"": "a quote is opened and not closed",
    "Unclosed array": "a bracket [ is opened and not closed, or a comma is missing between two values",
    "Expected ']' at the end of a table": "the name of a table needs its closing bracket, as in [area]",
    "Expected ']]' at the end of an array": "the name of a table needs both closing brackets, as in [[feed]]",
    "Expected '='": "a key needs its value behind it: key = value",
    "Expected newline": 'something stands behind the value: text is written in quotes, as in delay = "45 min"',
    "Invalid value": "text is written in quotes, a list in brackets, and yes or no as true or false, in small letters",
    "Beyond all bounds": "somewhere a number has thousands of digits, or brackets stand within hundreds of others",
    "Invalid statement": "a line is a key = value, a [table], or a # remark",
}  # fmt: skip
_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def syntax_fault(path: Path, text: str, error: TOMLDecodeError) -> str:
    """Return what keeps a text from being TOML as a line; the words of the parser stand behind ours."""
    words, lines = str(error), text.splitlines()
    at = _AT.search(words)
    number = int(at[1]) if at and at[1] else max(1, len(lines))
    if words.startswith("Cannot"):
        number, remedy = _twice(lines, number)
    elif words.startswith("Unclosed array") and re.match(r"\s*(centre|corners)\s*=", lines[number - 1]):
        remedy = f"a position is not written like this; {AS_POSITION}"
    elif re.search("[\u201c\u201d\u201e]", lines[number - 1]):
        remedy = 'quotes are straight, as in name = "Lantern"'
    else:
        remedy = next((ours for theirs, ours in _SYNTAX.items() if words.startswith(theirs)), _SYNTAX["Invalid value"])
    return f"{path} line {number}: {remedy} (not TOML: {words})"


def _twice(lines: list[str], number: int) -> tuple[int, str]:
    """Return the line to change, and how, where line `number` begins a table or gives a key that is there already."""
    single = re.compile(r"\s*\[\s*(audience|feed|vehicle|zone)\s*\]")
    if lone := next(((at, match) for at, line in enumerate(lines, 1) if (match := single.match(line))), None):
        return lone[0], f"there may be several: write [[{lone[1][1]}]] with double brackets"
    name = lines[number - 1].partition("=")[0].strip()
    earlier = [at for at, line in enumerate(lines[: number - 1], 1) if line.partition("=")[0].strip() == name]
    return number, f"{name} is there already, on line {earlier[-1] if earlier else number}: keep one of them"
