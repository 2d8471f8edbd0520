"""`offing ship` and `offing shore` with short deadlines: `hurried.py ship FILE`, `hurried.py shore FILE`.

Run as a program by tests. Nothing else is changed: what a relay does at a deadline it does sooner, so that a run meets
each of them hundreds of times.
"""

import sys
from dataclasses import replace
from functools import partial

from relay.__main__ import main
from relay.shell.feeds import feeds
from relay.shell.feeds.feed_intake import FeedLimits
from relay.shell.ship import running
from relay.shell.shore import shore_site
from relay.shell.site.gate import DEFAULTS
from relay.shell.uplink import uplink, uplink_port
from relay.shell.uplink.uplink_port import PortLimits
from relay.shell.uplink.uplink_session import LinkLimits

PONG_S, HTTP_S, IDLE_S = 4.0, 4.0, 1.5
SITE = replace(DEFAULTS, handshake_s=3.0, ping_s=2.0, pong_s=PONG_S, close_s=1.0, keepalive_s=2.0, http_s=HTTP_S)
PORT = {"first_s": 2.0, "prove_s": 4.0, "silent_s": 4.0, "farewell_s": 0.5}
LINK = {"greet_s": 4.0, "keep_s": 0.4, "answer_s": 1.5, "most_wait_s": 0.05, "patient_wait_s": 0.05, "alarm_s": 30.0}
FEED = {"dial_s": 2.0, "idle_s": IDLE_S, "least_wait_s": 0.02, "most_wait_s": 0.1}


def hurry() -> None:
    """Shorten every deadline of a link, at either end."""
    uplink.LinkLimits = partial(LinkLimits, **LINK)  # type: ignore[misc, assignment]
    uplink_port.PortLimits = partial(PortLimits, **PORT)  # type: ignore[misc, assignment]
    feeds.FeedLimits = partial(FeedLimits, **FEED)  # type: ignore[misc, assignment]
    running.DEFAULTS = shore_site.DEFAULTS = SITE


if __name__ == "__main__":
    hurry()
    sys.exit(main(sys.argv[1:]))
