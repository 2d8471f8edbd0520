"""What the exact record draws, looked up where it was drawn before: for tests that seal the same rows again and again.

A draw follows from the key and its label alone (`test_minute_tree` holds it to that), so paired runs and restarts get
the very bytes that drawing again would give. Of what a row costs, its twenty empty neighbours are the most; a tree of
few levels costs a third, and its root follows the rows as that of twenty does, whose height has tests of its own
(`test_minute_tree`, `test_minute_roots`, `test_heads_tell_nothing`).
"""

from functools import cache, lru_cache

import pytest

import relay.core.minute_roots
import relay.core.minute_tree
import relay.core.pipeline
import relay.core.proof
import relay.core.record_log
from relay.core.minute_tree import Evidence

# Room for twice the rows that a minute of the paired runs has (29 at most, and MOST_ROWS is 64).
LOW_LEVELS = 7


class RememberingEvidence(Evidence):
    """Draws each empty subtree, salt and seat once."""

    __slots__ = ()
    salt = lru_cache(1 << 12)(Evidence.salt)  # type: ignore[assignment]
    seat = lru_cache(1 << 12)(Evidence.seat)  # type: ignore[assignment]
    empty = lru_cache(1 << 15)(Evidence.empty)  # type: ignore[assignment]


def draw_once(patch: pytest.MonkeyPatch) -> None:
    """Let all pipelines with one key draw from one evidence, which remembers."""
    patch.setattr(relay.core.pipeline, "Evidence", cache(RememberingEvidence))


def low_trees(patch: pytest.MonkeyPatch, levels: int = LOW_LEVELS) -> None:
    """Let the trees of the exact record have few levels; a minute is full when half its seats are taken."""
    values = {"LEVELS": levels, "SEATS": 1 << levels, "MOST_ROWS": 1 << levels - 1, "_FREED": 2 * levels}
    core = relay.core
    for module in (core.minute_tree, core.record_log, core.minute_roots, core.proof):
        for name, value in values.items():
            if hasattr(module, name):
                patch.setattr(module, name, value)
