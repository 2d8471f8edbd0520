"""`offing prove`: open rows of the exact record to somebody, provably as they were sealed in a released recording.

Rules: a proof opens the rows that are asked for and tells of no other. Each is proved by the earliest seal of the dive
over it, for that says most; the proof is read back and checked as whoever gets it will, before it is called written.
"""

import argparse
import re
import sqlite3
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from relay.core.decision import Target, read_decision
from relay.core.errors import OperatorError, RegrownError
from relay.core.find import Find
from relay.core.minute_tree import Evidence
from relay.core.model import Row
from relay.core.proof import PROOF_LIMIT, Proof, Proved, is_proof, write_proof
from relay.core.record_log import inclusion
from relay.core.release import Kind
from relay.shell.locked.locking import encrypt_stream, recipients_of
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
from relay.shell.record.exact_place import check_exact_place
from relay.shell.record.import_log import expedition_file
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.journal import Minute
from relay.shell.record.whole_file import new_file

_AGE = b"age-encryption.org/v1"
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


@dataclass(frozen=True, slots=True)
class _Sealing:
    """A recording that seals all the rows asked for, each by the seal in its place, and whether it has its end."""

    dive: int
    path: Path
    ended: bool
    seals: tuple[Sealed, ...]


def prove(options: argparse.Namespace) -> int:
    """Write the proof that `options` ask for."""
    expedition = read_expedition(expedition_file(options.expedition), options.secrets_key)
    if options.audience not in {policy.audience for policy in expedition.plan.policies}:
        raise OperatorError(f"{expedition.path} has no audience {options.audience!r}: name one that it has")
    _check_out(options, expedition)
    site = _site(expedition)
    rows = _wanted(options, site)
    sealing, proof = _proof(expedition, options, site, rows)
    data = write_proof(proof)
    if faults := judge(data, {sealing.path: sealing.path.read_bytes()}).faults:
        raise OperatorError("the proof doesn't hold, and wasn't written: " + "; ".join(faults))
    if len(data) > PROOF_LIMIT:
        raise OperatorError(f"the proof would have more than {PROOF_LIMIT >> 20} MiB: let fewer rows be proved by each")
    _write(options, data)
    print(options.out)
    _say(rows, sealing, bool(options.to))
    return 0


def _check_out(options: argparse.Namespace, expedition: Expedition) -> None:
    """Refuse a place where an exact file mustn't lie, and to write over what is no proof."""
    if options.to:
        recipients_of(options.to)
    check_exact_place(options.out, expedition, encrypted=bool(options.to), over=options.force)
    if options.out.is_file():
        with options.out.open("rb") as file:
            begin = file.read(len(_AGE))
        if not is_proof(begin) and begin != _AGE:
            raise OperatorError(f"{options.out} is no proof, and --force writes over none but one: give another name")


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
    named: list[tuple[type[Target | Find], str]] = [(Target, name) for name in options.target]
    named += [(Find, name) for name in options.find]
    if named:
        decisions = decisions_of(site.journal)
        for what, name in named:
            found = [row for row in decisions if _is_about(row, what, name)]
            if not found:
                word = what.__name__.lower()
                raise OperatorError(f"the journal has no {word} {name!r}: write its name as it was given")
            rows += found
    if not rows:
        raise OperatorError("name what is to be proved: --record, --target or --find")
    return sorted({row.seq: row for row in rows}.values(), key=lambda row: row.seq)


def _is_about(row: Row, what: type[Target | Find], name: str) -> bool:
    try:
        told = read_decision(row.data)
    except (OperatorError, ValueError, RecursionError):
        return False
    return isinstance(told, what) and told.name == name


def _proof(
    expedition: Expedition, options: argparse.Namespace, site: _Site, rows: Sequence[Row]
) -> tuple[_Sealing, Proof]:
    """Return the first recording of the audience (or that of the dive asked for) that seals all rows, and the proof.

    One that has its end goes before one of a dive under way: it proves without more words, and stays as it is.
    """
    audience, heads = options.audience, heads_over(minute.root for minute in site.minutes)
    sealed_upto, found = 0, list[_Sealing]()
    for number, path in _recordings(expedition.released / audience, options.dive):
        records = list(records_of(path.read_bytes()))
        seals = list(seals_in(records, audience, site.evidence, heads))
        sealing = [seal for row in rows if (seal := _earliest(site, row, seals)) is not None]
        sealed_upto = max([sealed_upto, *(seal.minutes or 0 for seal in seals)])
        if len(sealing) == len(rows):
            found.append(_Sealing(number, path, records[-1].kind == Kind.END, tuple(sealing)))
    if found:
        best = next((one for one in found if one.ended), found[0])
        pairs = zip(rows, best.seals, strict=True)
        proved = tuple(_proved(site, row, seal, audience, best.dive) for row, seal in pairs)
        return best, Proof(expedition.plan.expedition, audience, best.dive, proved)
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


def _earliest(site: _Site, row: Row, seals: Sequence[Sealed]) -> Sealed | None:
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


def _write(options: argparse.Namespace, data: bytes) -> None:
    if options.to:
        encrypt_stream(lambda out: _put(out, data), options.out, options.to, over=options.force)
        return
    with new_file(options.out, over=options.force) as file:
        file.write(data)


def _put(out: BinaryIO, data: bytes) -> None:
    out.write(data)


def _say(rows: Sequence[Row], sealing: _Sealing, encrypted: bool) -> None:
    """Say what was opened, to whom it may go, and how it is checked."""
    count = "1 row" if len(rows) == 1 else f"{len(rows)} rows"
    more = "" if sealing.ended else " --unfinished"
    said = [
        f"It opens {count} of the exact record, as exact as received, and nothing of another: it is as private as",
        "what it opens. It tells besides the numbers of these rows and of the minutes up to its seal. Whoever gets it",
        "needs the recording and the ship's key, too, which are public:",
    ]
    said += ["  offing open PROOF.age --identity KEYFILE --out PROOF     (they alone can)"] if encrypted else []
    said += [f"  offing verify PROOF {sealing.path.name} --key KEY{more}     (KEY: what `offing key` prints)"]
    print("\n".join(said), file=sys.stderr)
