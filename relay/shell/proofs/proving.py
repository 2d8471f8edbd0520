"""`offing prove`: open rows of the exact record to somebody, provably as they were sealed in a released recording.

Rules: a proof opens the rows that are asked for and tells of no other. Each is proved by the earliest seal of the dive
over it, for that says most; the proof is read back and checked as whoever gets it will, before it is called written.
"""

import argparse
import json
import os
import re
import sqlite3
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from relay.core.errors import OperatorError, RegrownError
from relay.core.minute_tree import Evidence
from relay.core.model import Row
from relay.core.proof import Proof, Proved, write_proof
from relay.core.record_log import inclusion
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.proofs.journal_seals import (
    Sealed,
    decisions_of,
    heads_over,
    minutes_of,
    rows_of,
    seals_in,
    site_secrets,
)
from relay.shell.proofs.verifying import judge, records_of
from relay.shell.record.import_log import expedition_file
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.journal import Minute

_DIVE = re.compile(r"dive-(\d{3,})\.recording", re.ASCII)


@dataclass(frozen=True, slots=True)
class _Site:
    """What proofs are made of: the journal, its minutes, and the key from which salts and seats are drawn."""

    journal: Path
    evidence: Evidence
    minutes: list[Minute]

    def minute_of(self, row: Row) -> int | None:
        """Return which of the minutes, from 0, has a row in its tree, None if that isn't closed yet."""
        return next((at for at, closed in enumerate(self.minutes) if closed.last_seq >= row.seq), None)


def prove(options: argparse.Namespace) -> int:
    """Write the proof that `options` ask for."""
    expedition = read_expedition(expedition_file(options.expedition), options.secrets_key)
    if options.audience not in {policy.audience for policy in expedition.plan.policies}:
        raise OperatorError(f"{expedition.path} has no audience {options.audience!r}: name one that it has")
    if options.out.exists() and not options.force:
        raise OperatorError(f"{options.out} is there already: choose another name, or write over it with --force")
    site = _site(expedition)
    rows = _wanted(options, site)
    recording, proof = _proof(expedition, options, site, rows)
    data = write_proof(proof)
    if faults := judge(data, {recording: recording.read_bytes()}).faults:
        raise OperatorError("the proof doesn't hold, and wasn't written: " + "; ".join(faults))
    _write(options.out, data)
    print(options.out)
    _say(rows, recording)
    return 0


def _site(expedition: Expedition) -> _Site:
    journal = expedition.private / JOURNAL
    if not journal.exists():
        raise OperatorError(f"{journal} isn't there: nothing was received yet")
    evidence = Evidence(site_secrets(expedition.private, expedition.secrets_key).evidence_key)
    try:
        return _Site(journal, evidence, minutes_of(journal, evidence))
    except (sqlite3.Error, ValueError, RegrownError) as error:
        raise OperatorError(f"{journal} can't be read ({error}): `offing journal verify` says where") from error


def _wanted(options: argparse.Namespace, site: _Site) -> list[Row]:
    """Return the rows that are asked for: by their numbers, and the decisions about a target or a find by its name."""
    rows = [row for seq in sorted(set(options.record)) for row in rows_of(site.journal, seq, seq)]
    if missing := sorted(set(options.record) - {row.seq for row in rows}):
        raise OperatorError(f"the journal has no row {missing[0]}: `offing journal export` tells each row's number")
    named = [("target", name) for name in options.target] + [("find", name) for name in options.find]
    if named:
        decisions = decisions_of(site.journal)
        for what, name in named:
            found = [row for row in decisions if _is_about(row, what, name)]
            if not found:
                raise OperatorError(f"the journal has no {what} {name!r}: write its name as it was given")
            rows += found
    if not rows:
        raise OperatorError("name what is to be proved: --record, --target or --find")
    return sorted({row.seq: row for row in rows}.values(), key=lambda row: row.seq)


def _is_about(row: Row, what: str, name: str) -> bool:
    try:
        value = json.loads(row.data)
    except ValueError:
        return False
    return isinstance(value, dict) and (value.get("do"), value.get("name")) == (what, name)


def _proof(expedition: Expedition, options: argparse.Namespace, site: _Site, rows: Sequence[Row]) -> tuple[Path, Proof]:
    """Return the first recording of the audience (or that of the dive asked for) that seals all rows, and the proof."""
    audience, heads = options.audience, heads_over(minute.root for minute in site.minutes)
    sealed_upto = 0
    for number, path in _recordings(expedition.released / audience, options.dive):
        seals = list(seals_in(records_of(path.read_bytes()), audience, site.evidence, heads))
        sealing = [_sealing(site, row, seals) for row in rows]
        sealed_upto = max([sealed_upto, *(seal.minutes or 0 for seal in seals)])
        if all(sealing):
            pairs = [(row, seal) for row, seal in zip(rows, sealing, strict=True) if seal is not None]
            proved = tuple(_proved(site, row, seal, audience, number) for row, seal in pairs)
            return path, Proof(expedition.plan.expedition, audience, number, proved)
    which = "no recording" if options.dive is None else f"not even dive {options.dive}"
    raise OperatorError(
        f"{which} released to {audience} seals all that is asked for: {_latest(site, rows)}, and its seals reach up to "
        f"the begin of minute {sealed_upto}. They leave with a dive's records, as late: wait for the next one, or "
        "name another audience or dive"
    )


def _latest(site: _Site, rows: Sequence[Row]) -> str:
    minute = site.minute_of(rows[-1])
    told = "a minute that isn't over" if minute is None else f"minute {minute} of the journal's clock"
    return f"row {rows[-1].seq} is of {told}"


def _recordings(folder: Path, dive: int | None) -> list[tuple[int, Path]]:
    found = [(int(named[1]), path) for path in folder.glob("dive-*.recording") if (named := _DIVE.fullmatch(path.name))]
    wanted = sorted(item for item in found if dive in (None, item[0]))
    if not wanted:
        which = "recording" if dive is None else f"recording of dive {dive}"
        raise OperatorError(f"{folder} has no {which}: a proof leads to a seal in a recording that was released")
    return wanted


def _sealing(site: _Site, row: Row, seals: Sequence[Sealed]) -> Sealed | None:
    """Return the earliest seal over a row."""
    minute = site.minute_of(row)
    if minute is None:
        return None
    return next((seal for seal in seals if seal.minutes is not None and seal.minutes > minute), None)


def _proved(site: _Site, row: Row, seal: Sealed, audience: str, dive: int) -> Proved:
    minute = site.minute_of(row)
    assert minute is not None and seal.minutes is not None
    first = site.minutes[minute - 1].last_seq + 1 if minute else 1
    beside = rows_of(site.journal, first, site.minutes[minute].last_seq)
    blind = site.evidence.blind(audience, dive, seal.dive_minute)
    try:
        way = inclusion(site.evidence, beside, row.seq, site.minutes[: seal.minutes], blind)
    except (KeyError, ValueError) as error:
        words = f"row {row.seq} can't be proved: {error}. `offing journal verify` says what is wrong"
        raise OperatorError(words) from error
    return Proved(row, site.evidence.salt(row.seq), seal.seq, way)


def _write(path: Path, data: bytes) -> None:
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
    except OSError as error:
        raise OperatorError(f"{path} can't be written: {error.strerror}") from error


def _say(rows: Sequence[Row], recording: Path) -> None:
    """Say what was opened, to whom it may go, and how it is checked."""
    count = "1 row" if len(rows) == 1 else f"{len(rows)} rows"
    print(f"It opens {count} of the exact record, as exact as received, and nothing of another: it is", file=sys.stderr)
    print("as private as what it opens. Whoever gets it needs the recording, too, which is public:", file=sys.stderr)
    print(f"  offing verify PROOF {recording.name} --key KEY     (KEY: what `offing key` prints)", file=sys.stderr)
