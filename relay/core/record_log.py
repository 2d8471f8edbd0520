"""The log of the exact record: an RFC 9162 log with a leaf for each minute of a site, and its heads as released.

Rules: a function of the journal's rows and the evidence key.
1. Each leaf is the leaf hash of the root of a minute's tree, in their order from minute 0 of the embargo clock on. A
   minute without a row has one, too, unless `SILENT_MINUTES` before it had no row either: so a leaf's number tells of
   no silence but one of more than a day, and a silence of decades takes no work. A minute has the rows received in it;
   those beyond `minute_tree.MOST_ROWS` go over into the next one's tree, so that a row never counts as older than it
   is. Which rows a minute has is told by the last row of each (`closed`).
2. The head over `minutes` minutes depends on rows received before the moment `minutes` ends, and on no other (R2).
3. What is released is a node over that head and a blind drawn for this audience, dive and minute of the dive. So two
   heads that were released can't be laid beside each other, and tell nothing even to who knows the log (R3).
4. Bounded: of each leaf from which something may still be asked the frontier is kept, so that of a silence there are
   no more than `SILENT_MINUTES`; `closed` keeps the last `limit` minutes that nobody took.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from relay.core.errors import RegrownError
from relay.core.merkle import Frontier, included, inclusion_path, leaf_hash, node_hash
from relay.core.minute_tree import LEVELS, MINUTE_US, SEATS, SILENT_MINUTES, Evidence, MinuteTree, opened
from relay.core.model import Row

_UNTAKEN_MINUTES = 1_000_000
# How many nodes of spent trees go with each row: a row brings one for each level, its leaf and its seat.
_FREED = 2 * LEVELS


@dataclass(frozen=True, slots=True)
class LogStart:
    """Where a log goes on: before the first row of `minute`'s tree, which has the number `row` or a later one.

    `leaves`, `peaks`: the frontier over the minutes before. `silent`: how many of the last leaves have no row.
    """

    minute: int = 0
    row: int = 1
    leaves: int = 0
    silent: int = 0
    peaks: tuple[bytes, ...] = ()


class Closed(NamedTuple):
    """A minute whose tree takes no more rows: the number of the last row in it or before it (0: none), its root."""

    minute: int
    last_seq: int
    root: bytes


class Spent:
    """Trees that are done with: taken apart with the rows that follow, never all at once when a minute ends.

    Bounded: each row takes more nodes away than it brings.
    """

    def __init__(self) -> None:
        self.trees: deque[MinuteTree] = deque()

    def free(self) -> None:
        """Take a few nodes away, of the oldest tree."""
        if self.trees and self.trees[0].shrunk(_FREED):
            self.trees.popleft()


class RecordLog:
    """The log as it grows. `closed`: the minutes since they were last taken away, oldest first."""

    def __init__(self, evidence: Evidence, start: LogStart | None = None, limit: int = _UNTAKEN_MINUTES) -> None:
        self._start = start or LogStart()
        self._evidence = evidence
        self._log = Frontier(self._start.leaves, self._start.peaks)
        self._silent = self._start.silent
        self._tree = MinuteTree(self._start.minute, evidence)
        # In their order. Over a minute that has no mark the frontier is that of the mark before it.
        self._marks = deque([self._start])
        self._last_seq = self._start.row - 1
        # A row of an earlier minute than the tree's may come: one that a full minute had no seat for.
        self._whole = 0
        self._spent = Spent()
        self.closed: deque[Closed] = deque(maxlen=limit)

    def first_for(self, row: int) -> int:
        """Return the first row that this log needs to go on at a row."""
        return min(self._start.row, row)

    def owes(self, row: int) -> bool:
        """Whether rows from before a row haven't come that this log needs."""
        return self._last_seq < row - 1

    @property
    def minute(self) -> int:
        """The minute whose tree takes the next row, if that isn't of a later one."""
        return self._tree.minute

    def add(self, row: Row) -> None:
        """Take the next row of the journal; RegrownError if its minute has been sealed without it."""
        if row.embargo_us // MINUTE_US < self._whole:
            raise RegrownError(f"row {row.seq} of the journal is of a minute that was sealed before it came")
        self.upto(row.embargo_us)
        if self._tree.full:
            self._close()
        self._tree.add(row)
        self._last_seq = row.seq
        self._spent.free()

    def upto(self, moment_us: int) -> None:
        """Close the minutes that end at or before a moment; owed: no row of before it comes any more."""
        minutes = moment_us // MINUTE_US
        while self._tree.minute < minutes:
            if self._silent < SILENT_MINUTES or not self._tree.empty:
                self._close()
            else:
                self._begin(minutes)
        self._whole = max(self._whole, minutes)

    def head(self, minutes: int) -> bytes:
        """Return the head over the first `minutes` minutes, exact; RegrownError if it has been forgotten.

        Owed: no row of before their end comes any more.
        """
        self.upto(minutes * MINUTE_US)
        mark = next((mark for mark in reversed(self._marks) if mark.minute <= minutes), None)
        if mark is None:
            raise RegrownError(f"the head over {minutes} minutes of the journal is asked for too late")
        return Frontier(mark.leaves, mark.peaks).head

    def released(self, minutes: int, audience: str, dive: int, minute: int) -> bytes:
        """Return the head over `minutes` minutes as an audience gets it in a `minute` of a dive, as of `head`."""
        return node_hash(self.head(minutes), self._evidence.blind(audience, dive, minute))

    def start_for(self, row: int, moment_us: int) -> LogStart:
        """Return the latest place from which all from a row on, and all heads from a moment on, can be had again."""
        minutes = moment_us // MINUTE_US
        marks = (mark for mark in reversed(self._marks) if mark.row <= row and mark.minute <= minutes)
        return next(marks, self._marks[0])

    def forget(self, before: LogStart) -> None:
        """Forget the frontiers of the minutes before a place."""
        while self._marks[0].minute < before.minute and len(self._marks) > 1:
            self._marks.popleft()

    def take_closed(self) -> list[Closed]:
        """Return the minutes that were closed since the last time, and let go of them."""
        taken = list(self.closed)
        self.closed.clear()
        return taken

    def _begin(self, minute: int) -> None:
        """Begin the tree of a minute: as much work whatever the one before it had, or the next moment would tell it."""
        if not self._tree.empty:
            self._spent.trees.append(self._tree)
        self._tree = MinuteTree(minute, self._evidence)

    def _close(self) -> None:
        tree = self._tree
        self._log.append(leaf_hash(tree.root))
        self._silent = self._silent + 1 if tree.empty else 0
        self.closed.append(Closed(tree.minute, self._last_seq, tree.root))
        self._begin(tree.minute + 1)
        log = self._log
        self._marks.append(LogStart(self._tree.minute, self._last_seq + 1, log.size, self._silent, log.peaks))


def noted_run(minutes: Iterable[tuple[int, int, bytes]]) -> tuple[list[Closed], LogStart]:
    """Return the minutes that were noted, as `Closed`, up to the first gap, and where a log goes on behind them."""
    run, log, row, silent, due = list[Closed](), Frontier(), 1, 0, 0
    for minute, last_seq, root in minutes:
        if minute < due or last_seq < row - 1 or (minute > due and silent < SILENT_MINUTES):
            break
        run.append(Closed(minute, last_seq, root))
        log.append(leaf_hash(root))
        silent = silent + 1 if last_seq == row - 1 else 0
        row, due = last_seq + 1, minute + 1
    return run, LogStart(due, row, log.size, silent, log.peaks)


class Unsealed(RecordLog):
    """No log: for whoever runs rows again to see what leaves, not what it seals. Its heads are zeros."""

    def __init__(self) -> None:
        super().__init__(Evidence(bytes(32)))

    def first_for(self, row: int) -> int:
        """Return the row: none is needed before it."""
        return row

    def owes(self, row: int) -> bool:
        """Return False: none is needed."""
        return False

    def add(self, row: Row) -> None:
        """Take no row."""

    def upto(self, moment_us: int) -> None:
        """Close no minute."""

    def head(self, minutes: int) -> bytes:
        """Return zeros."""
        return bytes(32)


@dataclass(frozen=True, slots=True)
class Inclusion:
    """The way from one row to a released head: nothing of it tells of another row.

    `seat`, `seat_path`: in the tree of its minute; `minute`, `minutes`, `log_path`: that minute's leaf, from 0, in the
    log of so many; `blind`: the last step.
    """

    seat: int
    seat_path: tuple[bytes, ...]
    minute: int
    minutes: int
    log_path: tuple[bytes, ...]
    blind: bytes

    def head(self, row: Row, salt: bytes) -> bytes | None:
        """Return the released head to which this leads from a row, None if it can be no way at all."""
        if len(self.seat_path) != LEVELS or len(self.blind) != 32:
            return None
        root = included(self.seat, SEATS, leaf_hash(opened(row, salt)), self.seat_path)
        log = None if root is None else included(self.minute, self.minutes, leaf_hash(root), self.log_path)
        return None if log is None else node_hash(log, self.blind)


def inclusion(
    evidence: Evidence, rows: Iterable[Row], seq: int, closed: Sequence[tuple[int, int, bytes]], blind: bytes
) -> Inclusion:
    """Return the way from row `seq` to a head over the minutes `closed`, as `Closed`, from the first on.

    `rows`: those of the tree in which it is, all of them, in their order; KeyError if the row isn't among them,
    ValueError if the minutes don't reach to that row or its minute's root doesn't agree with the rows.
    """
    at = next((at for at, (_, last_seq, _) in enumerate(closed) if last_seq >= seq), None)
    if at is None:
        raise ValueError(f"row {seq} isn't in any of the minutes that were noted")
    minute, _, noted = closed[at]
    tree = MinuteTree(minute, evidence)
    for row in rows:
        tree.add(row)
    sat = tree.path(seq)
    if noted != tree.root:
        raise ValueError(f"minute {minute} of the journal doesn't have the root that was noted for it")
    log_path = inclusion_path(at, [leaf_hash(root) for _, _, root in closed])
    return Inclusion(sat.seat, sat.path, at, len(closed), log_path, blind)
