"""Whether nothing was lost, doubled, put out of order or told differently (R5)."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from contextlib import suppress
from itertools import accumulate, pairwise
from pathlib import Path

from left_behind import LEFT, Left, Noted
from relay.core.errors import RecordingError
from relay.core.model import Row
from relay.core.release import Kind
from relay.core.wire import decode, read_recording
from what_ran import SHORE

Recordings = dict[str, list[Path]]


def wrong_in_journal(left: Left) -> Iterator[str]:
    """Yield what is wrong with the rows, and what they lack of what was accepted."""
    for before, row in pairwise(left.rows):
        if row.seq != before.seq + 1:
            yield f"the journal goes from row {before.seq} to row {row.seq}"
        if row.embargo_us < before.embargo_us:
            yield f"row {row.seq} has a moment before that of row {before.seq}"
    if left.rows and left.rows[0].seq != 1:
        yield f"the journal begins with row {left.rows[0].seq}"
    for source, sent in left.sent.items():
        yield from _Found(left, source, sent).wrong


def accepted_rows(left: Left) -> Iterator[tuple[str, int, Row]]:
    """Yield for all that was accepted its source, when it was sent (boot time) and the row with its last byte."""
    for source, sent in left.sent.items():
        for at_us, row in _Found(left, source, sent).rows:
            yield source, at_us, row


class _Found:
    """Where in the journal's bytes of a source that which was accepted stands, each in its turn."""

    def __init__(self, left: Left, source: str, sent: list[Noted]) -> None:
        of_source = [row for row in left.rows if row.source == source]
        self._whole = b"".join(row.data for row in of_source)
        ends = list(accumulate(len(row.data) for row in of_source))
        self.wrong: list[str] = []
        self.rows: list[tuple[int, Row]] = []
        self._rest, self._upto = list[bytes](), 0
        for number, (at_us, data) in enumerate(sent, 1):
            at = self._whole.find(data, self._upto)
            if at < 0:
                self.wrong.append(
                    f"{_how(self._whole, data)}: number {number} of what {source} had accepted, {data[:80]!r}"
                )
                continue
            self._rest.append(self._whole[self._upto : at])
            self._upto = at + len(data)
            self.rows.append((at_us, of_source[bisect_right(ends, self._upto - 1)]))
        rest = b"\0".join([*self._rest, self._whole[self._upto :]])
        self.wrong += [f"twice in the journal: {data[:80]!r} of {source}" for data in _whole_in(rest, sent)]


def _how(whole: bytes, data: bytes) -> str:
    return "out of its order in the journal" if data in whole else "not in the journal"


def _whole_in(rest: bytes, sent: list[Noted]) -> list[bytes]:
    return [data for _, data in sent if data in rest] if rest.strip(b"\0") else []


def wrong_in_recordings(left: Left) -> Iterator[str]:
    """Yield how recordings of ship and shore differ from what the journal gives again, and what they lack of it."""
    ends: list[tuple[str, Recordings, Iterable[str]]] = [("the ship", left.recordings, left.policies)]
    ends += [("the shore", left.recordings_ashore, left.audiences_ashore)] if SHORE in left.ran.processes else []
    for where, recordings, audiences in ends:
        for audience in sorted(recordings.keys() - set(audiences)):
            yield f"{where} has recordings of {audience}, whom the ship doesn't tell there"
        for audience in audiences:
            paths = recordings.get(audience, [])
            names = [path.name for path in paths]
            if names != [f"dive-{number:03d}.recording" for number in range(1, len(names) + 1)]:
                yield f"{where} has for {audience} {names}: not every dive from the first"
            yield from _wrong_in_dives(left, f"{where}'s {audience}", audience, {path.name: path for path in paths})


def _wrong_in_dives(left: Left, name: str, audience: str, paths: dict[str, Path]) -> Iterator[str]:
    """Yield what is wrong with the recordings of an audience at one end, dive by dive."""
    again = {f"dive-{dive:03d}.recording": told for dive, told in left.dives[audience].items()}
    for each in sorted(again.keys() | paths.keys()):
        told = again.get(each, [])
        yield from _wrong_in_recording(f"{name}/{each}", paths.get(each), [one[1] for one in told], left.due(told))


def _wrong_in_recording(name: str, path: Path | None, again: list[bytes], due: int) -> Iterator[str]:
    """Yield how a recording differs from what the journal gives of its dive, of which so many records were due."""
    try:
        told, is_closed = _recorded(path)
    except RecordingError as error:
        yield f"{name}: {error}"
        return
    if told != again[: len(told)]:
        yield f"{name} isn't what the journal gives again"
    elif len(told) < due:
        yield f"{name} lacks {due - len(told)} of the {due} records that were due"
    has_ended = bool(again) and due == len(again) and decode(again[-1]).kind == Kind.END
    if is_closed and len(told) != len(again):
        yield f"{name} is closed with {len(told)} records, and the journal gives {len(again)}"
    if has_ended and not is_closed:
        yield f"{name} has no end, and its dive has"


def _recorded(path: Path | None) -> tuple[list[bytes], bool]:
    """Return the records of a recording and whether it is closed; none where it isn't there, or was only begun.

    A process may be killed before it has written the first record. RecordingError where it is anything else.
    """
    if path is None or not path.stat().st_size:
        return [], False
    try:
        recording = read_recording(path.read_bytes())
    except RecordingError:
        if _only_torn(path):
            return [], False
        raise
    return [record.data for record in recording.records], recording.closed


def _only_torn(path: Path) -> bool:
    """Whether a recording is only the begin of its first record, which was never sent."""
    return path.read_bytes()[:1] == b"\x96" and path.stat().st_size < 2_048


def wrong_in_clients(left: Left) -> Iterator[str]:
    """Yield what clients lack, have twice, in another order, or differently."""
    recorded = {end: {name: _all_of(paths) for name, paths in of.items()} for end, of in _ends(left)}
    kept = {name: max(len(recorded["the ship"][name]), left.due(left.frames[name])) for name in left.policies}
    for name, receipts in left.receipts.items():
        frames = [frame for _, frame in receipts if decode(frame).dive > 0]
        if not frames:
            if any(kept.values()) and LEFT not in name:
                yield f"{name} has nothing"
            continue
        audience = _audience(frames[0])
        if audience not in left.policies:
            yield f"{name}: what came first is no begin of a dive for an audience that there is"
            continue
        yield from _in_order(name, frames)
        again = [frame for _, frame in left.frames[audience]]
        begun = next((at for at, frame in enumerate(again) if frame == frames[0]), None)
        if begun is None or frames != again[begun : begun + len(frames)]:
            yield f"{name} doesn't have the bytes that the journal gives again"
        elif LEFT not in name and begun > 0:
            yield f"{name} lacks the first {begun} records"
        elif LEFT not in name and begun + len(frames) < kept[audience]:
            yield f"{name} lacks the last {kept[audience] - begun - len(frames)} records"
        for end in ("the ship", "the shore") if name.startswith(SHORE) else ("the ship",):
            if beyond := set(frames) - set(recorded[end].get(audience, [])):
                yield f"{name} has {len(beyond)} records that aren't in a recording of {end}"


def _ends(left: Left) -> tuple[tuple[str, Recordings], ...]:
    return ("the ship", left.recordings), ("the shore", left.recordings_ashore)


def _all_of(paths: list[Path]) -> list[bytes]:
    """Return the records of these recordings; what can't be read is told of elsewhere."""
    out = list[bytes]()
    for path in paths:
        with suppress(RecordingError):
            out += _recorded(path)[0]
    return out


def _audience(frame: bytes) -> str | None:
    body = decode(frame).body
    return str(body.get("audience")) if isinstance(body, dict) else None


def _in_order(name: str, frames: list[bytes]) -> Iterator[str]:
    for before, frame in pairwise(map(decode, frames)):
        follows = (frame.dive, frame.seq) == (before.dive, before.seq + 1)
        begins = (frame.dive, frame.seq) == (before.dive + 1, 0)
        if not follows and not begins:
            yield f"{name} has {frame.dive}.{frame.seq} behind {before.dive}.{before.seq}"
