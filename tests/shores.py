"""Shores for tests: a ship's key, frames that she signed, and a shore's file."""

import tempfile
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from functools import cache
from pathlib import Path

from certificates import self_signed
from relay.core.seal import Signer
from relay.shell.released.outlet import Frame
from relay.shell.shore.shore import Shore
from relay.shell.shore.shore_file import ShoreFile, parse_shore_file
from relay.shell.shore.shore_run import new_shore

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


@cache
def pem_files() -> tuple[bytes, bytes]:
    """Return a certificate for 127.0.0.1 and its key as PEM: made once for a process."""
    with tempfile.TemporaryDirectory() as folder:
        certificate, key = self_signed(Path(folder))
        return certificate.read_bytes(), key.read_bytes()


def with_certificates(folder: Path, *names: str) -> Path:
    """Put NAME.pem and NAME.key into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in names or ("uplink",):
        for ending, content in zip(("pem", "key"), pem_files(), strict=True):
            (folder / f"{name}.{ending}").write_bytes(content)
    return folder


@asynccontextmanager
async def ashore(folder: Path, text: str = RIGHT) -> AsyncIterator[Shore]:
    """Run a shore in this process; it is closed at the end."""
    shore = new_shore(shore_file(with_certificates(folder, "uplink", "site"), text))
    await shore.start()
    try:
        yield shore
    finally:
        await shore.close()


def sealed(frames: Iterable[Frame], signer: Signer = SIGNER) -> list[bytes]:
    """Return frames as the ship signs them."""
    return [signer.seal(frame.audience, frame.data) for frame in frames]
