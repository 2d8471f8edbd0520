"""The evidence tree of one minute of the exact record: a leaf for each journal row, at a secret seat.

Rules: exact and private; only a root goes further, and that only below a blind (`record_log`).
1. A leaf is the RFC 9162 leaf hash of the row with a salt of 16 bytes of its own before it, so that no guess of a
   row, however few values it may have, can be tried against a hash; to know one salt opens one row alone.
2. The tree always has 2**20 seats, so that every path has 20 hashes. A row sits at a seat drawn for it, the next free
   one where that is taken; a subtree without a row has a drawn hash of its own, which nobody can tell from that of one
   with rows. So a path tells neither how many rows the minute had nor where they stand.
3. Each row rehashes its 20 nodes as it comes, and a tree that is done with is let go of with the rows after it: the
   same is left to do when a minute ends whatever it had, and so no moment of sending tells how much there was.
4. Everything is drawn by BLAKE2s (RFC 7693) of a label under the evidence key: run again, it is the same. It costs
   a third of HMAC-SHA256, and of draws a row takes a dozen.
"""

from collections.abc import Callable
from dataclasses import dataclass
from hashlib import blake2s, sha256

import msgpack

from relay.core.merkle import leaf_hash
from relay.core.model import Row

MINUTE_US = 60_000_000
LEVELS = 20
SEATS = 1 << LEVELS
# An eighth of the seats, so that a free one is near, and a minute's nodes stay below some 150 MB.
MOST_ROWS = SEATS // 8
# After so many minutes without a row the log has no more leaves until a row comes: a day.
SILENT_MINUTES = 1_440
SALT_OCTETS = 16


def keyed(key: bytes) -> Callable[[bytes], bytes]:
    """Return BLAKE2s under a key of at most 32 bytes (RFC 7693 section 2.9), 32 bytes each; the key is hashed once."""
    begun = blake2s(key=key)

    def drawn(label: bytes) -> bytes:
        draw = begun.copy()
        draw.update(label)
        return draw.digest()

    return drawn


class Evidence:
    """What is drawn from a site's evidence key (`Secrets.evidence_key`, 32 bytes)."""

    __slots__ = ("_drawn",)

    def __init__(self, key: bytes) -> None:
        self._drawn = keyed(key)

    def salt(self, seq: int) -> bytes:
        """Return the 16 bytes that stand before the row with this number: 128 bits, as issued with its proof."""
        return self._drawn(b"salt %d" % seq)[:SALT_OCTETS]

    def seat(self, seq: int) -> int:
        """Return the seat drawn for a row."""
        return int.from_bytes(self._drawn(b"seat %d" % seq)[:4], "big") >> 32 - LEVELS

    def empty(self, minute: int, level: int, index: int) -> bytes:
        """Return the hash of a subtree without a row: `level` 0 is a seat, 20 the whole tree."""
        return self._drawn(b"empty %d %d %d" % (minute, level, index))

    def blind(self, audience: str, dive: int, minute: int) -> bytes:
        """Return what a head is hidden under for an audience, in the so-manieth minute of a dive, from 0."""
        return self._drawn(f"blind {audience} {dive} {minute}".encode())


def opened(row: Row, salt: bytes) -> bytes:
    """Return a row with its salt in the one form that is hashed: MessagePack in its shortest forms.

    An array of salt, seq, embargo_us (int), wall_s (float 64), source, kind (text), data (binary), as in the journal.
    """
    value = [salt, row.seq, row.embargo_us, float(row.wall_s), row.source, str(row.kind), row.data]
    return bytes(msgpack.packb(value))


@dataclass(frozen=True, slots=True)
class SeatPath:
    """Where a row sits, and its 20 hashes up to the minute's root, the seat's neighbour first."""

    seat: int
    path: tuple[bytes, ...]


class MinuteTree:
    """The rows of one minute, in the order of the journal."""

    def __init__(self, minute: int, evidence: Evidence) -> None:
        self.minute = minute
        self._evidence = evidence
        self._seats: dict[int, int] = {}
        # A node's number is that of a binary heap: 1 is the root, SEATS + seat a leaf. Those with a row alone.
        self._nodes: dict[int, bytes] = {}

    @property
    def empty(self) -> bool:
        """Whether it has no row."""
        return not self._seats

    @property
    def full(self) -> bool:
        """Whether no further row goes in: at `MOST_ROWS`."""
        return len(self._seats) >= MOST_ROWS

    @property
    def root(self) -> bytes:
        """The root over the rows so far, 32 bytes."""
        return self._node(1)

    def add(self, row: Row) -> None:
        """Take the next row; owed: not when full, and no row twice."""
        seat = self._evidence.seat(row.seq)
        while SEATS + seat in self._nodes:
            seat = (seat + 1) % SEATS
        self._seats[row.seq] = seat
        node, value = SEATS + seat, leaf_hash(opened(row, self._evidence.salt(row.seq)))
        nodes, empty, minute = self._nodes, self._evidence.empty, self.minute
        nodes[node] = value
        for level in range(LEVELS):
            beside = nodes.get(node ^ 1) or empty(minute, level, (node ^ 1) - (SEATS >> level))
            # `merkle.node_hash`, written out: this is most of what a row costs
            value = sha256(b"\x01" + (beside + value if node & 1 else value + beside)).digest()
            node >>= 1
            nodes[node] = value

    def shrunk(self, nodes: int) -> bool:
        """Let go of so many nodes of a tree that is done with; return whether that was the last."""
        for _ in range(min(nodes, len(self._nodes))):
            self._nodes.popitem()
        for _ in range(min(nodes, len(self._seats))):
            self._seats.popitem()
        return not self._nodes and not self._seats

    def path(self, seq: int) -> SeatPath:
        """Return the way from a row to the root; KeyError if the minute doesn't have it."""
        seat = self._seats[seq]
        return SeatPath(seat, tuple(self._node((SEATS + seat >> level) ^ 1) for level in range(LEVELS)))

    def _node(self, node: int) -> bytes:
        return self._nodes.get(node) or self._empty(node)

    def _empty(self, node: int) -> bytes:
        depth = node.bit_length() - 1
        return self._evidence.empty(self.minute, LEVELS - depth, node - (1 << depth))
