"""A small exact record with its released seals, and proofs of its rows: for tests of what a proof is worth."""

from collections.abc import Iterable, Sequence
from functools import cache

from dives import SECOND, SECRETS, decided, in_order, message, rows, walk
from handed_on import whole
from relay.core.decision import Target
from relay.core.minute_tree import MINUTE_US, Evidence
from relay.core.model import Row
from relay.core.proof import Proof, Proved
from relay.core.record_log import Closed, RecordLog, inclusion
from relay.core.sighting import SeenFrom, Sighted
from relay.core.target_position import RangeIs
from released import EXPEDITION, dive_with_heads

EVIDENCE = Evidence(SECRETS.evidence_key)
MINUTES = 7
BOILER = Sighted(
    bearing_deg=30.0,
    range_m=12.0,
    range_is=RangeIs.HORIZONTAL,
    bearing_sigma_deg=1.0,
    range_sigma_m=0.5,
    heading_sigma_deg=1.0,
    place_sigma_m=2.0,
    seen_from=SeenFrom(-38.61472, -21.93306, 90.0),
)


@cache
def journal_rows(seed: int = 1) -> tuple[Row, ...]:
    """Return the rows of seven minutes: a message every 5 s, and a target in minute 3."""
    steps = walk(12 * MINUTES, seed)
    reports = rows((5 * SECOND * at + 137_000, message(step, (-38.61472, -21.93306))) for at, step in enumerate(steps))
    target = Target(name="Boiler", verdict="of interest", vehicle="Lantern", sighting=BOILER)
    return tuple(in_order(reports, [decided(200 * SECOND, target)]))


def closed_minutes(journal: Iterable[Row], evidence: Evidence = EVIDENCE) -> list[Closed]:
    """Return what the whole minutes of a journal came to."""
    log = RecordLog(evidence)
    for row in journal:
        log.add(row)
    log.upto(MINUTES * MINUTE_US)
    return log.take_closed()


def released_heads(journal: Sequence[Row], audience: str = "public", dive: int = 1) -> list[bytes]:
    """Return the heads that a dive of seven minutes has: in its minute m that over the first m + 1 of the record."""
    log = RecordLog(EVIDENCE)
    for row in journal:
        log.add(row)
    return [log.released(minute + 1, audience, dive, minute) for minute in range(MINUTES)]


def sealed_recording(journal: Sequence[Row], audience: str = "public", dive: int = 1) -> bytes:
    """Return the recording of that dive."""
    frames = dive_with_heads(dive, released_heads(journal, audience, dive), audience)
    return whole([frame.data for frame in frames])


def prove(journal: Sequence[Row], numbers: Iterable[int], evidence: Evidence = EVIDENCE) -> Proof:
    """Return the proof of some rows by dive 1 for the public, each by the earliest head that is over it."""
    return Proof(EXPEDITION, "public", 1, tuple(_proved(journal, seq, evidence) for seq in numbers))


def _proved(journal: Sequence[Row], seq: int, evidence: Evidence) -> Proved:
    row = next(row for row in journal if row.seq == seq)
    minute = row.embargo_us // MINUTE_US
    beside = [other for other in journal if other.embargo_us // MINUTE_US == minute]
    closed = closed_minutes(journal, evidence)[: minute + 1]
    way = inclusion(evidence, beside, seq, closed, evidence.blind("public", 1, minute))
    return Proved(row, evidence.salt(seq), 2 + 5 * minute, way)
