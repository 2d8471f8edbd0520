"""`offing journal verify`: the whole exact record of a site checked, with where it is wrong.

Rules: read-only, whether the relay runs or not; every check is made even if another failed, and each fault is told with
its place. All of the journal is read as one moment has it, and recordings as long as they were before that. A journal
that wasn't closed cleanly has no sums: that is said, and all else is checked. What no released seal bears out is said,
too: whoever has the disk can make that anew. Bounded: a minute's rows are in memory, never the journal.
"""

import argparse
import sqlite3
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from relay.core.decision import read_decision
from relay.core.errors import OperatorError
from relay.core.find import FileReference, Find
from relay.core.minute_roots import closed_minutes
from relay.core.minute_tree import MINUTE_US, Evidence
from relay.core.model import Row, RowKind
from relay.core.record_log import noted_run
from relay.core.secrets import Secrets
from relay.shell.exact.telling import telling
from relay.shell.exit_code import FAULT
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.proofs.checking_files import (
    UNREADABLE,
    Checked,
    files_of_finds,
    imported_logs,
    lengths,
    originals,
    programmes,
    recordings,
)
from relay.shell.proofs.journal_pages import Place, rows_between
from relay.shell.proofs.journal_seals import heads_over, site_secrets
from relay.shell.proofs.sums import NAME as SUMS
from relay.shell.proofs.sums import Span, damaged, read_sums
from relay.shell.record.import_log import expedition_file
from relay.shell.record.journal import LAST, Minute, marks_in, minutes_in
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.read_only import last_row, reading, snapshot
from relay.shell.released.printable import printable

MOST_FAULTS = 20
_TYPES = (int, int, float, str, str, bytes)
_BEARS_OUT_NOTHING = "whoever writes this disk can make that anew; compare with a recording that somebody ashore has"
Step = Callable[[int], None]


@dataclass(slots=True)
class Report:
    """What was checked, a line each, and what is wrong with it. `proved`: up to which row released seals bear out."""

    lines: list[str] = field(default_factory=list)
    faults: int = 0
    rows: int = 0
    proved: int = 0

    def add(self, told: str, faults: Sequence[str] = ()) -> None:
        """Tell of one check that was made, and what it found wrong."""
        self.lines.append(told if faults else f"{told}: good")
        self.lines += [f"  WRONG: {fault}" for fault in faults[:MOST_FAULTS]]
        if len(faults) > MOST_FAULTS:
            self.lines.append(f"  WRONG: and {len(faults) - MOST_FAULTS} more")
        self.faults += len(faults)

    def take(self, checked: Checked) -> None:
        """Tell of a check that was made elsewhere."""
        self.add(checked.told, checked.faults)

    @property
    def verdict(self) -> str:
        """What all of it comes to."""
        if self.faults:
            return "NOT VERIFIED: see what is wrong above."
        if self.proved >= self.rows:
            every = f"released seals bear out every row, 1 to {self.rows}" if self.rows else "there is no row yet"
            return f"Verified: nothing is wrong, and {every}."
        until = f"released seals bear out rows 1 to {self.proved}" if self.proved else "no released seal is here"
        return (
            f"Verified: nothing is wrong; {until}.\n"
            f"Nothing outside this disk bears out rows {self.proved + 1} to {self.rows}: {_BEARS_OUT_NOTHING}."
        )


@dataclass(slots=True)
class _Read:
    """What was read of the journal: a leaf of its log for each minute, and the files that finds tell of."""

    minutes: list[Minute] = field(default_factory=list)
    files: list[tuple[int, str, FileReference]] = field(default_factory=list)


def verify_journal(options: argparse.Namespace) -> int:
    """Check the exact record of the expedition in `options`, and say what was found; 2 if anything is wrong."""
    expedition = read_expedition(expedition_file(options.expedition), options.secrets_key)
    with telling() as tell:
        report = check(expedition, lambda rows: tell("checking rows", rows))
    print("\n".join(report.lines))
    print(f"\n{report.verdict}")
    return FAULT if report.faults else 0


def check(expedition: Expedition, step: Step = lambda rows: None) -> Report:
    """Check the exact record of a site; `step` is told now and then how many rows were read."""
    journal = expedition.private / JOURNAL
    if not journal.exists():
        raise OperatorError(f"{journal} isn't there: nothing was received yet")
    if _is_closed(journal):  # then nothing need be laid beside it
        report = _checked(expedition, journal, step, unchanging=True)
        if _is_closed(journal):
            return report  # else a relay has opened it meanwhile
    return _checked(expedition, journal, step, unchanging=False)


def _is_closed(journal: Path) -> bool:
    """Whether a relay closed the journal cleanly and none has opened it since."""
    sums = journal.with_name(SUMS)
    return sums.exists() and sums.stat().st_size > 0 and not _waiting(journal)


def _waiting(journal: Path) -> int:
    """Return how many bytes lie in the write-ahead log beside a journal."""
    log = journal.with_name(f"{JOURNAL}-wal")
    return log.stat().st_size if log.exists() else 0


def _checked(expedition: Expedition, journal: Path, step: Step, *, unchanging: bool) -> Report:
    report, released, read, secrets = Report(), lengths(expedition), _Read(), None
    _check_sums(journal, report)
    _check_file(journal, report, unchanging)
    try:
        with reading(journal, unchanging=unchanging) as database:
            secrets = _secrets(expedition, report, database)
        with snapshot(journal, unchanging=unchanging) as database:
            database.text_factory = _as_text
            read = _check_rows(journal, database, secrets, report, step)
    except UNREADABLE as error:
        report.add(f"{journal}: can't be read", [printable(str(error))])
    if secrets is not None:
        _check_released(expedition, released, secrets, read.minutes, report)
    report.take(imported_logs(expedition.private))
    report.take(originals(expedition.private))
    report.take(files_of_finds(expedition.private, read.files))
    return report


def _as_text(data: bytes) -> str:
    return data.decode("utf-8", "replace")  # a text that was damaged breaks a seal


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
    if octets := _waiting(journal):
        faults.append(
            f"bytes 0 to {octets - 1} of {JOURNAL}-wal: a journal that was closed has none, and they are read in place "
            "of its own: move that file elsewhere, and check again"
        )
    if faults and read_sums(journal) is None:
        report.lines.append(f"{journal}: not checked byte by byte, for a relay opened it meanwhile")
        return
    report.add(f"{journal}: {sums.octets} bytes, as they were when it was closed", faults)


def _last_row(journal: Path) -> int:
    """Return the number of the last row, 0 where it can't be read."""
    try:
        with reading(journal, unchanging=not _waiting(journal)) as database:
            return last_row(database)
    except UNREADABLE:
        return 0


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


def _check_file(journal: Path, report: Report, unchanging: bool) -> None:
    """Let SQLite check its own structure."""
    try:
        with reading(journal, unchanging=unchanging) as database:
            database.text_factory = _as_text
            found = [str(line) for (line,) in database.execute("PRAGMA integrity_check(20)")]
    except UNREADABLE as error:
        found = [printable(str(error))]
    report.add(f"{journal}: its structure, by SQLite", [] if found == ["ok"] else list(map(printable, found)))


def _secrets(expedition: Expedition, report: Report, database: sqlite3.Connection) -> Secrets | None:
    try:
        return site_secrets(expedition.private, expedition.secrets_key, marks_in(database))
    except (OperatorError, *UNREADABLE) as error:
        report.add("its seals: not checked", [printable(str(error))])
        return None


def _check_rows(
    journal: Path, database: sqlite3.Connection, secrets: Secrets | None, report: Report, step: Step
) -> _Read:
    """Check the rows, and the seal of each minute anew; return the minutes as the rows give them, and what they tell.

    One minute more is closed than the clock had come to: the last beat may be older than what was released since.
    """
    faults, read, count = list[str](), _Read(), 0

    def counted() -> Iterator[Row]:
        nonlocal count
        for row in _rows(database, faults):
            count += 1
            if count % 1_000 == 0:
                step(count)
            read.files += _files_in(row)
            yield row

    noted = _noted(database, faults)
    try:
        if secrets is None:
            deque(counted(), maxlen=0)
        else:
            upto_us = max(_last_us(database), noted[-1].minute * MINUTE_US if noted else 0) + MINUTE_US
            for minute in closed_minutes(Evidence(secrets.evidence_key), counted(), upto_us):
                read.minutes.append(Minute(*minute))
    except UNREADABLE as error:
        faults.append(f"after row {count}: {printable(str(error))}: what follows wasn't checked")
    report.rows = count
    report.add(f"{journal}: {count} rows, in order", faults)
    if secrets is not None:
        _check_minutes(journal, read.minutes, noted, report)
    return read


def _noted(database: sqlite3.Connection, faults: list[str]) -> list[Minute]:
    try:
        return list(minutes_in(database))
    except UNREADABLE as error:
        faults.append(f"the minutes' seals can't be read: {printable(str(error))}")
        return []


def _last_us(database: sqlite3.Connection) -> int:
    """Return how far the journal's clock had come by its last beat; 0 where that can't be read, which is told apart."""
    try:
        return int(marks_in(database).get(LAST, 0))
    except UNREADABLE:
        return 0


def _files_in(row: Row) -> Iterator[tuple[int, str, FileReference]]:
    """Yield the files that a row tells of, if it records a find."""
    if row.kind is not RowKind.DECISION:
        return
    try:
        told = read_decision(row.data)
    except (OperatorError, ValueError, RecursionError):
        return  # of another Offing; what it says isn't judged here
    if isinstance(told, Find):
        files = [*(told.photographs or ()), *(drawing.file for drawing in told.drawings or ())]
        yield from ((row.seq, told.name, file) for file in files if file is not None)


def _rows(database: sqlite3.Connection, faults: list[str]) -> Iterator[Row]:
    """Yield the rows that can be read; add what is wrong with the others, and with their order."""
    due, latest_us = 1, 0
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


def _check_minutes(journal: Path, closed: Sequence[Minute], noted: Sequence[Minute], report: Report) -> None:
    """Compare what the relay noted of each minute with what its rows come to now, and that it noted each."""
    grown, faults = {minute.minute: minute for minute in closed}, list[str]()
    for minute in noted:
        if grown.get(minute.minute) != minute:
            before = grown.get(minute.minute - 1)
            rows = f"rows {before.last_seq + 1 if before else 1} to {minute.last_seq}"
            faults.append(f"minute {minute.minute} of the journal's clock: {rows} aren't those that it was sealed with")
    run = len(noted_run(noted)[0])
    if not faults and run < len(noted):
        faults.append(f"before minute {noted[run].minute} of the journal's clock: the seals of minutes are missing")
    if not noted and closed:
        report.lines.append(f"{journal}: no minute's seal was noted: by them its rows can't be checked")
        return
    report.add(f"{journal}: {len(noted)} minutes sealed, each with its rows", faults)


def _check_released(
    expedition: Expedition,
    released: dict[tuple[str, Path], int],
    secrets: Secrets,
    minutes: Sequence[Minute],
    report: Report,
) -> None:
    """Check what was released, and note up to which row its seals bear the journal out."""
    borne = 0
    for checked in recordings(released, secrets, heads_over(minute.root for minute in minutes)):
        report.take(checked)
        borne = max(borne, checked.borne)
    report.proved = minutes[borne - 1].last_seq if borne else 0
    for checked in programmes(expedition, secrets):
        report.take(checked)
