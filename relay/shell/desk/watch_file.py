"""What the desk's watch knows of a survey, kept over a restart: a file in the private folder, exact.

Rules: written beside and put in place whole, readable by its owner alone. It is a memory, not a record: what can't be
read, or isn't of this journal, is left out, and the survey begins anew; the journal has everything all the same.
"""

import json
import os
from pathlib import Path
from typing import Any

NAME = "watch.json"
VERSION = 1


def read_watch(folder: Path, journal_us: int) -> dict[str, Any] | None:
    """Return what was kept, None if there is nothing of a journal whose last row is of the moment `journal_us`."""
    try:
        kept = json.loads((folder / NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(kept, dict) or kept.get("version") != VERSION:
        return None
    upto_us = kept.get("upto_us")
    return kept if isinstance(upto_us, int) and upto_us <= journal_us else None


def write_watch(folder: Path, known: dict[str, Any]) -> None:
    """Keep what is known; OSError if the disk doesn't take it, and then the file is what it was."""
    beside = folder / f"{NAME}.new"
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as file:
        json.dump({**known, "version": VERSION}, file)
    beside.replace(folder / NAME)
