"""`offing report`: a dive's report as one page that prints, from a recording, or exact from the ship's own record.

Rules: the released report reads the recording and nothing else (R7); a file that is there isn't written over unless
that is asked for, and a page is written whole or not at all.
"""

import argparse
import sys
from pathlib import Path

from relay.core.errors import OperatorError
from relay.shell.record.dive_report import report_html
from relay.shell.record.released_report import released_report
from relay.shell.recording import load_signed


def report(options: argparse.Namespace) -> int:
    """Write the report that `options` ask for, and say where it is."""
    _refuse_written(options.html, options.force)
    released(options.what, options.html)
    print(options.html)
    print("It opens in a browser, without a network; its print dialogue makes a PDF.", file=sys.stderr)
    return 0


def released(path: Path, to: Path) -> None:
    """Write the report of a recording."""
    recording = load_signed(path)
    if not recording.signed:
        print(f"{path}: unsigned: nobody can check that it is the ship's", file=sys.stderr)
    if not recording.closed:
        print(f"{path}: not closed: what there is so far is reported", file=sys.stderr)
    write_page(report_html(released_report(recording, recording.signed)), to)


def _refuse_written(path: Path, force: bool) -> None:
    if path.exists() and not force:
        raise OperatorError(f"{path} is there already: name another file, or add --force")


def write_page(page: str, to: Path) -> None:
    """Write a page whole or not at all; OperatorError where it can't be."""
    beside = to.with_name(f".{to.name}.new")
    try:
        beside.write_text(page, encoding="utf-8")
        beside.replace(to)
    except OSError as error:
        raise OperatorError(f"{to} can't be written: {error.strerror}") from error
