"""What `offing deploy` prints: units for systemd and a container file, to be put where their first lines say."""

import argparse
from pathlib import Path

UNITS = Path(__file__).with_name("units")
FILES = {"ship": "ship.service", "shore": "shore.service", "container": "Containerfile"}


def deploy(options: argparse.Namespace) -> int:
    """Print one of them."""
    print((UNITS / FILES[options.what]).read_text(encoding="utf-8"), end="")
    return 0
