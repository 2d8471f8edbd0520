"""Where a key stands in a TOML text."""

import tomllib
from typing import Any

from expeditions import RIGHT
from relay.shell.plan.toml_lines import Path, line_numbers, line_of


def paths_in(value: Any, path: Path = ()) -> list[Path]:
    """Return the path of every plain value as `tomllib` reads it."""
    if isinstance(value, dict):
        return [found for key, item in value.items() for found in paths_in(item, (*path, key))]
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [found for at, item in enumerate(value) for found in paths_in(item, (*path, at))]
    return [path]


def test_every_key_that_tomllib_reads_has_the_line_it_stands_in() -> None:
    """For a whole expedition file: the line found for a path begins with its key."""
    lines, text = line_numbers(RIGHT), RIGHT.splitlines()
    paths = paths_in(tomllib.loads(RIGHT))
    assert len(paths) > 25
    for path in paths:
        assert text[lines[path] - 1].startswith(f"{path[-1]} = ")


def test_line_of_an_unknown_path_is_that_of_its_longest_known_beginning() -> None:
    """A missing key is told at its table's header; nothing known, no line."""
    lines = line_numbers('# head\n[[feed]]\nname = "a"\n\n[[feed]] # second\n"name" = "b"\n[public]\n')
    assert line_of(("feed", 1, "name"), lines) == 6
    assert line_of(("feed", 1, "from"), lines) == 5
    assert line_of(("feed", 0, "from", 3), lines) == 2
    assert line_of(("public", "listen"), lines) == 7
    assert line_of(("nowhere",), lines) is None
