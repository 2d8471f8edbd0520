"""`offing journal verify`: the whole exact record of a site checked, with where it is wrong.

Rules: read-only, whether the relay runs or not; every check is made even if another failed, and each fault is told with
its place. A journal that wasn't closed cleanly has no sums: that is said, and all else is checked. Bounded: a minute's
rows are in memory, never the journal.
"""

import argparse
import contextlib
import re
import sqlite3
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from hashlib import file_digest
from pathlib import Path

from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from relay.core.errors import OperatorError, RecordingError
from relay.core.minute_roots import closed_minutes
from relay.core.minute_tree import MINUTE_US, Evidence
from relay.core.model import Row, RowKind
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.core.verification import examine
from relay.shell.exit_code import FAULT
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.proofs.journal_pages import Place, rows_between
from relay.shell.proofs.journal_seals import heads_over, seals_in, site_secrets
from relay.shell.proofs.sums import NAME as SUMS
from relay.shell.proofs.sums import Span, damaged, read_sums
from relay.shell.proofs.verifying import records_of
from relay.shell.record.import_log import expedition_file
from relay.shell.record.journal import LAST, Minute, read_marks, read_minutes
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.read_only import reading
from relay.shell.record.recovered import recovered_logs
from relay.shell.released.printable import printable

MOST_FAULTS = 20
ORIGINALS = ("stills", "finds")
_DIGEST = re.compile("[0-9a-f]{64}")
# What reading a damaged database may raise: SQLite's own, and texts (its messages, too) that are no texts any more.
UNREADABLE = (sqlite3.Error, ValueError, KeyError, TypeError)
_TYPES = (int, int, float, str, str, bytes)
Step = Callable[[int], None]


@dataclass(slots=True)
class Report:
    """What was checked, a line each, and what is wrong with it."""

    lines: list[str] = field(default_factory=list)
    faults: int = 0

    def add(self, told: str, faults: Sequence[str] = ()) -> None:
        """Tell of one check that was made, and what it found wrong."""
        self.lines.append(told if faults else f"{told}: good")
        self.lines += [f"  WRONG: {fault}" for fault in faults[:MOST_FAULTS]]
        if len(faults) > MOST_FAULTS:
            self.lines.append(f"  WRONG: and {len(faults) - MOST_FAULTS} more")
        self.faults += len(faults)


def verify_journal(options: argparse.Namespace) -> int:
    """Check the exact record of the expedition in `options`, and say what was found; 2 if anything is wrong."""
    expedition = read_expedition(expedition_file(options.expedition), options.secrets_key)
    with _progress() as progress:
        task = progress.add_task("checking", total=None)
        report = check(expedition, lambda rows: progress.update(task, completed=rows))
    print("\n".join(report.lines))
    print("\nNOT VERIFIED: see what is wrong above." if report.faults else "\nVerified: the exact record is whole.")
    return FAULT if report.faults else 0


def check(expedition: Expedition, step: Step = lambda rows: None) -> Report:
    """Check the exact record of a site; `step` is told now and then how many rows were read."""
    journal = expedition.private / JOURNAL
    if not journal.exists():
        raise OperatorError(f"{journal} isn't there: nothing was received yet")
    report = Report()
    _check_sums(journal, report)
    _check_file(journal, report)
    secrets = _secrets(expedition, report)
    roots = _check_rows(journal, None if secrets is None else Evidence(secrets.evidence_key), report, step)
    if secrets is not None:
        _check_recordings(expedition, secrets, roots, report)
    _check_logs(expedition.private, report)
    _check_originals(expedition.private, report)
    return report


def _progress() -> Progress:
    columns = (SpinnerColumn(), TextColumn("{task.description}: {task.completed} rows"), TimeElapsedColumn())
    return Progress(*columns, console=Console(stderr=True), transient=True)


def _check_sums(journal: Path, report: Report) -> None:
    """Check every byte of the file, if it was closed cleanly."""
    try:
        sums = read_sums(journal)
    except OperatorError as error:
        report.add(f"{journal}: its sums can't be used", [printable(str(error))])
        return
    if sums is None:
        why = "a relay has it open, or wasn't ended cleanly" if journal.with_name(SUMS).exists() else "it has none yet"
        report.lines.append(f"{journal}: not checked byte by byte, for there are no sums ({why})")
        return
    if _last_row(journal) > sums.last_row:  # a bit that made it seem so leaves rows missing, which is told apart
        why = f"its sums are of when it had {sums.last_row} rows: an Offing that knew of none wrote it since"
        report.lines.append(f"{journal}: not checked byte by byte, for {why}")
        return
    faults = [_place(journal, span, sums.last_row) for span in damaged(journal, sums)]
    if faults and read_sums(journal) is None:
        report.lines.append(f"{journal}: not checked byte by byte, for a relay opened it meanwhile")
        return
    report.add(f"{journal}: {sums.octets} bytes, as they were when it was closed", faults)


def _last_row(journal: Path) -> int:
    """Return the number of the last row, 0 where it can't be read."""
    try:
        with _open(journal) as database:
            (last,) = database.execute("SELECT max(seq) FROM row").fetchone()
    except UNREADABLE:
        return 0
    return last if isinstance(last, int) else 0


def _place(journal: Path, span: Span, last_row: int) -> str:
    """Say where the file was altered: bytes, rows, minutes."""
    try:
        before, after = rows_between(journal, span.first, span.last)
    except OSError:
        before = after = None
    first, last = (before.row + 1 if before else 1), (after.row - 1 if after else last_row)
    rows = f"rows {first} to {last}" if first <= last else f"between rows {last} and {first}"
    return f"bytes {span.first} to {span.last} were altered: {rows}{_minutes(before, after)}"


def _minutes(before: Place | None, after: Place | None) -> str:
    known = [place.minute for place in (before, after) if place is not None and place.minute is not None]
    if len(known) < 2:
        return "" if not known else f", about minute {known[0]} of its clock"
    return f", minute {known[0]} of its clock" if known[0] == known[1] else f", minutes {known[0]} to {known[1]}"


def _check_file(journal: Path, report: Report) -> None:
    """Let SQLite check its own structure."""
    try:
        with _open(journal) as database:
            found = [str(line) for (line,) in database.execute("PRAGMA integrity_check(20)")]
    except UNREADABLE as error:
        found = [printable(str(error))]
    report.add(f"{journal}: its structure, by SQLite", [] if found == ["ok"] else list(map(printable, found)))


@contextlib.contextmanager
def _open(journal: Path) -> Iterator[sqlite3.Connection]:
    with reading(journal) as database:
        database.text_factory = lambda data: data.decode("utf-8", "replace")  # a text that was damaged breaks a seal
        yield database


def _secrets(expedition: Expedition, report: Report) -> Secrets | None:
    try:
        return site_secrets(expedition.private, expedition.secrets_key)
    except (OperatorError, *UNREADABLE) as error:
        report.add("its seals: not checked", [printable(str(error))])
        return None


def _check_rows(journal: Path, evidence: Evidence | None, report: Report, step: Step) -> list[bytes]:
    """Check the rows, and the seal of each minute anew; return the minutes' roots as the rows give them."""
    faults, closed, count = list[str](), list[Minute](), 0

    def counted() -> Iterator[Row]:
        nonlocal count
        for row in _rows(journal, faults):
            count += 1
            if count % 1_000 == 0:
                step(count)
            yield row

    try:
        if evidence is None:
            deque(counted(), maxlen=0)
        else:
            for minute in closed_minutes(evidence, counted(), _last_us(journal)):
                closed.append(Minute(*minute))
    except UNREADABLE as error:
        faults.append(f"after row {count}: {printable(str(error))}: what follows wasn't checked")
    report.add(f"{journal}: {count} rows, without a gap and in order", faults)
    if evidence is not None:
        _check_minutes(journal, closed, report)
    return [minute.root for minute in closed]


def _last_us(journal: Path) -> int:
    """Return how far the journal's clock had come by its last beat; 0 where that can't be read, which is told apart."""
    try:
        return int(read_marks(journal).get(LAST, 0))
    except UNREADABLE:
        return 0


def _rows(journal: Path, faults: list[str]) -> Iterator[Row]:
    """Yield the rows that can be read; add what is wrong with the others, and with their order."""
    due, latest_us = 1, 0
    with _open(journal) as database:
        for values in database.execute("SELECT seq, embargo_us, wall_s, source, kind, data FROM row ORDER BY seq"):
            seq = values[0]
            if seq != due:
                faults.append(f"row {due}: missing" if seq == due + 1 else f"rows {due} to {seq - 1}: missing")
            due = seq + 1
            if tuple(map(type, values)) != _TYPES or values[4] not in list(RowKind):
                faults.append(f"row {seq}: it holds what no row holds")
                continue
            if values[1] < latest_us:
                faults.append(f"row {seq}: received before the row before it, in minute {values[1] // MINUTE_US}")
                continue
            latest_us = values[1]
            yield Row(seq, values[1], values[2], values[3], RowKind(values[4]), values[5])


def _check_minutes(journal: Path, closed: Sequence[Minute], report: Report) -> None:
    """Compare what the relay noted of each minute with what its rows come to now."""
    faults, noted = list[str](), list[Minute]()
    grown = {minute.minute: minute for minute in closed}
    try:
        noted += read_minutes(journal)
    except UNREADABLE as error:
        faults.append(f"the minutes' seals can't be read: {printable(str(error))}")
    for minute in noted:
        if grown.get(minute.minute) != minute:
            before = grown.get(minute.minute - 1)
            rows = f"rows {before.last_seq + 1 if before else 1} to {minute.last_seq}"
            faults.append(f"minute {minute.minute} of the journal's clock: {rows} aren't those that it was sealed with")
    report.add(f"{journal}: {len(noted)} minutes sealed, each with its rows", faults)


def _check_recordings(expedition: Expedition, secrets: Secrets, roots: Sequence[bytes], report: Report) -> None:
    """Check each released recording: its signatures, and each seal in it."""
    evidence, heads = Evidence(secrets.evidence_key), heads_over(roots)
    key = Signer(secrets.signing_seed).key
    for policy in expedition.plan.policies:
        for path in sorted((expedition.released / policy.audience).glob("dive-*.recording")):
            try:
                data = path.read_bytes()
                faults = [*examine(data, key).faults]
            except (OSError, RecordingError) as error:
                report.add(f"{path}: can't be read", [printable(str(error))])
                continue
            seals = list(seals_in(records_of(data), policy.audience, evidence, heads))
            faults += [
                f"record {seal.seq} (dive time {seal.elapsed_s:g} s): it seals another record than this journal's"
                for seal in seals
                if seal.minutes is None
            ]
            report.add(f"{path}: {len(seals)} seals of the exact record", faults)


def _check_logs(private: Path, report: Report) -> None:
    """Check the digests of the logs that were imported."""
    try:
        logs = recovered_logs(private)
    except (OperatorError, *UNREADABLE) as error:
        report.add("imported logs: can't be read", [printable(str(error))])
        return
    octets = sum(len(log.data) for log in logs)
    report.add(f"imported logs: {len(logs)}, {octets} bytes, each with its digest")


def _check_originals(private: Path, report: Report) -> None:
    """Check the files that are kept under their own digest: the originals of stills, and what came with finds."""
    faults, count = list[str](), 0
    for path in sorted(path for folder in ORIGINALS for path in (private / folder).glob("*") if path.is_file()):
        if (named := _DIGEST.match(path.name)) is None:
            continue
        count += 1
        try:
            with path.open("rb") as file:
                found = file_digest(file, "sha256").hexdigest()
        except OSError as error:
            faults.append(f"{path} can't be read: {error.strerror}")
        else:
            faults += [] if found == named[0] else [f"{path} was altered: its name is the digest that it had"]
    report.add(f"originals of stills, and files of finds: {count}, each with its digest", faults)
