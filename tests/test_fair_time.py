"""Fair time: waits count in full, a processor that others have doesn't."""

import subprocess
import sys
import threading
import time
from os import sched_getaffinity, sched_setaffinity

from fair_time import fair_s


def test_wait_counts_in_full() -> None:
    """Half a second of waiting for something that doesn't come is half a second, and no less."""
    began, began_fair = time.monotonic(), fair_s()
    threading.Event().wait(0.5)
    assert 0.45 < fair_s() - began_fair <= time.monotonic() - began


def test_work_of_others_does_not_count() -> None:
    """Work on one processor with two others at work there takes longer by far than what counts of it."""
    mine = sched_getaffinity(0)
    sched_setaffinity(0, {min(mine)})
    others = [subprocess.Popen([sys.executable, "-S", "-c", "while True: pass"]) for _ in range(2)]
    try:
        began, began_fair, began_work = time.monotonic(), fair_s(), time.thread_time()
        while (worked := time.thread_time() - began_work) < 0.4:
            pass
        fair, real = fair_s() - began_fair, time.monotonic() - began
    finally:
        for other in others:
            other.kill()
            other.wait()
        sched_setaffinity(0, mine)
    assert real > 1.3 * worked
    assert fair < (worked + real) / 2
