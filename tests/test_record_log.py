"""The log of the exact record: a leaf a minute, heads that depend on no later row, and the way from a row to a head."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core import minute_roots, minute_tree, record_log
from relay.core.errors import RegrownError
from relay.core.merkle import consistency_path, head_of, is_consistent, leaf_hash, node_hash
from relay.core.minute_roots import closed_minutes
from relay.core.minute_tree import MINUTE_US, Evidence, MinuteTree
from relay.core.model import Row, RowKind
from relay.core.record_log import Closed, LogStart, RecordLog, Unsealed, inclusion, noted_run

EVIDENCE = Evidence(bytes(range(32)))


def rows_at(*moments_us: int) -> list[Row]:
    """Return journal rows with these moments, numbered from 1."""
    return [
        Row(seq, moment_us, 1.0 + seq, "usbl", RowKind.WHOLE, b"said %d" % seq)
        for seq, moment_us in enumerate(moments_us, 1)
    ]


def log_of(rows: list[Row], start: LogStart | None = None) -> RecordLog:
    """Return a log that took these rows."""
    log = RecordLog(EVIDENCE, start)
    for row in rows:
        log.add(row)
    return log


def root_of(minute: int, rows: list[Row]) -> bytes:
    """Return the root of a minute's tree of just these rows."""
    tree = MinuteTree(minute, EVIDENCE)
    for row in rows:
        tree.add(row)
    return tree.root


ROWS = rows_at(0, 30_000_000, MINUTE_US - 1, MINUTE_US, 3 * MINUTE_US + 5, 3 * MINUTE_US + 5, 7 * MINUTE_US)
MINUTES = [ROWS[:3], ROWS[3:4], [], ROWS[4:6], [], [], []]
ROOTS = [root_of(minute, rows) for minute, rows in enumerate(MINUTES)]
CLOSED = [Closed(*told) for told in zip(range(7), (3, 4, 4, 6, 6, 6, 6), ROOTS, strict=True)]


def test_minutes_are_closed_with_their_rows() -> None:
    """Each minute of the embargo clock has the rows of its moments, empty ones too, and its last row is told."""
    log = log_of(ROWS)
    assert log.take_closed() == CLOSED
    assert log.take_closed() == []


@pytest.mark.parametrize("minutes", range(8))
def test_head_is_that_of_the_minutes_roots(minutes: int) -> None:
    """The head over so many minutes is RFC 9162's over the leaf hashes of their roots, whenever it is asked."""
    expected = head_of([leaf_hash(root) for root in ROOTS[:minutes]])
    assert log_of(ROWS).head(minutes) == expected
    before = [row for row in ROWS if row.embargo_us < minutes * MINUTE_US]
    assert log_of(before).head(minutes) == expected


@given(st.lists(st.integers(0, 6 * MINUTE_US), max_size=20), st.integers(0, 6))
def test_head_depends_on_rows_before_its_end_alone(moments: list[int], minutes: int) -> None:
    """Whatever comes after a minute's end changes no head over the minutes before it (R2)."""
    rows = rows_at(*sorted(moments))
    known = [row for row in rows if row.embargo_us < minutes * MINUTE_US]
    assert log_of(rows).head(minutes) == log_of(known).head(minutes)


def test_heads_are_consistent() -> None:
    """Each head is shown to begin with each earlier one: the record only grew (RFC 9162 section 2.1.4)."""
    leaves, log = [leaf_hash(root) for root in ROOTS], log_of(ROWS)
    for later in range(1, 8):
        for earlier in range(1, later + 1):
            path = consistency_path(earlier, leaves[:later])
            assert is_consistent(earlier, later, log.head(earlier), log.head(later), path)


def test_head_that_is_released_is_blinded_for_one_audience_alone() -> None:
    """What leaves is a node over head and blind: another for each audience, dive and minute of the dive."""
    log = log_of(ROWS)
    released = [
        log.released(3, audience, dive, minute)
        for audience in ("public", "funders")
        for dive in (1, 2)
        for minute in (0, 1)
    ]
    assert len(set(released)) == 8
    assert released[0] == node_hash(log.head(3), EVIDENCE.blind("public", 1, 0))
    assert log.head(3) not in released


@given(st.lists(st.integers(0, 6 * MINUTE_US), min_size=1, max_size=20), st.data())
def test_log_goes_on_from_wherever_it_is_told(moments: list[int], data: st.DataObject) -> None:
    """Begun again at the place for a row and a moment, it has the same heads from then on and closes the same."""
    rows = rows_at(*sorted(moments))
    whole = log_of(rows)
    row = data.draw(st.sampled_from(rows))
    start = whole.start_for(row.seq, row.embargo_us)
    assert start.minute == row.embargo_us // MINUTE_US
    again = log_of(rows[start.row - 1 :], start)
    assert again.first_for(row.seq) == start.row <= row.seq
    upto = rows[-1].embargo_us // MINUTE_US + 2
    assert [again.head(at) for at in range(start.minute, upto)] == [whole.head(at) for at in range(start.minute, upto)]
    assert list(again.closed) == list(whole.closed)[start.minute :]


def test_place_to_go_on_from_is_never_behind_what_is_still_asked() -> None:
    """With a moment before the row's own minute the place is that moment's, as its heads are still to be had."""
    log = log_of(ROWS)
    assert log.start_for(6, 3 * MINUTE_US).minute == 3
    assert log.start_for(6, 2 * MINUTE_US + 1).minute == 2
    assert log.start_for(1, 7 * MINUTE_US) == LogStart()


def test_what_was_forgotten_is_not_guessed() -> None:
    """A head from before what was kept is our fault, and said; the rest stays."""
    log = log_of(ROWS)
    expected = log.head(3)
    log.forget(log.start_for(5, 3 * MINUTE_US))
    assert log.head(3) == expected
    with pytest.raises(RegrownError, match="asked for too late"):
        log.head(2)


def test_row_of_a_minute_that_was_sealed_is_refused() -> None:
    """Nothing slips into a minute whose head may have been told; what comes with its end is of the next."""
    log = log_of(ROWS[:3])
    log.head(1)
    log.add(ROWS[3])
    with pytest.raises(RegrownError, match=r"row 2 .* sealed before it came"):
        log.add(ROWS[1])


def test_rows_beyond_a_full_minute_go_over_into_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """A full tree takes no more: rows go on into later minutes' trees, in their order, and none is lost.

    No head depends on a row from after its end all the same, and once the flood is over the trees are their own again.
    """
    monkeypatch.setattr(minute_tree, "MOST_ROWS", 2)
    rows = rows_at(*range(5), MINUTE_US + 1, 9 * MINUTE_US)
    log = log_of(rows)
    log.upto(10 * MINUTE_US)
    groups = [rows[:2], rows[2:4], rows[4:6], [], [], [], [], [], [], rows[6:]]
    lasts = [2, 4, 6, 6, 6, 6, 6, 6, 6, 7]
    roots = [root_of(minute, group) for minute, group in enumerate(groups)]
    assert list(log.closed) == [
        Closed(at, last, root) for at, (last, root) in enumerate(zip(lasts, roots, strict=True))
    ]
    for minutes in range(11):
        known = log_of([row for row in rows if row.embargo_us < minutes * MINUTE_US])
        assert known.head(minutes) == log.head(minutes) == head_of([leaf_hash(root) for root in roots[:minutes]])


SILENCE = 3
"""How many minutes without a row have a leaf, in the tests that follow."""


@pytest.fixture
def short_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let three minutes be what is a day."""
    for module in (record_log, minute_roots):
        monkeypatch.setattr(module, "SILENT_MINUTES", SILENCE)


def after_silence(minutes: int) -> RecordLog:
    """Return a log with a row in minute 0, and one after so many minutes without."""
    return log_of(rows_at(5, (minutes + 1) * MINUTE_US))


@pytest.mark.usefixtures("short_silence")
@pytest.mark.parametrize(("minutes", "leaves"), [(2, 3), (3, 4), (4, 4), (9, 4), (20_000_000, 4)])
def test_silence_has_leaves_up_to_its_bound(minutes: int, leaves: int) -> None:
    """Up to the bound each minute without a row has its leaf; one past it and for forty years there are no more."""
    log = after_silence(minutes)
    log.upto((minutes + 2) * MINUTE_US)
    closed = log.take_closed()
    assert [told.minute for told in closed] == [*range(leaves), minutes + 1]
    roots = [leaf_hash(root) for _, _, root in closed]
    assert log.head(minutes + 2) == head_of(roots)
    assert log.head(minutes + 1) == head_of(roots[:-1]) == log.head(leaves)


@pytest.mark.usefixtures("short_silence")
@given(st.lists(st.integers(0, 30 * MINUTE_US), max_size=8), st.integers(0, 32), st.integers(0, 8))
def test_heads_over_silences_do_not_depend_on_when_they_are_asked(moments: list[int], minutes: int, known: int) -> None:
    """Asked as it comes, minute by minute, or at the end, or by a log begun again: one head, one set of leaves."""
    rows = rows_at(*sorted(moments))
    at_once, followed = log_of(rows), RecordLog(EVIDENCE)
    expected = at_once.head(minutes)
    for minute in range(33):
        for row in rows:
            if row.embargo_us // MINUTE_US == minute:
                followed.add(row)
        followed.upto((minute + 1) * MINUTE_US)
        assert followed.head(min(minutes, minute + 1)) == at_once.head(min(minutes, minute + 1))
    at_once.upto(33 * MINUTE_US)
    closed = list(at_once.closed)
    assert list(followed.closed) == closed == list(closed_minutes(EVIDENCE, rows, 33 * MINUTE_US))
    assert head_of([leaf_hash(root) for at, _, root in closed if at < minutes]) == expected
    noted, start = noted_run(closed[:known])
    assert noted == closed[:known]
    again = log_of(rows[start.row - 1 :], start)
    again.upto(33 * MINUTE_US)
    assert list(again.closed) == closed[known:]


@pytest.mark.usefixtures("short_silence")
def test_row_after_a_silence_is_proved() -> None:
    """Its leaf has the number of the minutes that have one, and leads to the head that was released."""
    log = after_silence(1_000)
    head = log.released(1_002, "public", 1, 0)
    rows = rows_at(5, 1_001 * MINUTE_US)
    way = inclusion(EVIDENCE, rows[1:], 2, log.take_closed(), EVIDENCE.blind("public", 1, 0))
    assert (way.minute, way.minutes, way.head(rows[1], EVIDENCE.salt(2))) == (4, 5, head)


@pytest.mark.usefixtures("short_silence")
def test_minutes_noted_with_a_gap_end_before_it() -> None:
    """A minute that is missing, comes twice or has rows that went before is where one can no longer go on."""
    closed = [Closed(*told) for told in zip(range(5), (1, 1, 1, 1, 1), ROOTS, strict=False)]
    later = Closed(9, 2, ROOTS[0])
    for wrong in (later, closed[0], Closed(2, 0, ROOTS[2])):
        assert noted_run([*closed[:2], wrong])[0] == closed[:2]
    assert noted_run([*closed[:4], later])[0] == [*closed[:4], later]


def test_marks_are_bounded_while_nothing_is_received() -> None:
    """Idle for thirty days without a row that would let it forget, it keeps what a day has, and goes on from there."""
    log = log_of(ROWS[:1])
    for minute in range(0, 30 * 1_440, 7):
        log.upto(minute * MINUTE_US)
    assert len(log._marks) <= record_log.SILENT_MINUTES + 2
    start = log.start_for(2, 30 * 1_440 * MINUTE_US)
    row = Row(2, 30 * 1_440 * MINUTE_US, 1.0, "usbl", RowKind.WHOLE, b"")
    logs = [log, log_of([], start)]
    for each in logs:
        each.add(row)
    assert len({each.head(30 * 1_440 + 1) for each in logs}) == 1


def test_log_goes_on_where_a_full_minute_had_gone_over(monkeypatch: pytest.MonkeyPatch) -> None:
    """Begun again behind a full minute, whose last rows are in the next one's tree, it takes them as it had."""
    monkeypatch.setattr(minute_tree, "MOST_ROWS", 2)
    rows = rows_at(*range(5), MINUTE_US + 1, 4 * MINUTE_US)
    whole = log_of(rows)
    whole.upto(5 * MINUTE_US)
    closed = list(whole.closed)
    for start in (whole.start_for(3, MINUTE_US), noted_run(closed[:1])[1], noted_run(closed[:2])[1]):
        assert start.minute > rows[start.row - 1].embargo_us // MINUTE_US
        again = log_of(rows[start.row - 1 :], start)
        again.upto(5 * MINUTE_US)
        assert list(again.closed) == closed[start.leaves :]


def nodes_of(log: RecordLog) -> int:
    """Return how many hashes it holds, of the minute under way and of those before it."""
    return sum(len(tree._nodes) for tree in (log._tree, *log._spent.trees))


def test_end_of_a_minute_frees_nothing_and_the_rows_after_it_all() -> None:
    """A tree of 400 rows is there as it was when its minute has ended: no work tells of it; 400 rows later it is gone.

    Never is more there than two such minutes come to.
    """
    busy = rows_at(*range(400), *range(MINUTE_US, MINUTE_US + 400))
    log = log_of(busy[:400])
    before = nodes_of(log)
    log.upto(MINUTE_US)
    assert nodes_of(log) == before > 4_000
    most = 0
    for row in busy[400:]:
        log.add(row)
        most = max(most, nodes_of(log))
    assert not log._spent.trees
    assert most <= 2 * before
    log.upto(2_000 * MINUTE_US)
    assert len(log._spent.trees) == 1


def test_minutes_that_nobody_takes_are_bounded() -> None:
    """At its limit the oldest closed minutes are let go of; heads need none of them."""
    log = RecordLog(EVIDENCE, limit=3)
    log.upto(10 * MINUTE_US)
    assert [closed.minute for closed in log.closed] == [7, 8, 9]
    assert log.head(10) == log_of([]).head(10)


def test_log_owes_the_rows_from_which_it_goes_on() -> None:
    """Until the last row before a restart has come, something is owed; who seals nothing owes nothing."""
    log = RecordLog(EVIDENCE)
    assert [log.owes(1), log.owes(2)] == [False, True]
    log.add(ROWS[0])
    assert [log.owes(2), log.owes(3)] == [False, True]
    assert [Unsealed().owes(9), Unsealed().first_for(9)] == [False, 9]


def test_start_that_does_not_fit_is_refused() -> None:
    """A frontier that isn't that of its minute can't be gone on from."""
    with pytest.raises(ValueError, match="peaks"):
        RecordLog(EVIDENCE, LogStart(3, 1, 3, 3, (bytes(32),)))


@pytest.mark.parametrize(("seq", "minute"), [(1, 0), (3, 0), (4, 1), (6, 3)])
@pytest.mark.parametrize("minutes", [4, 7])
def test_row_is_shown_to_be_under_a_released_head(seq: int, minute: int, minutes: int) -> None:
    """The way from a row leads to the very head that was released, and from an altered row, or salt, to another."""
    log, blind = log_of(ROWS), EVIDENCE.blind("public", 2, 5)
    way = inclusion(EVIDENCE, MINUTES[minute], seq, CLOSED[:minutes], blind)
    row, salt = ROWS[seq - 1], EVIDENCE.salt(seq)
    assert way.head(row, salt) == log.released(minutes, "public", 2, 5)
    altered = Row(row.seq, row.embargo_us, row.wall_s + 1, row.source, row.kind, row.data)
    assert log.released(minutes, "public", 2, 5) not in (way.head(altered, salt), way.head(row, bytes(16)))
    assert (len(way.seat_path), way.minute, way.minutes) == (20, minute, minutes)


def test_way_with_hashes_missing_is_none() -> None:
    """A way that is too short, or whose blind is, leads nowhere."""
    way = inclusion(EVIDENCE, MINUTES[0], 1, CLOSED, bytes(32))
    faults = [{"seat_path": way.seat_path[1:]}, {"blind": b""}, {"log_path": way.log_path[1:]}, {"minute": 7}]
    assert [replace(way, **fault).head(ROWS[0], EVIDENCE.salt(1)) for fault in faults] == [None] * 4  # type: ignore[arg-type]


def test_way_is_not_made_where_the_roots_disagree_with_the_rows() -> None:
    """Rows that were altered, or noted roots that were, are found before a proof is handed out."""
    with pytest.raises(ValueError, match="minute 0"):
        inclusion(EVIDENCE, MINUTES[0][:2], 1, CLOSED, bytes(32))
    with pytest.raises(ValueError, match="row 7"):
        inclusion(EVIDENCE, ROWS[6:], 7, CLOSED, bytes(32))
    with pytest.raises(KeyError):
        inclusion(EVIDENCE, MINUTES[0], 4, CLOSED, bytes(32))


def test_unsealed_log_is_as_long_as_a_sealed_one() -> None:
    """Whoever only wants to see what leaves gets 32 bytes for a head, and no work is done for them."""
    log = Unsealed()
    for row in ROWS:
        log.add(row)
    assert len(log.released(3, "public", 1, 0)) == 32
    assert (log.head(5), list(log.closed)) == (bytes(32), [])
