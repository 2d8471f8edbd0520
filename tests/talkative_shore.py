"""`offing shore` at its most talkative: every logger at DEBUG. Run as a program by tests."""

import logging
import sys

from relay.__main__ import main

if __name__ == "__main__":
    # What is set up first stays: the command's own, quieter, set-up of the root logger comes too late.
    logging.basicConfig(level=logging.DEBUG, format="%(asctime)s %(levelname)s %(name)s %(message)s", stream=sys.stderr)
    logging.getLogger("tests").debug("every logger is on")
    sys.exit(main(["shore", *sys.argv[1:]]))
