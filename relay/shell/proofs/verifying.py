"""What a proof proves beside a recording, in plain words; used by `offing verify`.

Rules: from the two files alone; each row is judged by itself, and what is wrong is told with its place in the proof.
What isn't proved is said, too: that a clock or an instrument was right, and when somebody had the recording.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from relay.core.errors import ProofError, RecordingError
from relay.core.proof import Proof, Proved, read_proof, record_words
from relay.core.release import Kind
from relay.core.wire import WireRecord, decode, is_footer, objects
from relay.shell.proofs.row_words import row_words
from relay.shell.released.printable import printable

NOT_PROVED = (
    "What that doesn't prove: that the ship's clock or the instrument was right, that nothing was left out of her",
    "record, or when somebody ashore got the recording. Whoever had it at a moment knows that the rows are no younger.",
)
_LONGEST_S = 1e9


@dataclass(frozen=True, slots=True)
class Judged:
    """What is to be said of a proof: in one line, what is wrong, and what each row that is proved says."""

    told: str
    faults: tuple[str, ...]
    proved: tuple[str, ...] = ()


def judge(
    data: bytes,
    recordings: Mapping[Path, bytes],
    wrong: Collection[tuple[str, int]] = (),
    stranger: bytes | None = None,
) -> Judged:
    """Judge a proof by the recordings that were given with it and are faultless, all signed with one key.

    `wrong`: of which audience and dive others were given, that prove nothing. `stranger`: the key, where nobody says
    that it is the ship's.
    """
    try:
        proof = read_proof(data)
    except ProofError as error:
        return Judged("a proof", (str(error),))
    count = len(proof.records)
    rows = "1 row" if count == 1 else f"{count} rows"
    told = f"a proof of {rows} of the exact record: {printable(proof.expedition)}, dive {proof.dive} for "
    records = _of_the_dive(proof, recordings)
    if not records:
        which = f"the recording of dive {proof.dive} for {printable(proof.audience)}"
        fault = f"{which} isn't among the files: give it, too"
        if (proof.audience, proof.dive) in wrong:
            fault = f"not proved: {which} isn't the ship's, was altered, or isn't whole: see there"
        return Judged(told + printable(proof.audience), (fault,))
    numbered = list(enumerate(proof.records, 1))
    faults = {number: why for number, proved in numbered if (why := _fault(proved, records)) is not None}
    good = [proved for number, proved in numbered if number not in faults]
    return Judged(
        told + printable(proof.audience),
        tuple(f"{record_words(proof, number)}: {why}" for number, why in faults.items()),
        tuple(line for proved in good for line in _proved(proved, records[proved.sealed_by], stranger)),
    )


def _of_the_dive(proof: Proof, recordings: Mapping[Path, bytes]) -> dict[int, WireRecord]:
    """Return the records, by number, of the recording that a proof is about; none if it isn't there."""
    for data in recordings.values():
        records = list(records_of(data))
        body = records[0].body if records else None
        named = (body.get("expedition"), body.get("audience")) if isinstance(body, dict) else None
        if named == (proof.expedition, proof.audience) and records[0].dive == proof.dive:
            return {record.seq: record for record in records}
    return {}


def records_of(data: bytes) -> Iterator[WireRecord]:
    """Yield the records of a recording that can be read, up to the first that can't: what is wrong `verify` tells."""
    try:
        for value, start, end in objects(data):
            if is_footer(value):
                return
            yield decode(data[start:end])
    except RecordingError:
        return


def _fault(proved: Proved, records: Mapping[int, WireRecord]) -> str | None:
    """Return why a row isn't proved, None if it is."""
    sealing = records.get(proved.sealed_by)
    if sealing is None or sealing.kind != Kind.HEAD:
        return f"it names record {proved.sealed_by} of the dive, which is no seal of the exact record there"
    if proved.head is None:
        return "its hashes lead nowhere: a path is too long or too short"
    if sealing.body != [proved.head]:
        return (
            f"its hashes don't lead to the seal in record {proved.sealed_by} of the dive: the row, its salt or a hash "
            "was altered, or it is of another journal"
        )
    return None


def _proved(proved: Proved, sealing: WireRecord, stranger: bytes | None) -> Iterator[str]:
    row = proved.row
    begin = f"PROVED: row {row.seq} of the ship's journal, byte for byte as below, was in her"
    if stranger is not None:
        whose = f"whoever holds the key {stranger.hex()}"
        begin = f"Sealed by {whose}: row {row.seq} of a journal, byte for byte as below, was in that"
    when = f"sealed by record {sealing.seq} of the dive (dive time {_clock(sealing.elapsed_s)})"
    yield f"{begin} exact record before it was {when}"
    yield from (f"  {line}" for line in row_words(row))


def _clock(elapsed_s: object) -> str:
    if not isinstance(elapsed_s, int | float) or not 0 <= elapsed_s < _LONGEST_S:
        return "not told"
    minutes, seconds = divmod(int(elapsed_s), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"
