"""Whether nothing was lost, doubled, put out of order or told differently (R5)."""

from bisect import bisect_right
from collections.abc import Iterator
from itertools import accumulate, pairwise
from pathlib import Path

from left_behind import LEFT, Left, Noted
from relay.core.errors import RecordingError
from relay.core.model import Row
from relay.core.wire import decode, read_recording


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
    """Yield how recordings of ship and shore differ from what the journal gives again."""
    for where, recordings in (("the ship", left.recordings), ("the shore", left.recordings_ashore)):
        for audience, paths in recordings.items():
            if where == "the shore" and audience not in left.policies:
                yield f"the shore has recordings of {audience}, whom the ship doesn't know"
                continue
            dives = [path.name for path in paths]
            if dives != [f"dive-{number:03d}.recording" for number in range(1, len(dives) + 1)]:
                yield f"{where} has for {audience} {dives}: not every dive from the first"
            for number, path in enumerate(paths, 1):
                yield from _wrong_in_recording(left, f"{where}'s {audience}/{path.name}", audience, number, path)


def _wrong_in_recording(left: Left, name: str, audience: str, dive: int, path: Path) -> Iterator[str]:
    if not path.stat().st_size:
        return  # made, and the process was killed before it wrote
    try:
        recording = read_recording(path.read_bytes())
    except RecordingError as error:
        if not _only_torn(path):
            yield f"{name}: {error}"
        return
    told = [record.data for record in recording.records]
    again = [frame for _, frame in left.frames[audience] if decode(frame).dive == dive]
    if told != again[: len(told)]:
        yield f"{name} isn't what the journal gives again"
    if recording.closed and len(told) != len(again):
        yield f"{name} is closed with {len(told)} records, and the journal gives {len(again)}"


def _only_torn(path: Path) -> bool:
    """Whether a recording is only the begin of its first record, which was never sent."""
    return path.read_bytes()[:1] == b"\x96" and path.stat().st_size < 2_048


def wrong_in_clients(left: Left) -> Iterator[str]:
    """Yield what clients lack, have twice, in another order, or differently."""
    kept = {audience: _kept(left, audience) for audience in left.policies}
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
        elif LEFT not in name and begun + len(frames) < kept[audience]:
            yield f"{name} lacks the last {kept[audience] - begun - len(frames)} records"


def _kept(left: Left, audience: str) -> int:
    """Return how many records the ship's recordings of an audience have."""
    count = 0
    for path in left.recordings[audience]:
        try:
            count += len(read_recording(path.read_bytes()).records)
        except RecordingError:
            continue  # told of elsewhere
    return count


def _audience(frame: bytes) -> str | None:
    body = decode(frame).body
    return str(body.get("audience")) if isinstance(body, dict) else None


def _in_order(name: str, frames: list[bytes]) -> Iterator[str]:
    for before, frame in pairwise(map(decode, frames)):
        follows = (frame.dive, frame.seq) == (before.dive, before.seq + 1)
        begins = (frame.dive, frame.seq) == (before.dive + 1, 0)
        if not follows and not begins:
            yield f"{name} has {frame.dive}.{frame.seq} behind {before.dive}.{before.seq}"
