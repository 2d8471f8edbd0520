"""What a relay says of itself: one JSON object a line, and of an exception nothing that it was told."""

import json
import logging
import sys
from datetime import UTC, datetime, timedelta

from relay.shell.log_lines import JsonLines


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
