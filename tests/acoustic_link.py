"""An acoustic link, simulated: of a vehicle's own log some reports come, late and out of order.

Common practice, no source: a report every half minute, three in ten lost, the others up to three minutes late.
"""

import random
from collections.abc import Sequence
from typing import Any

REPORT_EVERY_S, LOST, LATEST_S = 30.0, 0.3, 180.0
Message = dict[str, Any]


def over_acoustic_link(log: Sequence[Message], seed: int = 1) -> list[tuple[float, Message]]:
    """Return (seconds after the log's begin, message) of what arrives, in the order in which it does."""
    chance, begun_s, next_s = random.Random(seed), float(log[0]["t"]), float(log[0]["t"])
    arrived = []
    for message in log:
        if message["t"] < next_s:
            continue
        next_s = message["t"] + REPORT_EVERY_S
        if chance.random() >= LOST:
            arrived.append((message["t"] - begun_s + chance.uniform(0.5, LATEST_S), message))
    return sorted(arrived, key=lambda pair: pair[0])
