"""A shore's relay as a real process, fed by a real ship's, and a follower over TLS."""

import asyncio
import contextlib
import hashlib
import os
import signal
import ssl
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from relay.core.seal import Signer
from ship_process import ROOT, free_port
from shores import pem_files, with_certificates

SHORE_TEXT = """\
[shore]
expedition = "The search for the Isoline Marr"
key = "{key}"
open = [{open}]
[site]
listen = "127.0.0.1:{site}"
{tls}
[uplink]
listen = "127.0.0.1:{uplink}"
certificate = "uplink.pem"
key = "uplink.key"
[watch]
listen = "127.0.0.1:{watch}"
"""
TLS = 'certificate = "site.pem"\nkey = "site.key"'


def pin() -> str:
    """Return the pin of the certificates here, worked out by the standard library."""
    return hashlib.sha256(ssl.PEM_cert_to_DER_cert(pem_files()[0].decode())).hexdigest()


@dataclass
class ShoreProcess:
    """`offing shore` as a process of its own, killed and started at will. `command`: what runs it, without the file."""

    file: Path
    site: int
    uplink: int
    watch: int
    command: Sequence[str] = (sys.executable, "-m", "relay", "shore")
    process: Process | None = None
    words: list[str] = field(default_factory=list)
    _reader: "asyncio.Task[None] | None" = None

    @property
    def folder(self) -> Path:
        """Where it keeps what was released."""
        return self.file.parent / "shore"

    @property
    def for_the_ship(self) -> str:
        """What the ship's expedition file says of it."""
        return f'[uplink]\nto = "wss://127.0.0.1:{self.uplink}"\npin = "sha256:{pin()}"\n'

    async def start(self) -> None:
        """Start it and wait until it has printed its address."""
        environment = {**os.environ, "PYTHONPATH": ROOT}
        words = [*self.command, str(self.file), "--log", "json"]
        self.process = await asyncio.create_subprocess_exec(*words, stdout=PIPE, stderr=PIPE, env=environment)
        assert self.process.stdout is not None
        self._reader = asyncio.ensure_future(self._read())
        line = await asyncio.wait_for(self.process.stdout.readline(), 60)
        assert f"127.0.0.1:{self.site}" in line.decode(), self.words

    async def _read(self) -> None:
        assert self.process is not None
        assert self.process.stderr is not None
        while line := await self.process.stderr.readline():
            self.words.append(line.decode())

    def leave_words(self, folder: Path) -> None:
        """Write down what it said, where `invariants.py` looks for it."""
        folder.mkdir(exist_ok=True)
        (folder / "shore").write_text("".join(self.words))

    async def stop(self, number: signal.Signals = signal.SIGTERM) -> None:
        """Signal it, and wait for its end."""
        assert self.process is not None
        with contextlib.suppress(ProcessLookupError):
            self.process.send_signal(number)
        await asyncio.wait_for(self.process.wait(), 30)
        if self._reader is not None:
            await self._reader


def prepare_shore(
    folder: Path, signing_seed: bytes, audiences: Sequence[str] = ("public",), *, tls: bool = True
) -> ShoreProcess:
    """Write the file and the certificates of a shore into a folder; nothing is started."""
    with_certificates(folder, "uplink", "site")
    ports = {name: free_port() for name in ("site", "uplink", "watch")}
    names = ", ".join(f'"{name}"' for name in audiences)
    path = folder / "SHORE.toml"
    key = Signer(signing_seed).key.hex()
    path.write_text(SHORE_TEXT.format(key=key, open=names, tls=TLS if tls else "", **ports))
    return ShoreProcess(path, **ports)
