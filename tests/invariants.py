"""Whether the rules R1 to R6 hold over what a run left: `python tests/invariants.py FOLDER`.

One program for all fault runs (kills, disks, power, links): it reads the journal, the release logs of ship and shore,
what every station had sent and every receipt of every client (`left_behind.py` says how they lie), runs the journal
again, and says in words what doesn't hold. It ends with 1 where anything doesn't. The rules are those of DESIGN.md:

- R1: no released byte, log line or answer tells a place, the datum, the turn, the key or a field name of a station.
- R2: no client had a record before its moment, nor a note sooner than the delay after a station sent it; no row counts
  as older than it is; and without the youngest input, what had left before it could count is the same.
- R3: the same journal, moved elsewhere on the Earth, releases the same bytes at the same moments.
- R4: no record holds a field that the policy doesn't name, nor a value finer than its steps.
- R5: rows and records without a gap; everything accepted is in the journal, once; every client has every record once,
  in order, the very bytes that the journal gives again; so have the recordings of ship and shore, to each dive's end.
  What the run says that it had is there, and holds something.
- R6: nothing came back at a station, and the shore dialled nobody.
"""

import sqlite3
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from pathlib import Path

from heads import but_for_heads
from held_records import wrong_fields
from kept_whole import accepted_rows, wrong_in_clients, wrong_in_journal, wrong_in_recordings
from left_behind import DIALLED, SAID, WRITTEN, Left, told_by
from moved_journal import Moved, why_fixed
from never_told import Unsaid
from relay.core.errors import OffingError
from relay.core.model import Row, RowKind
from relay.core.wire import decode
from what_ran import SHORE, wrong_in_parts

MOST = 12
ELSEWHERE = ((71.3, -179.98), (-4.77, 33.41))
NOTE = 2


def check(folder: Path) -> list[str]:
    """Return what doesn't hold, each with the number of its rule; nothing if all does."""
    try:
        left = Left.read(folder)
        left.again  # noqa: B018 - a journal that can't be run again is found first
    except (OffingError, OSError, sqlite3.Error, ValueError, KeyError) as error:
        return [f"R5: what was left can't be read, or not run again: {error!r}"]
    return list(chain.from_iterable(_judged(number, rule, left) for number, rule in RULES))


def _judged(number: str, rule: Callable[[Left], Iterable[str]], left: Left) -> Iterator[str]:
    found = list[str]()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # as in tests: the scanner passes over what a library only warns of
            found += rule(left)
    except Exception as error:  # what was left is so odd that a rule can't be looked at: it doesn't hold
        found.append(f"can't be looked at: {error!r}")
    yield from (f"{number}: {words}" for words in found[:MOST])
    if len(found) > MOST:
        yield f"{number}: and {len(found) - MOST} more"


def one_door(left: Left) -> Iterator[str]:
    """Yield what is told that must not be (R1)."""
    unsaid = Unsaid(left)
    for audience, paths in chain(left.recordings.items(), left.recordings_ashore.items()):
        for path in paths:
            yield from unsaid.in_recording(audience, path)
    for name, receipts in left.receipts.items():
        yield from unsaid.in_frames(name, [frame for _, frame in receipts])
    for path in sorted((left.folder / SAID).rglob("*")):
        if path.is_file():
            yield from unsaid.in_words(path)
    for path in sorted((left.folder / "shore").rglob("*")):
        if path.is_file() and path.suffix not in (".recording", ".pem", ".key"):
            yield from unsaid.in_words(path)


def nothing_early(left: Left) -> Iterator[str]:
    """Yield what came, or counts as having come, before its time (R2)."""
    due = {frame: instant_us for frames in left.frames.values() for instant_us, frame in frames} | left.programmes
    noted_us = _notes(left)
    for name, receipts in left.receipts.items():
        for came_us, frame in receipts:
            early_us = due.get(frame, 0) - left.embargo_us(came_us)
            if early_us > 0:
                yield f"{name} had {_named(frame)} {early_us / 1e6:.3f} s before its moment"
            yield from _noted_early(left, name, came_us, frame, noted_us)
    for source, at_us, row in accepted_rows(left):
        if row.embargo_us < left.embargo_us(at_us):
            yield f"row {row.seq} of {source} counts as {at_us - row.embargo_us} us older than what is in it"
    yield from _shown_by_later_input(left)


def _notes(left: Left) -> dict[str, int]:
    """Return when each annotation of a station was first sent: known without anything of the relay."""
    out: dict[str, int] = {}
    for at_us, data in chain.from_iterable(left.sent.values()):
        marked = data.partition(b'"note": "')[2].partition(b'"')[0]
        out.setdefault(marked.decode(errors="replace"), at_us)
    return out


def _noted_early(left: Left, name: str, came_us: int, frame: bytes, noted_us: dict[str, int]) -> Iterator[str]:
    record = decode(frame)
    if record.kind == NOTE and record.body[1] in noted_us:
        least_us = min(policy.delay_us for policy in left.plan.policies)
        if came_us - noted_us[record.body[1]] < least_us:
            yield f"{name} had {_named(frame)} sooner than the delay after a station had sent what is in it"


def _shown_by_later_input(left: Left) -> Iterator[str]:
    """Yield where leaving the youngest input out changes what had left before it could count."""
    again = [told for told in left.again if told[3] > 0]
    for share in (0.3, 0.6, 0.85):
        cut_us = left.rows[int(share * (len(left.rows) - 1))].embargo_us
        without = [row for row in left.rows if row.embargo_us <= cut_us or row.kind is RowKind.DECISION]
        other = [told for told in told_by(left.plan, left.secrets, without) if told[3] > 0]
        for audience, policy in left.policies.items():
            upto_us = cut_us + policy.delay_us
            one, two = ([t for t in which if t[2] == audience and t[0] <= upto_us] for which in (again, other))
            if [(t[0], t[5]) for t in one] != [(t[0], t[5]) for t in two]:
                yield f"what {audience} had before {upto_us} us depends on input after {cut_us} us"


def nothing_placed(left: Left) -> Iterator[str]:
    """Yield what a dive elsewhere would have told otherwise (R3)."""
    why = why_fixed(left.plan)
    if why is not None:
        yield f"not looked at: {why}"
        return
    here = _outside(left, left.rows)
    for site in ELSEWHERE:
        there = _outside(left, Moved(site).rows(left.rows))
        if there != here:
            number = next((at for at, pair in enumerate(zip(here, there, strict=False)) if pair[0] != pair[1]), None)
            what = _named(here[number][2]) if number is not None else f"{len(here)} and {len(there)} records"
            yield f"moved to {site} it tells something else: {what}"


def _outside(left: Left, rows: Iterable[Row]) -> list[tuple[int, str, bytes]]:
    return but_for_heads((told[0], told[2], told[5]) for told in told_by(left.plan, left.secrets, rows))


def denied(left: Left) -> Iterator[str]:
    """Yield what records hold beyond their policy (R4)."""
    for audience, frames in left.frames.items():
        for _, frame in frames:
            for words in wrong_fields(left.policies[audience], decode(frame)):
                yield f"{_named(frame)} for {audience}: {words}"
    known = {frame for frames in left.frames.values() for _, frame in frames}
    for name, receipts in left.receipts.items():
        for frame in {frame for _, frame in receipts} - known:
            policies = left.policies.values()
            if decode(frame).dive > 0 and all(any(wrong_fields(policy, decode(frame))) for policy in policies):
                yield f"{name} has {_named(frame)}, which is within no audience's policy"


def nothing_lost(left: Left) -> Iterator[str]:
    """Yield what is missing, doubled, out of order or different (R5)."""
    yield from wrong_in_parts(left)
    yield from wrong_in_journal(left)
    yield from wrong_in_recordings(left)
    yield from wrong_in_clients(left)


def one_way(left: Left) -> Iterator[str]:
    """Yield what went the wrong way (R6)."""
    written = left.folder / WRITTEN
    if left.ran.by_hand:
        if written.exists():
            yield f"there is {WRITTEN}, and the run has no socket for a station at which anybody could have looked"
    elif not written.exists():
        yield f"nobody looked whether anything was written to a station: there is no {WRITTEN}"
    elif written.stat().st_size:
        yield f"{written.stat().st_size} bytes came back at a station: {written.read_bytes()[:60]!r}"
    dialled = left.folder / DIALLED
    if SHORE in left.ran.processes and not dialled.exists():
        yield f"nobody looked whom the shore dialled: there is no {DIALLED}"
    elif dialled.exists():
        yield from (f"the shore dialled {line}" for line in dialled.read_text().splitlines())


RULES: tuple[tuple[str, Callable[[Left], Iterable[str]]], ...] = (
    ("R1", one_door),
    ("R2", nothing_early),
    ("R3", nothing_placed),
    ("R4", denied),
    ("R5", nothing_lost),
    ("R6", one_way),
)


def _named(frame: bytes) -> str:
    record = decode(frame)
    return f"record {record.seq} of dive {record.dive}"


def main(arguments: list[str]) -> int:
    """Print what doesn't hold over a folder."""
    if len(arguments) != 1:
        print("python tests/invariants.py FOLDER, as tests/left_behind.py describes it", file=sys.stderr)
        return 2
    wrong = check(Path(arguments[0]))
    print("\n".join(wrong) or f"R1 to R6 hold over {arguments[0]}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
