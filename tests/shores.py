"""Shores for tests: a ship's key, frames that she signed, and a shore's file."""

from collections.abc import Iterable
from pathlib import Path

from relay.core.seal import Signer
from relay.shell.outlet import Frame
from relay.shell.shore_file import ShoreFile, parse_shore_file

SIGNER, STRANGER = Signer(bytes(range(32))), Signer(bytes(range(1, 33)))
RIGHT = f"""\
[shore]
expedition = "The search for the Isoline Marr"
key = "{SIGNER.key.hex()}"
open = ["public"]
invited = ["funders"]

[site]
listen = "127.0.0.1:0"

[uplink]
listen = "127.0.0.1:0"
certificate = "uplink.pem"
key = "uplink.key"
"""


def changed(old: str, new: str) -> str:
    """Return the right file with one text replaced, which must be there once."""
    assert RIGHT.count(old) == 1, old
    return RIGHT.replace(old, new)


def shore_file(folder: Path, text: str = RIGHT) -> ShoreFile:
    """Return a checked shore file that lies in a folder."""
    return parse_shore_file(text, folder / "SHORE.toml")


def sealed(frames: Iterable[Frame], signer: Signer = SIGNER) -> list[bytes]:
    """Return frames as the ship signs them."""
    return [signer.seal(frame.audience, frame.data) for frame in frames]
