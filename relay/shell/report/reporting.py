"""`offing report`: a dive's report as one page that prints: of a recording, or exact from the ship's own record.

Rules: the released report reads the recording and nothing else (R7). The exact one lies in the site's private folder,
for its owner alone, or is encrypted before it is written; never where anything released lies. A file that is there
isn't written over unless that is asked for, and a page is written whole or not at all.
"""

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

from relay.core.errors import OperatorError
from relay.shell.exact.exact_dives import ExactDives, exact_dives
from relay.shell.exact.telling import telling
from relay.shell.locked.locking import encrypt_stream, recipients_of
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.record.import_log import expedition_file
from relay.shell.released.recording import load_signed
from relay.shell.report.dive_report import report_html
from relay.shell.report.exact_report import exact_report
from relay.shell.report.released_report import released_report


def report(options: argparse.Namespace) -> int:
    """Write the report that `options` ask for, and say where it is."""
    if options.html.exists() and not options.force:
        raise OperatorError(f"{options.html} is there already: name another file, or add --force")
    exact = options.what.is_dir() or options.what.suffix == ".toml"
    if exact:
        _exact(read_expedition(expedition_file(options.what)), options.dive, options.html, options.to)
    else:
        _released(options.what, options.html, options.dive, options.to)
    print(options.html)
    opened = "`offing open` opens it" if options.to else "It opens in a browser, without a network; print it for a PDF"
    print(f"{opened}. {'It is exact: for few eyes.' if exact else ''}".strip(), file=sys.stderr)
    return 0


def _released(path: Path, to: Path, dive: int | None, recipients: Sequence[str]) -> None:
    """Write the report of a recording."""
    if dive is not None or recipients:
        raise OperatorError("--dive and --to are for the exact report: give EXPEDITION.toml in place of a recording")
    recording = load_signed(path)
    if not recording.signed:
        print(f"{path}: unsigned: nobody can check that it is the ship's", file=sys.stderr)
    if not recording.closed:
        print(f"{path}: not closed: what there is so far is reported", file=sys.stderr)
    _write(report_html(released_report(recording, recording.signed)), to, 0o666)


def _exact(expedition: Expedition, number: int | None, to: Path, recipients: Sequence[str]) -> None:
    """Write the exact report of a dive, in the private folder or encrypted."""
    check_place(to, expedition.private, expedition.released, encrypted=bool(recipients))
    if recipients:
        recipients_of(recipients)  # said before the journal is read
    with telling() as tell, exact_dives(expedition, tell) as exact:
        if number is None:
            raise OperatorError(f"--dive: say which, {_dives_of(exact)}")
        dive = exact.dive(number)
        made = exact_report(expedition.plan.expedition, expedition.ship, exact, dive, tell)
    page = report_html(made)
    if not recipients:
        _write(page, to, 0o600)
        return
    beside = to.with_name(f".{to.name}.new")
    beside.unlink(missing_ok=True)
    encrypt_stream(lambda out: _put(out, page), beside, recipients)
    beside.replace(to)


def _put(out: BinaryIO, page: str) -> None:
    out.write(page.encode())


def _dives_of(exact: ExactDives) -> str:
    count = len(exact.dives)
    return f"from 1 to {count}" if count else "though the journal has no dive yet"


def check_place(to: Path, private: Path, released: Path, *, encrypted: bool) -> None:
    """Refuse a place at which what is exact may not lie: OperatorError says why, and what to do."""
    place = to.resolve().parent
    if place.is_relative_to(released.resolve()):
        raise OperatorError(f"{to} lies in {released}, where everything is public: put it into {private}")
    if not encrypted and not place.is_relative_to(private.resolve()):
        raise OperatorError(
            f"{to} would be exact and readable outside the private folder: write it into {private}, or encrypt it with "
            "--to age1..., to whoever may read it"
        )


def _write(page: str, to: Path, mode: int) -> None:
    """Write a page whole or not at all; OperatorError where it can't be."""
    beside = to.with_name(f".{to.name}.new")
    try:
        beside.unlink(missing_ok=True)
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "w", encoding="utf-8") as file:
            file.write(page)
        beside.replace(to)
    except OSError as error:
        raise OperatorError(f"{to} can't be written: {error.strerror}") from error
