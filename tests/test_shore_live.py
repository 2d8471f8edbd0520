"""The whole way, with a ship's and a shore's relay as processes of their own: the same bytes at a viewer ashore."""

import asyncio
import contextlib
import json
import signal
import ssl
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import msgpack
import pytest
import websockets

from relay.__main__ import main
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from ship_process import AUDIENCE_TEXT, EXPEDITION_TEXT, ShipProcess, free_port
from shore_process import ShoreProcess, prepare_shore
from shores import pem_files

KEY = bytes(range(32))
DELAY_S = 1


def trusting() -> ssl.SSLContext:
    """Return a client's TLS that takes the shore's certificate and no other."""
    return ssl.create_default_context(cadata=pem_files()[0].decode())


@dataclass
class Viewer:
    """Follows an audience ashore over TLS, resuming by dive and sequence; keeps what comes."""

    port: int
    frames: list[bytes] = field(default_factory=list)

    async def follow(self, until_seq: int | None = None) -> None:
        """Follow until a dive ends, or a record of that number has come, dialling again whenever it is cut off."""
        while not (self.frames and self._done(self.frames[-1], until_seq)):
            with contextlib.suppress(OSError, websockets.WebSocketException):
                dive, after = (1, -1) if not self.frames else msgpack.unpackb(self.frames[-1])[:2]
                url = f"wss://127.0.0.1:{self.port}/live?audience=public&dive={dive}&after={after}"
                async with websockets.connect(url, ssl=trusting()) as line:
                    async for frame in line:
                        self.frames.append(bytes(frame))  # type: ignore[arg-type]
                        if self._done(self.frames[-1], until_seq):
                            return
            await asyncio.sleep(0.05)

    @staticmethod
    def _done(frame: bytes, until_seq: int | None) -> bool:
        _, seq, kind = msgpack.unpackb(frame)[:3]
        return kind == 3 or (until_seq is not None and seq >= until_seq)


def prepared(folder: Path) -> tuple[ShipProcess, ShoreProcess, int]:
    """Return a ship and her shore, and the port that her feed listens on; nothing is started."""
    shore = prepare_shore(folder / "ashore", Secrets(KEY).signing_seed)
    private = folder / "aboard" / "private"
    private.mkdir(parents=True)
    private.chmod(0o700)
    (private / "secrets.json").write_text(json.dumps({"key": KEY.hex()}))
    (private / "secrets.json").chmod(0o600)
    feed, page = free_port(), free_port()
    values = {"port": page, "format": "station-json", "source": f"tcp-listen://127.0.0.1:{feed}", "quiet": "2 s"}
    audience = AUDIENCE_TEXT.format(delay=f"{DELAY_S} s", said='"notes"')
    path = folder / "aboard" / "EXPEDITION.toml"
    path.write_text(EXPEDITION_TEXT.format(**values) + shore.for_the_ship + audience)
    return ShipProcess(path, page), shore, feed


async def dialled(port: int) -> asyncio.StreamWriter:
    """Return a line to the ship's feed: her page may be there before that listens."""
    while True:
        with contextlib.suppress(OSError):
            return (await asyncio.open_connection("127.0.0.1", port))[1]
        await asyncio.sleep(0.05)


async def reports(port: int, count: int) -> None:
    """Send a report every quarter of a second, as a station does, which dials until the ship listens."""
    line = await dialled(port)
    for at in range(count):
        told = {"latitude_deg": -38.6 + at * 1e-5, "longitude_deg": -21.9, "depth_m": 30.0 + at, "heading_deg": 80.0}
        line.write(json.dumps(told | {"vehicle": "Lantern"}).encode() + b"\n")
        await asyncio.sleep(0.25)
    line.close()


@pytest.mark.slow
async def test_viewer_ashore_gets_the_ships_own_recording_whatever_is_killed(tmp_path: Path) -> None:
    """Ship, link, shore, TLS, viewer: each record once and in order, though the shore is killed and its disk lost."""
    ship, shore, feed = prepared(tmp_path)
    viewer = Viewer(shore.site)
    await shore.start()
    await ship.start()
    try:
        async with asyncio.timeout(180), asyncio.TaskGroup() as sending:
            sending.create_task(reports(feed, 28))
            await viewer.follow(until_seq=3)
            await shore.stop(signal.SIGKILL)
            await shore.start()
            await viewer.follow(until_seq=6)
            await shore.stop(signal.SIGKILL)
            for path in (shore.folder / "public").iterdir():
                path.unlink()
            await shore.start()
            await viewer.follow()
            page = f"https://127.0.0.1:{shore.site}/recordings/public/dive-001.recording"
            given = await asyncio.to_thread(lambda: urllib.request.urlopen(page, context=trusting()).read())
    finally:
        await ship.stop()
        await shore.stop()
    own = (tmp_path / "aboard" / "released" / "public" / "dive-001.recording").read_bytes()
    kept = (shore.folder / "public" / "dive-001.recording").read_bytes()
    assert given == kept == own
    assert own.startswith(b"".join(viewer.frames))
    assert [msgpack.unpackb(frame)[1] for frame in viewer.frames] == list(range(len(viewer.frames)))
    assert len(viewer.frames) > 8
    shown = [str(shore.folder / "public"), "--key", Signer(Secrets(KEY).signing_seed).key.hex()]
    assert main(["verify", *shown]) == 0
