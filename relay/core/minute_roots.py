"""The roots of a journal's minutes all at once, for whoever checks a whole journal: what `record_log` grows row by row.

Rules: the same roots in little more than half the time, for a node is hashed once a minute and not once a row.
Bounded: the leaves of one minute are in memory, `minute_tree.MOST_ROWS` at most.
"""

from collections.abc import Iterable, Iterator, Mapping

from relay.core.merkle import leaf_hash, node_hash
from relay.core.minute_tree import LEVELS, MINUTE_US, MOST_ROWS, SEATS, SILENT_MINUTES, Evidence, opened
from relay.core.model import Row
from relay.core.record_log import Closed


def closed_minutes(evidence: Evidence, rows: Iterable[Row], upto_us: int = 0) -> Iterator[Closed]:
    """Yield what the minutes come to that have a leaf in the log and ended by the last row, or a moment after it.

    Owed: the rows of a journal from the first on, in their order and that of their moments.
    """
    minute, last, silent = 0, 0, 0
    leaves: dict[int, bytes] = {}
    for row in rows:
        now = row.embargo_us // MINUTE_US
        while minute < now or len(leaves) >= MOST_ROWS:
            if not leaves and silent >= SILENT_MINUTES:
                minute = now
                break
            yield Closed(minute, last, root_of(evidence, minute, leaves))
            minute, silent, leaves = minute + 1, 0 if leaves else silent + 1, {}
        seat = evidence.seat(row.seq)
        while SEATS + seat in leaves:
            seat = (seat + 1) % SEATS
        leaves[SEATS + seat] = leaf_hash(opened(row, evidence.salt(row.seq)))
        last = row.seq
    while minute < upto_us // MINUTE_US and (leaves or silent < SILENT_MINUTES):
        yield Closed(minute, last, root_of(evidence, minute, leaves))
        minute, silent, leaves = minute + 1, 0 if leaves else silent + 1, {}


def root_of(evidence: Evidence, minute: int, leaves: Mapping[int, bytes]) -> bytes:
    """Return the root over leaf hashes by the numbers of their nodes: SEATS + seat, as in a binary heap."""
    nodes = leaves
    for level in range(LEVELS):
        first, above = SEATS >> level, dict[int, bytes]()
        for node, value in nodes.items():
            if node >> 1 in above:
                continue
            beside = nodes.get(node ^ 1) or evidence.empty(minute, level, (node ^ 1) - first)
            above[node >> 1] = node_hash(beside, value) if node & 1 else node_hash(value, beside)
        nodes = above
    return nodes.get(1) or evidence.empty(minute, LEVELS, 0)
