"""What a relay says of itself while it runs: lines for people, or JSON lines for a collector of logs.

Rules: one line is one event; nothing of a follower or a feed's content is in it, for nobody logs such a thing, and of
an exception only its kind and where it was raised.
"""

import json
import logging
import sys
import traceback
from collections.abc import Iterable
from datetime import UTC, datetime


class JsonLines(logging.Formatter):
    """A record as one JSON object: time (UTC), level, where it comes from, and the words."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "said": record.getMessage(),
        }
        if record.exc_info and record.exc_info[1] is not None:
            line["raised"] = type(record.exc_info[1]).__name__
            frames = traceback.extract_tb(record.exc_info[2])
            line["at"] = " < ".join(f"{frame.name}:{frame.lineno}" for frame in reversed(frames))
        return json.dumps(line, ensure_ascii=False)


def log_to_stderr(level: int = logging.INFO, form: str = "text") -> None:
    """Let the process say what happens on standard error; `form`: "text" or "json"."""
    lines = logging.StreamHandler(sys.stderr)
    plain = logging.Formatter("%(asctime)s %(levelname)s %(message)s")
    lines.setFormatter(JsonLines() if form == "json" else plain)
    logging.basicConfig(level=level, handlers=[lines])


def announce(lines: Iterable[str], form: str = "text") -> None:
    """Say what somebody who has just started a relay wants to know: addresses on standard output, the rest beside it.

    With "json" each is an object as of the log, so that a collector of both gets nothing else.
    """
    for line in lines:
        said = logging.LogRecord("offing", logging.INFO, "", 0, line, None, None)
        told = JsonLines().format(said) if form == "json" else line
        print(told, file=sys.stdout if "://" in line else sys.stderr, flush=True)
