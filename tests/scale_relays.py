"""Processes of a shore that is spread: a stream's server, a relay that the ship dials, relays that read the stream."""

import os
import signal
import subprocess
import sys
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes

from certificates import self_signed
from relay.shell.plan.uplink_plan import UplinkPlan
from relay.shell.uplink.uplink import Uplink
from shores import SIGNER
from streams import free_port

ROOT = Path(__file__).resolve().parents[1]
READY = b"followers' page: "


class RelayProcess:
    """One `offing shore`, killed and started again at will. `uplink`: it keeps a disk, and the ship dials it."""

    def __init__(self, folder: Path, stream: str, *, uplink: bool = False) -> None:
        self.folder = folder
        self.address = f"127.0.0.1:{free_port()}"
        self.uplink_port = free_port() if uplink else 0
        self._process: subprocess.Popen[bytes] | None = None
        folder.mkdir()
        text = (
            f'[shore]\nexpedition = "The search for the Isoline Marr"\nkey = "{SIGNER.key.hex()}"\nopen = ["public"]\n'
            f'[site]\nlisten = "{self.address}"\nbehind_proxy = true\n[stream]\nurl = "{stream}"\n'
        )
        if uplink:
            self_signed(folder)
            text += (
                f'[uplink]\nlisten = "127.0.0.1:{self.uplink_port}"\ncertificate = "uplink.pem"\nkey = "uplink.key"\n'
            )
        (folder / "SHORE.toml").write_text(text)

    def start(self) -> None:
        """Start it, without waiting."""
        command = [sys.executable, "-m", "relay", "shore", str(self.folder / "SHORE.toml")]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=log, env=environment)

    def serves(self) -> None:
        """Return when it serves; AssertionError with its last words if it has ended instead."""
        assert self._process is not None and self._process.stdout is not None
        while not (line := self._process.stdout.readline()).startswith(READY):
            assert line, (self.folder / "log").read_text()[-2000:]

    def kill(self) -> None:
        """End it without a word."""
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)
        self._process.communicate()
        self._process = None

    def end(self) -> None:
        """End it, if it runs."""
        if self._process is not None:
            self.kill()


def ship_of(relay: RelayProcess) -> Uplink:
    """Return the ship's end of the link to a relay."""
    certificate = x509.load_pem_x509_certificate((relay.folder / "uplink.pem").read_bytes())
    pin = certificate.fingerprint(hashes.SHA256())
    return Uplink(UplinkPlan("127.0.0.1", relay.uplink_port, pin), SIGNER)
