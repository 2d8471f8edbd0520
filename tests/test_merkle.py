"""Merkle trees against the published numbers of RFC 6962's reference tests, and against the RFC's own recursion."""

import json
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.merkle import (
    Frontier,
    consistency_path,
    head_of,
    included,
    inclusion_path,
    is_consistent,
    leaf_hash,
    node_hash,
)

# Source: transparency-dev/merkle, folder testdata, and the leaves and heads of its reference tests.
VECTORS = json.loads((Path(__file__).parent / "vectors/merkle.json").read_text())
LEAVES = [leaf_hash(bytes.fromhex(leaf)) for leaf in VECTORS["leaves"]]
HEADS = [bytes.fromhex(head) for head in VECTORS["heads"]]


def octets(values: Sequence[str]) -> list[bytes]:
    """Return hexadecimal values as bytes."""
    return [bytes.fromhex(value) for value in values]


def leaves_of(count: int) -> list[bytes]:
    """Return so many leaf hashes, all different."""
    return [leaf_hash(at.to_bytes(4, "big")) for at in range(count)]


def by_the_book(leaves: Sequence[bytes]) -> bytes:
    """Return MTH as RFC 9162 section 2.1.1 writes it: by recursion, over leaf hashes."""
    if len(leaves) < 2:
        return leaves[0] if leaves else sha256().digest()
    left = max(1 << power for power in range(len(leaves).bit_length()) if 1 << power < len(leaves))
    return sha256(b"\x01" + by_the_book(leaves[:left]) + by_the_book(leaves[left:])).digest()


@pytest.mark.parametrize("size", range(1, 9))
def test_heads_are_those_published(size: int) -> None:
    """The heads over the first one to eight published leaves are the published ones, at once and leaf by leaf."""
    log = Frontier()
    for leaf in LEAVES[:size]:
        log.append(leaf)
    assert HEADS[size - 1] == head_of(LEAVES[:size]) == log.head


def test_head_without_leaves_is_the_hash_of_nothing() -> None:
    """RFC 9162 section 2.1.1: the hash of an empty list is the hash of an empty string (FIPS 180-4's own number)."""
    nothing = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert nothing == head_of([]).hex() == Frontier().head.hex()


@pytest.mark.parametrize("vector", VECTORS["inclusion"], ids=lambda vector: vector["file"])
def test_inclusion_paths_are_those_published(vector: dict[str, object]) -> None:
    """Each published path is made and leads to its head; beside its place, or altered by a bit, to no such head."""
    index, size, path = vector["index"], vector["size"], octets(vector["path"])
    leaf, head = bytes.fromhex(vector["leaf"]), bytes.fromhex(vector["head"])
    assert leaf == LEAVES[index]
    assert path == list(inclusion_path(index, LEAVES[:size]))
    assert included(index, size, leaf, path) == head
    for wrong in (index - 1, index + 1, index ^ 2):
        assert included(wrong, size, leaf, path) != head
    others = [path[:-1], [*path, head], [head, *path], [b"", *path], [*path, b""]] if path else [[head], [b""]]
    others += [[flipped(step) if at == here else step for at, step in enumerate(path)] for here in range(len(path))]
    assert all(included(index, size, leaf, other) != head for other in others)
    assert included(index, size, flipped(leaf), path) != head
    if path:
        assert head not in (included(index, size * 2, leaf, path), included(index, size // 2, leaf, path))


@pytest.mark.parametrize("vector", VECTORS["consistency"], ids=lambda vector: vector["file"])
def test_consistency_paths_are_those_published(vector: dict[str, object]) -> None:
    """Each published path is made and accepted; with other sizes, heads swapped or altered, or a bit flipped, none."""
    earlier, later, path = vector["earlier"], vector["later"], octets(vector["path"])
    first, second = bytes.fromhex(vector["first"]), bytes.fromhex(vector["second"])
    assert path == list(consistency_path(earlier, LEAVES[:later]))
    assert is_consistent(earlier, later, first, second, path)
    assert not is_consistent(earlier, later, flipped(first), second, path)
    assert not is_consistent(earlier, later, first, flipped(second), path)
    others = [[*path, first], [first, *path], [*path, b""]] + ([path[:-1], []] if path else [])
    others += [[flipped(step) if at == here else step for at, step in enumerate(path)] for here in range(len(path))]
    assert not any(is_consistent(earlier, later, first, second, other) for other in others)
    if path:
        sizes = [(earlier - 1, later), (earlier + 1, later), (earlier ^ 2, later), (earlier, later * 2)]
        assert not any(is_consistent(one, two, first, second, path) for one, two in sizes)
        assert not is_consistent(earlier, later, second, first, path)


def flipped(data: bytes) -> bytes:
    """Return bytes with one bit turned."""
    return bytes([data[0] ^ 16]) + data[1:]


@given(st.integers(0, 70))
def test_every_size_has_the_head_of_the_books_recursion(size: int) -> None:
    """However many leaves, the head is that of the RFC's recursion, and a frontier written down goes on to it."""
    leaves = leaves_of(size)
    log = Frontier()
    for leaf in leaves:
        log = Frontier(log.size, log.peaks)
        log.append(leaf)
    assert by_the_book(leaves) == head_of(leaves) == log.head


@given(st.integers(1, 70), st.data())
def test_every_leaf_of_every_size_has_a_path(size: int, data: st.DataObject) -> None:
    """A path is made and leads to the head for every leaf; and no other leaf's place has the same path lead there."""
    leaves, index = leaves_of(size), data.draw(st.integers(0, size - 1))
    path = inclusion_path(index, leaves)
    ends = [included(at, size, leaves[index], path) for at in range(size)]
    assert [end == head_of(leaves) for end in ends] == [at == index for at in range(size)]


@given(st.integers(1, 70), st.data())
def test_every_two_sizes_are_consistent(later: int, data: st.DataObject) -> None:
    """What was a log's beginning is shown to be, and an altered beginning never is."""
    leaves, earlier = leaves_of(later), data.draw(st.integers(1, later))
    path, first, second = consistency_path(earlier, leaves), head_of(leaves[:earlier]), head_of(leaves)
    assert is_consistent(earlier, later, first, second, path)
    altered = [flipped(leaves[0]), *leaves[1:earlier]]
    assert not is_consistent(earlier, later, head_of(altered), second, path)


def test_a_leaf_never_passes_for_a_node() -> None:
    """Both are hashed apart, so that a node's children are no leaf (RFC 9162 section 2.1.1, second preimages)."""
    left, right = leaves_of(2)
    assert leaf_hash(left + right) != node_hash(left, right)


@pytest.mark.parametrize(
    ("size", "peaks"), [(1, ()), (0, (bytes(32),)), (3, (bytes(32),)), (1, (bytes(31),)), (-1, ())]
)
def test_frontier_that_does_not_fit_its_size_is_refused(size: int, peaks: tuple[bytes, ...]) -> None:
    """A frontier has a peak for each bit of its size, of 32 bytes each."""
    with pytest.raises(ValueError, match="peaks"):
        Frontier(size, peaks)
