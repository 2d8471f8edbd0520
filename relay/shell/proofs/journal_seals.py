"""What sealed a site's exact record: the roots of its minutes, and which of them each released head is over.

Rules: read-only, whether the relay runs or not. A root that the relay noted is taken for what it is until a head that
was released over it bears it out; what it didn't note, as before there were seals, is grown from the rows.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from relay.core.errors import SecretsError
from relay.core.merkle import Frontier, leaf_hash, node_hash
from relay.core.minute_tree import MINUTE_US, Evidence
from relay.core.model import Row
from relay.core.record_log import RecordLog, noted_run
from relay.core.release import MICROSECONDS, Kind
from relay.core.secrets import Secrets
from relay.core.wire import WireRecord
from relay.shell.record.journal import LAST, Minute, read_decisions_from, read_marks, read_minutes, read_rows
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.secrets_file import MARK, NAME, open_secrets, secrets_path


@dataclass(frozen=True, slots=True)
class Sealed:
    """A released record that seals the exact record: its number in its dive, its dive time in seconds and in minutes.

    `minutes`: over how many minutes of the journal it is, from the first; None: over none that this journal has.
    """

    seq: int
    elapsed_s: float
    dive_minute: int
    minutes: int | None


def site_secrets(private: Path, key: Path | None, marks: Mapping[str, str] | None = None) -> Secrets:
    """Return the secrets with which a site's journal was written; SecretsError where it has none, or others.

    `key`: what opens them where they are encrypted; without it a passphrase is asked for. `marks`: the journal's,
    where they have been read.
    """
    if secrets_path(private) is None:
        raise SecretsError(f"{private / NAME} is missing: without it nothing of the journal can be checked or proved")
    known = read_marks(private / JOURNAL) if marks is None else marks
    return open_secrets(private, known.get(MARK), key)


def minutes_of(journal: Path, evidence: Evidence) -> list[Minute]:
    """Return what the whole minutes of a journal came to, a leaf each: as noted, and grown where they weren't."""
    until_us = int(read_marks(journal).get(LAST, 0))  # before the rows: they are all there up to it
    noted, start = noted_run(read_minutes(journal))
    log = RecordLog(evidence, start)
    for row in read_rows(journal, start.row):
        log.add(row)
    log.upto(until_us)
    return [Minute(*closed) for closed in (*noted, *log.take_closed())]


def rows_of(journal: Path, first: int, last: int) -> list[Row]:
    """Return the rows from number `first` to `last`, both in."""
    return list(read_rows(journal, first, last))


def decisions_of(journal: Path) -> list[Row]:
    """Return the operator's decisions."""
    return read_decisions_from(journal, 1)


def heads_over(roots: Iterable[bytes]) -> list[bytes]:
    """Return the heads of the log over its first 0, 1, 2, ... minutes, whose roots are given."""
    log = Frontier()
    heads = [log.head]
    for root in roots:
        log.append(leaf_hash(root))
        heads.append(log.head)
    return heads


def seals_in(
    records: Iterable[WireRecord], audience: str, evidence: Evidence, heads: Sequence[bytes]
) -> Iterator[Sealed]:
    """Yield what each head in a dive's records is over, by the `heads` of the journal's log (`heads_over`).

    A head over more minutes than the one before is looked for first where it must be, then everywhere.
    """
    begun: int | None = None
    for record in records:
        if record.kind != Kind.HEAD:
            continue
        minute = round(record.elapsed_s * MICROSECONDS) // MINUTE_US
        blind = evidence.blind(audience, record.dive, minute)
        likely = [at for at in (begun + minute, begun + minute + 1) if at < len(heads)] if begun is not None else []
        over = next((at for at in (*likely, *range(len(heads))) if [node_hash(heads[at], blind)] == record.body), None)
        begun = over - minute if begun is None and over is not None and over >= minute else begun
        yield Sealed(record.seq, record.elapsed_s, minute, over)
