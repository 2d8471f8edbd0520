"""`offing report`: a dive's report as one page that prints: of a recording, or exact from the ship's own record.

Rules: the released report reads the recording and nothing else (R7). The exact one lies in the site's private folder,
for its owner alone, or is encrypted before it is written; never where anything released lies. A file that is there
isn't written over unless that is asked for and it is a report (or, for an encrypted one, an encrypted file); a page is
written whole or not at all.
"""

import argparse
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

from relay.core.errors import OperatorError
from relay.shell.exact.exact_dives import ExactDives, exact_dives
from relay.shell.exact.telling import telling
from relay.shell.locked.locking import encrypt_stream, recipients_of
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.record.exact_place import check_exact_place
from relay.shell.record.import_log import expedition_file
from relay.shell.record.whole_file import PRIVATE_MODE, PUBLIC_MODE, new_file
from relay.shell.released.recording import load_formed
from relay.shell.report.dive_report import report_html
from relay.shell.report.exact_report import exact_report
from relay.shell.report.released_report import released_report

HEAD_OCTETS = 16_384
_TITLE = re.compile(rb"\A<!doctype html>.*<title>[^<]*\((?:RELEASED|EXACT)[^<]*</title>", re.DOTALL)
_LOCKED = b"age-encryption.org/v1"


def report(options: argparse.Namespace) -> int:
    """Write the report that `options` ask for, and say where it is."""
    check_free(options.html, force=options.force, encrypted=bool(options.to))
    exact = options.what.is_dir() or options.what.suffix == ".toml"
    if exact:
        _exact(read_expedition(expedition_file(options.what)), options.dive, options)
    else:
        _released(options.what, options)
    print(options.html)
    opened = "`offing open` opens it" if options.to else "It opens in a browser, without a network; print it for a PDF"
    print(f"{opened}. {'It is exact: for few eyes.' if exact else ''}".strip(), file=sys.stderr)
    return 0


def _released(path: Path, options: argparse.Namespace) -> None:
    """Write the report of a recording."""
    if options.dive is not None or options.to:
        raise OperatorError("--dive and --to are for the exact report: give EXPEDITION.toml in place of a recording")
    recording = load_formed(path)
    if not recording.signed:
        print(f"{path}: unsigned: nobody can check that it is the ship's", file=sys.stderr)
    if not recording.closed:
        print(f"{path}: not closed: what there is so far is reported", file=sys.stderr)
    _write(report_html(released_report(recording, recording.signed)), options, PUBLIC_MODE)


def _exact(expedition: Expedition, number: int | None, options: argparse.Namespace) -> None:
    """Write the exact report of a dive, in the private folder or encrypted."""
    recipients: Sequence[str] = options.to
    check_exact_place(options.html, expedition, encrypted=bool(recipients), over=options.force)
    if recipients:
        recipients_of(recipients)  # said before the journal is read
    with telling() as tell, exact_dives(expedition, tell) as exact:
        if number is None:
            raise OperatorError(f"--dive: say which, {_dives_of(exact)}")
        dive = exact.dive(number)
        made = exact_report(expedition.plan.expedition, expedition.ship, exact, dive, tell)
    page = report_html(made)
    if recipients:
        encrypt_stream(lambda out: _put(out, page), options.html, recipients, over=options.force)
    else:
        _write(page, options, PRIVATE_MODE)


def _put(out: BinaryIO, page: str) -> None:
    out.write(page.encode())


def _dives_of(exact: ExactDives) -> str:
    count = len(exact.dives)
    return f"from 1 to {count}" if count else "though the journal has no dive yet"


def check_free(to: Path, *, force: bool, encrypted: bool) -> None:
    """Refuse to write over what is there; with `force` over anything but a report: OperatorError says what to do."""
    if not to.exists() and not to.is_symlink():
        return
    if not force:
        raise OperatorError(f"{to} is there already: name another file, or add --force")
    if to.is_symlink() or not to.is_file() or not _is_report(to, encrypted):
        kind = "no encrypted file" if encrypted else "no report"
        raise OperatorError(f"{to} is {kind}, and --force writes over nothing else: name another file")


def _is_report(path: Path, encrypted: bool) -> bool:
    with path.open("rb") as file:
        head = file.read(HEAD_OCTETS)
    return head.startswith(_LOCKED) if encrypted else _TITLE.search(head) is not None


def _write(page: str, options: argparse.Namespace, mode: int) -> None:
    """Write a page whole or not at all; OperatorError where it can't be."""
    with new_file(options.html, over=options.force, mode=mode) as file:
        file.write(page.encode())
