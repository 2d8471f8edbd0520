"""Merkle trees of RFC 9162 section 2.1, over SHA-256 (FIPS 180-4): heads, inclusion paths, consistency paths.

Rules: a leaf hash is SHA-256 of 0x00 and the leaf, a node's is SHA-256 of 0x01, its left and its right child, so that
none passes for the other; every hash here has 32 bytes. What comes from outside is judged, never trusted: a path of the
wrong length or shape is simply not one. Nothing here is secret. No command asks for consistency, as the heads that are
released are blinded each by itself: it is here to show in tests, by who has all roots, that the log only grows.
"""

from collections.abc import Sequence
from hashlib import sha256

OCTETS = 32
NO_LEAVES = sha256(b"").digest()


def leaf_hash(data: bytes) -> bytes:
    """Return the hash of a leaf (RFC 9162 section 2.1.1)."""
    return sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of a node over its two children (RFC 9162 section 2.1.1)."""
    return sha256(b"\x01" + left + right).digest()


class Frontier:
    """A log of which only the whole subtrees on its right edge are kept: O(log n) to grow, to head, to write down.

    `size`: how many leaves. `peaks`: the heads of the largest whole subtrees, left to right, one for each bit of the
    size that is set.
    """

    __slots__ = ("peaks", "size")

    def __init__(self, size: int = 0, peaks: Sequence[bytes] = ()) -> None:
        """Go on from what was written down; ValueError if it doesn't belong together."""
        if size < 0 or len(peaks) != size.bit_count() or any(len(peak) != OCTETS for peak in peaks):
            raise ValueError(f"a log of {size} leaves doesn't have {len(peaks)} peaks of {OCTETS} bytes")
        self.size, self.peaks = size, tuple(peaks)

    def append(self, leaf: bytes) -> None:
        """Take the hash of the next leaf."""
        peaks, whole = list(self.peaks), leaf
        for _ in range((~self.size & (self.size + 1)).bit_length() - 1):
            whole = node_hash(peaks.pop(), whole)
        self.size, self.peaks = self.size + 1, (*peaks, whole)

    @property
    def head(self) -> bytes:
        """The tree head of all leaves so far."""
        return _joined(self.peaks)


def _joined(peaks: Sequence[bytes]) -> bytes:
    if not peaks:
        return NO_LEAVES
    head = peaks[-1]
    for peak in reversed(peaks[:-1]):
        head = node_hash(peak, head)
    return head


def head_of(leaves: Sequence[bytes]) -> bytes:
    """Return the tree head over leaf hashes (RFC 9162 section 2.1.1: MTH)."""
    level = list(leaves) or [NO_LEAVES]
    while len(level) > 1:
        pairs = zip(level[::2], level[1::2], strict=False)
        level = [node_hash(left, right) for left, right in pairs] + level[len(level) & ~1 :]
    return level[0]


def inclusion_path(index: int, leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    """Return the path from leaf `index` to the head over all leaves (RFC 9162 section 2.1.3.1: PATH), leaf first."""
    path, begin, end = [], 0, len(leaves)
    while end - begin > 1:
        middle = begin + _left(end - begin)
        if index < middle:
            path.append(head_of(leaves[middle:end]))
            end = middle
        else:
            path.append(head_of(leaves[begin:middle]))
            begin = middle
    return tuple(reversed(path))


def included(index: int, size: int, leaf: bytes, path: Sequence[bytes]) -> bytes | None:
    """Return the head to which a path leads from a leaf hash (RFC 9162 section 2.1.3.2), None if it can be no path."""
    if not 0 <= index < size or any(len(step) != OCTETS for step in (leaf, *path)):
        return None
    at, last, head = index, size - 1, leaf
    for step in path:
        if last == 0:
            return None
        if at & 1 or at == last:
            head = node_hash(step, head)
            while at and not at & 1:
                at, last = at >> 1, last >> 1
        else:
            head = node_hash(head, step)
        at, last = at >> 1, last >> 1
    return head if last == 0 else None


def consistency_path(earlier: int, leaves: Sequence[bytes]) -> tuple[bytes, ...]:
    """Return what shows that the first `earlier` leaves are those of before (RFC 9162 section 2.1.4.1: PROOF)."""
    path, begin, end, known = list[bytes](), 0, len(leaves), True
    upto = earlier
    while upto != end:
        middle = begin + _left(end - begin)
        if upto <= middle:
            path.append(head_of(leaves[middle:end]))
            end = middle
        else:
            path.append(head_of(leaves[begin:middle]))
            begin, known = middle, False
    return tuple(reversed(path if known else [*path, head_of(leaves[begin:end])]))


def is_consistent(earlier: int, later: int, first: bytes, second: bytes, path: Sequence[bytes]) -> bool:
    """Whether a path shows that the log with head `second` begins with that of head `first` (section 2.1.4.2)."""
    if not 0 < earlier <= later or any(len(step) != OCTETS for step in (first, second, *path)):
        return False
    if earlier == later:
        return not path and first == second
    steps = ([first] if earlier.bit_count() == 1 else []) + list(path)
    if not steps:
        return False
    at, last = earlier - 1, later - 1
    while at & 1:
        at, last = at >> 1, last >> 1
    before = after = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if at & 1 or at == last:
            before, after = node_hash(step, before), node_hash(step, after)
            while at and not at & 1:
                at, last = at >> 1, last >> 1
        else:
            after = node_hash(after, step)
        at, last = at >> 1, last >> 1
    return last == 0 and before == first and after == second


def _left(count: int) -> int:
    """Return how many of `count` leaves (two at least) are in the left subtree: the largest power of two below it."""
    return 1 << (count - 1).bit_length() - 1
