"""What a relay says of itself: one JSON object a line, and of an exception nothing that it was told."""

import json
import logging
import sys
from datetime import UTC, datetime, timedelta

import pytest

from relay.shell.shore.log_lines import JsonLines, announce


def line_of(raised: Exception | None = None) -> dict[str, str]:
    """Return what becomes of a record."""
    pass_on = None
    try:
        if raised is not None:
            raise raised
    except ValueError:
        pass_on = sys.exc_info()
    record = logging.LogRecord("offing.shore", logging.ERROR, "x.py", 1, "%s:\n%d", ("two\nlines", 7), pass_on)
    text = JsonLines().format(record)
    assert "\n" not in text
    told: dict[str, str] = json.loads(text)
    return told


def test_line_is_one_object_with_time_level_place_and_words() -> None:
    """Its time is of now, in UTC; line breaks in the words break no line."""
    told = line_of()
    assert abs(datetime.fromisoformat(told.pop("time")) - datetime.now(UTC)) < timedelta(minutes=1)
    assert told == {"level": "error", "from": "offing.shore", "said": "two\nlines:\n7"}


def test_exception_is_told_by_kind_and_place_alone() -> None:
    """What it was raised with may have come from a peer."""
    told = line_of(ValueError("SECRETWORD"))
    assert told["raised"] == "ValueError"
    assert told["at"].startswith("line_of:")
    assert "SECRETWORD" not in json.dumps(told)


LINES = ["Offing relays a dive.", "followers' page: http://127.0.0.1:8080/", "Ctrl-C stops it."]


def test_start_is_told_to_people_with_the_addresses_apart(capsys: pytest.CaptureFixture[str]) -> None:
    """What a script may want is on standard output; the rest beside it."""
    announce(LINES)
    said = capsys.readouterr()
    assert (said.out, said.err) == (f"{LINES[1]}\n", f"{LINES[0]}\n{LINES[2]}\n")


def test_with_json_the_start_is_json_in_the_same_places(capsys: pytest.CaptureFixture[str]) -> None:
    """Each line is an object with its words, whichever of the two a collector reads."""
    announce(LINES, "json")
    said = capsys.readouterr()
    out, err = ([json.loads(line) for line in text.splitlines()] for text in (said.out, said.err))
    assert [line["said"] for line in out] == LINES[1:2]
    assert [(line["said"], line["level"], line["from"]) for line in err] == [
        (line, "info", "offing") for line in (LINES[0], LINES[2])
    ]
