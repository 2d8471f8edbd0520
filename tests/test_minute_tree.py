"""The evidence tree of a minute: what is hashed, where a row sits, and that a path tells of no other row."""

import json
from hashlib import blake2s, sha256

import msgpack
import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core import minute_tree
from relay.core.merkle import included, leaf_hash, node_hash
from relay.core.minute_tree import LEVELS, SEATS, Evidence, MinuteTree, keyed, opened
from relay.core.model import Row, RowKind
from remembering_evidence import RememberingEvidence

KEY = bytes(range(32))
EVIDENCE = Evidence(KEY)


def by_book(key: bytes, label: bytes) -> bytes:
    """Return what is drawn for a label, in one call."""
    return blake2s(label, key=key).digest()


def row(seq: int, data: bytes = b"said", **changes: object) -> Row:
    """Return a journal row."""
    values = {"embargo_us": seq * 1_000, "wall_s": 1.5 + seq, "source": "usbl", "kind": RowKind.WHOLE} | changes
    return Row(seq=seq, data=data, **values)  # type: ignore[arg-type]


def tree_of(rows: list[Row], evidence: Evidence = EVIDENCE, minute: int = 7) -> MinuteTree:
    """Return a minute's tree with these rows."""
    tree = MinuteTree(minute, evidence)
    for item in rows:
        tree.add(item)
    return tree


def by_the_book(leaves: dict[int, bytes], minute: int, level: int = LEVELS, index: int = 0) -> bytes:
    """Return a subtree's hash by recursion from the rule alone: drawn where no leaf is, hashed where one is."""
    inside = {seat: leaf for seat, leaf in leaves.items() if seat >> level == index}
    if not inside:
        return by_book(KEY, f"empty {minute} {level} {index}".encode())
    if level == 0:
        return inside[index]
    left, right = (by_the_book(inside, minute, level - 1, 2 * index + side) for side in (0, 1))
    return sha256(b"\x01" + left + right).digest()


@given(st.binary(max_size=32), st.binary(max_size=200))
def test_draw_is_keyed_blake2s(key: bytes, label: bytes) -> None:
    """What is drawn is BLAKE2s of the label under the key, as the standard library gives it at once (RFC 7693)."""
    assert keyed(key)(label) == by_book(key, label)


@pytest.mark.parametrize(
    ("label", "value"),
    [
        ("", "48a8997da407876b3d79c0d92325ad3b89cbb754d86ab71aee047ad345fd2c49"),
        ("00", "40d15fee7c328830166ac3f918650f807e7e01e177258cdc0a39b11f598066f1"),
    ],
)
def test_draw_is_that_of_the_published_answers(label: str, value: str) -> None:
    """Source: the known answers of BLAKE2's authors (BLAKE2/BLAKE2, testvectors/blake2s-test.txt), key 00 to 1f."""
    assert keyed(KEY)(bytes.fromhex(label)).hex() == value


def test_row_is_hashed_in_one_form() -> None:
    """The opened row, byte for byte, written by hand from the MessagePack specification (msgpack.org)."""
    said = Row(300, 70_000, 2, "usbl", RowKind.WHOLE, b"\x01")  # type: ignore[arg-type]
    salt = bytes(16)
    by_hand = b"\x97" + b"\xc4\x10" + salt + b"\xcd\x01\x2c" + b"\xce\x00\x01\x11\x70"
    by_hand += b"\xcb\x40\0\0\0\0\0\0\0" + b"\xa4usbl" + b"\xa5whole" + b"\xc4\x01\x01"
    assert opened(said, salt) == by_hand
    assert msgpack.unpackb(by_hand) == [salt, 300, 70_000, 2.0, "usbl", "whole", b"\x01"]


@given(st.lists(st.integers(1, 10**6), max_size=12, unique=True))
def test_root_is_that_of_the_rule(seqs: list[int]) -> None:
    """However many rows and in whichever order, the root that grew row by row is that of the recursion."""
    rows = [row(seq) for seq in seqs]
    leaves: dict[int, bytes] = {}
    for item in rows:
        seat = int.from_bytes(by_book(KEY, f"seat {item.seq}".encode())[:4], "big") >> 12
        while seat in leaves:
            seat += 1
        salt = by_book(KEY, f"salt {item.seq}".encode())[:16]
        leaves[seat] = leaf_hash(opened(item, salt))
    assert tree_of(rows).root == by_the_book(leaves, 7)


@given(st.integers(1, 40))
def test_every_row_has_a_path_of_twenty_hashes(count: int) -> None:
    """Every row's path has 20 hashes of 32 bytes, is one of RFC 9162, and leads to the root, however many rows."""
    rows = [row(seq) for seq in range(1, count + 1)]
    tree = tree_of(rows)
    for item in rows:
        sat = tree.path(item.seq)
        leaf = leaf_hash(opened(item, EVIDENCE.salt(item.seq)))
        assert {len(step) for step in sat.path} == {32}
        assert len(sat.path) == LEVELS
        assert included(sat.seat, SEATS, leaf, sat.path) == tree.root


def test_minute_without_rows_has_a_root_of_its_own() -> None:
    """Empty minutes have different roots, drawn, that look like any other."""
    roots = {tree_of([], minute=minute).root for minute in range(50)}
    assert len(roots) == 50
    assert by_book(KEY, b"empty 3 20 0") in roots


def test_row_whose_seat_is_taken_sits_at_the_next_free_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows drawn to one seat sit side by side, past the last one from the first again, and each path holds."""
    monkeypatch.setattr(Evidence, "seat", lambda self, seq: SEATS - 1)
    rows = [row(seq) for seq in (1, 2, 3)]
    tree = tree_of(rows)
    assert [tree.path(seq).seat for seq in (1, 2, 3)] == [SEATS - 1, 0, 1]
    for item in rows:
        sat = tree.path(item.seq)
        assert included(sat.seat, SEATS, leaf_hash(opened(item, EVIDENCE.salt(item.seq))), sat.path) == tree.root


def test_seats_are_spread_evenly() -> None:
    """Rows that follow each other sit anywhere: of 8,000, each sixteenth of the seats has its share.

    The bounds are five deviations of the binomial distribution about 500.
    """
    shares = [0] * 16
    for seq in range(8_000):
        shares[EVIDENCE.seat(seq) // (SEATS // 16)] += 1
    assert all(500 - 109 < share < 500 + 109 for share in shares)


def test_path_is_the_same_whatever_the_neighbours_say() -> None:
    """What other rows say changes a path only in hashes; what isn't known of their salts can't be told apart.

    With another minute's rows beside it, of any number, a row keeps its seat, its salt and the length of its path.
    """
    alone, crowded = tree_of([row(9)]), tree_of([row(9), *(row(seq, b"x") for seq in range(100, 1_300))])
    assert alone.path(9).seat == crowded.path(9).seat
    assert [len(step) for step in alone.path(9).path] == [len(step) for step in crowded.path(9).path]
    assert len(set(alone.path(9).path) | set(crowded.path(9).path)) <= 2 * LEVELS
    # Near the seat nobody sits: those hashes are drawn, and the same, as whether somebody sits there isn't told.
    assert alone.path(9).path[:4] == crowded.path(9).path[:4]


def test_empty_and_taken_subtrees_look_alike() -> None:
    """Over 400 minutes a bit of what stands beside a seat is as often one as zero, taken or empty.

    The bounds are five deviations of the binomial distribution about the half.
    """
    for rows in ([], [row(seq) for seq in range(1, 20)]):
        tops = {tree_of([row(50), *rows], minute=minute).path(50).path[-1] for minute in range(400)}
        assert len(tops) == 400
        assert 200 - 50 < sum(top[0] >> 7 for top in tops) < 200 + 50


def test_one_bit_of_a_row_changes_the_root() -> None:
    """Whichever part of a row is another, the root is."""
    reference = tree_of([row(1), row(2)]).root
    changes = [{"data": b"saie"}, {"embargo_us": 1_001}, {"wall_s": 2.5000001}, {"source": "usbm"}]
    others = [tree_of([row(1, **change), row(2)]).root for change in [*changes, {"kind": RowKind.STREAM}]]  # type: ignore[arg-type]
    assert len({reference, *others, tree_of([row(1)]).root, tree_of([row(1), row(3)]).root}) == 8


def test_another_key_changes_everything() -> None:
    """Salts, seats, empties, blinds and roots are the site's own."""
    other = Evidence(bytes(32))
    assert EVIDENCE.salt(1) != other.salt(1)
    assert EVIDENCE.blind("public", 1, 0) != other.blind("public", 1, 0)
    assert tree_of([row(1)]).root != tree_of([row(1)], other).root
    assert KEY.hex() not in repr(EVIDENCE)


def test_blinds_differ_by_audience_dive_and_minute() -> None:
    """No two heads that are released have one blind."""
    blinds = {EVIDENCE.blind(who, dive, at) for who in ("public", "funders") for dive in (1, 2) for at in (0, 1)}
    assert len(blinds) == 8


def test_full_tree_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """At its limit a tree is full, one row before it isn't."""
    monkeypatch.setattr(minute_tree, "MOST_ROWS", 3)
    assert not tree_of([row(1), row(2)]).full
    assert tree_of([row(1), row(2), row(3)]).full


def test_path_of_a_row_of_another_minute_is_none() -> None:
    """A row that isn't in the tree has no path."""
    with pytest.raises(KeyError):
        tree_of([row(1)]).path(2)


def test_roots_never_change() -> None:
    """The root of a day of 1,000 rows is the one written down when the tree was made, or old proofs would fail.

    Source: this program, written down on the day the format was fixed.
    """
    root = tree_of([row(seq, json.dumps({"depth_m": seq / 8}).encode()) for seq in range(1, 1_001)]).root
    assert root.hex() == "467790ec95fcb41ce698ff59437236984aaa310d43ac01559db4da9d1f084661"


def test_remembered_draws_are_those_of_the_key() -> None:
    """What tests by the thousand draw with is as good as what a ship draws with, for each key its own."""
    for key in (KEY, bytes(32)):
        trees = (
            MinuteTree(7, Evidence(key)),
            MinuteTree(7, RememberingEvidence(key)),
            MinuteTree(7, RememberingEvidence(key)),
        )
        for tree in trees:
            for seq in range(1, 30):
                tree.add(row(seq))
        assert len({tree.root for tree in trees}) == 1


def test_node_hash_is_that_of_the_log() -> None:
    """The two topmost hashes give the root by the same node hash as every other tree here."""
    tree = tree_of([row(1)])
    sat = tree.path(1)
    beside = sat.path[-1]
    below = included(sat.seat % (SEATS // 2), SEATS // 2, leaf_hash(opened(row(1), EVIDENCE.salt(1))), sat.path[:-1])
    assert below is not None
    assert tree.root == (node_hash(beside, below) if sat.seat >= SEATS // 2 else node_hash(below, beside))
