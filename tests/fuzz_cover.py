"""Which few of many inputs reach most of the relay: by the steps from line to line that each makes there."""

import sys
from collections.abc import Callable, Sequence
from types import FrameType
from typing import Any

import relay

_OURS = str(next(iter(relay.__path__)))
Step = tuple[str, int, int]


def steps_of(check: Callable[[bytes], None], data: bytes) -> set[Step]:
    """Return the steps from line to line within the relay that a check of an input makes."""
    steps: set[Step] = set()

    def enter(frame: FrameType, event: str, _: Any) -> Any:
        file = frame.f_code.co_filename
        if not file.startswith(_OURS):
            return None
        last = 0

        def step(frame: FrameType, event: str, _: Any) -> Any:
            nonlocal last
            steps.add((file, last, frame.f_lineno))
            last = frame.f_lineno
            return step

        return step

    before = sys.gettrace()
    sys.settrace(enter)
    try:
        check(data)
    finally:
        sys.settrace(before)
    return steps


def few_that_reach_most(check: Callable[[bytes], None], inputs: Sequence[bytes], most: int) -> list[bytes]:
    """Return at most so many inputs that together make as many different steps as may be, the best one first."""
    by_size = sorted(set(inputs), key=lambda data: (len(data), data))
    left = {data: steps_of(check, data) for data in by_size}
    kept, seen = list[bytes](), set[Step]()
    while left and len(kept) < most:
        best = max(left, key=lambda data: len(left[data] - seen))
        gained = left.pop(best) - seen
        if not gained:
            break
        kept.append(best)
        seen |= gained
    return kept
