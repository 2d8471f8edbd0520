"""What a shore holds of one audience: how far, and a digest, so that the ship can tell whether it is what she told.

Rules: pure; made of released frames alone.
"""

from relay.core.history import History
from relay.core.uplink_talk import Held


def held_of(history: History, is_open: bool = False) -> Held:
    """Return what a history comes to; `is_open`: whether everybody is shown it."""
    programme = -1 if history.programme is None else history.programme.seq
    if not history.dives:
        return Held(programme=programme, open=is_open)
    newest = history.dives[-1]
    return Held(newest.number, len(newest.frames) - 1, programme, newest.digest(), is_open)
