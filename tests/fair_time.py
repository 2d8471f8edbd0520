"""Time as a test may count it on a machine with other work: real seconds, but for those spent waiting for a processor.

A timer, a lock, a disk, an event that is lost until the next look: all of that counts, as no processor is asked for
meanwhile. What doesn't count is the time for which this thread could have run, and others did: the kernel keeps it
(Documentation/scheduler/sched-stats, second number of `schedstat`). Where the kernel doesn't, it is real time.
"""

import time
from pathlib import Path

_KEPT = Path("/proc/thread-self/schedstat")


def kept_waiting_s() -> float:
    """Return for how long this thread has waited for a processor, since it began."""
    try:
        return int(_KEPT.read_text().split()[1]) / 1e9
    except OSError:
        return 0.0


def fair_s() -> float:
    """Return a moment of fair time, in seconds: two of them are to be compared."""
    return time.monotonic() - kept_waiting_s()
