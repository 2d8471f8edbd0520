"""`offing ship` at its most talkative: every logger at DEBUG, the feeds reported often. Run as a program by tests."""

import logging
import sys

from relay.__main__ import main
from relay.shell.ship import ship

if __name__ == "__main__":
    # What is set up first stays: the command's own, quieter, set-up of the root logger comes too late.
    logging.basicConfig(level=logging.DEBUG, format="%(asctime)s %(levelname)s %(name)s %(message)s", stream=sys.stderr)
    logging.getLogger("tests").debug("every logger is on")
    ship.REPORT_S = 0.5
    sys.exit(main(["ship", *sys.argv[1:]]))
