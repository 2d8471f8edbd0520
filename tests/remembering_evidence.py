"""What the exact record draws, looked up where it was drawn before: for tests that seal the same rows again and again.

A draw follows from the key and its label alone (`test_minute_tree` holds it to that), so paired runs and restarts get
the very bytes that drawing again would give. Of what a row costs, its twenty empty neighbours are the most.
"""

from functools import cache, lru_cache

import pytest

import relay.core.pipeline
from relay.core.minute_tree import Evidence


class RememberingEvidence(Evidence):
    """Draws each empty subtree once."""

    __slots__ = ()
    empty = lru_cache(1 << 15)(Evidence.empty)  # type: ignore[assignment]


def draw_once(patch: pytest.MonkeyPatch) -> None:
    """Let all pipelines with one key draw from one evidence, which remembers."""
    patch.setattr(relay.core.pipeline, "Evidence", cache(RememberingEvidence))
