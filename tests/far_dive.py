"""A dive that goes over a poor link: released to the default public audience, signed, carried, and what became of it.

The ends are programs in namespaces of their own (`satellite.py`): `ship_end.py`, `offing shore`, and a follower ashore
that is written with the library `websockets` alone. `far_dive.py PORT FILE` is that follower.
"""

import asyncio
import contextlib
import json
import os
import subprocess
import sys
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dives import INVENTED_SITE, SECOND, SECRETS, message, rows, run, walk
from link_ends import SIGNER
from relay.core.pipeline import Pipeline
from relay.core.wire import encode, footer
from relay.shell.plan.expedition import parse_expedition
from relay.shell.uplink.uplink_tls import certificate_of, pin_of
from satellite import SHORE, Satellite
from ship_process import ROOT, Follower
from shores import RIGHT, with_certificates

EXPEDITION = """\
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"

[[vehicle]]
name = "Lantern"

[[vehicle]]
name = "Moth"

[[feed]]
name = "station"
format = "station-json"
from = "tcp-listen://127.0.0.1:4010"

[[audience]]
name = "public"
preset = "public"
open = true
"""
REPORT_S, NOTE_S, SITE_PORT, LINK_PORT = 5, 600, 8_443, 8_444


def recording(seconds: int) -> bytes:
    """Return the recording of a dive with two vehicles and a note every ten minutes, as the public is told of it."""
    plan = parse_expedition(EXPEDITION, Path("EXPEDITION.toml")).plan
    steps = [walk(seconds, seed) for seed in (1, 2)]
    sent = [
        ((second + 5) * SECOND + at, message(steps[at][second], INVENTED_SITE, name, _note(at, second)))
        for second in range(0, seconds, REPORT_S)
        for at, name in enumerate(plan.vehicles)
    ]
    due = run(Pipeline(plan, SECRETS), rows(sent))
    frames = [SIGNER.seal(item.record.audience, encode(item.record)) for item in due]
    return b"".join([*frames, footer(frames)])


def _note(vehicle: int, second: int) -> str | None:
    return f"something was seen, the {second // NOTE_S}th time" if vehicle == 0 and second % NOTE_S == 300 else None


@dataclass
class Voyage:
    """A dive on its way over a link: programs, and what they last said."""

    satellite: Satellite
    programs: list[Process] = field(default_factory=list)
    told: dict[str, Any] = field(default_factory=dict)
    seen: int = 0

    async def until(self, true: Any, within_s: float) -> float:
        """Wait for something to become true of `told` and `seen`; return how many seconds it took."""
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        async with asyncio.timeout(within_s):
            while not true():
                passed = asyncio.Event()
                loop.call_later(0.02, passed.set)
                await passed.wait()
        return loop.time() - began_s

    async def passed(self, seconds: float) -> None:
        """Let real time pass: an outage lasts as long as it lasts."""
        passed = asyncio.Event()
        asyncio.get_running_loop().call_later(seconds, passed.set)
        await passed.wait()

    @property
    def up(self) -> bool:
        """Whether the ship has a link."""
        return self.told.get("state") == "up"

    @property
    def is_current(self) -> bool:
        """Whether the follower ashore has all that the ship has released."""
        return self.up and self.seen >= int(self.told["released"])


@asynccontextmanager
async def voyage(satellite: Satellite, folder: Path, dive: bytes, pace: float, keep_s: float) -> AsyncIterator[Voyage]:
    """Yield a dive under way, `pace` times as fast as it went; all its programs are ended."""
    told = folder / "dive.recording"
    told.write_bytes(dive)
    file = with_certificates(folder) / "SHORE.toml"
    text = RIGHT.replace("127.0.0.1:0", f"127.0.0.1:{SITE_PORT}", 1).replace("127.0.0.1:0", f"{SHORE}:{LINK_PORT}", 1)
    file.write_text(text)
    pin = pin_of(certificate_of(folder / "uplink.pem"))
    tests = str(Path(__file__).parent)
    environment = {**os.environ, "PYTHONPATH": f"{ROOT}:{tests}"}
    commands = [
        (satellite.shore, ["-m", "relay", "shore", str(file)]),
        (satellite.shore, [__file__, str(SITE_PORT), str(folder / "seen")]),
        (satellite.ship, [f"{tests}/ship_end.py", str(told), SHORE, str(LINK_PORT), pin, str(pace), str(keep_s)]),
    ]
    here = Voyage(satellite)
    readers: list[asyncio.Task[None]] = []
    try:
        for at, (namespace, command) in enumerate(commands):
            process = await asyncio.create_subprocess_exec(
                *("ip", "netns", "exec", namespace, sys.executable, *command),
                stdin=DEVNULL,
                stdout=PIPE if at else DEVNULL,
                stderr=DEVNULL,
                env=environment,
            )
            here.programs.append(process)
            if process.stdout is not None:
                readers.append(asyncio.ensure_future(_read(here, process.stdout)))
        yield here
    finally:
        for process in here.programs:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await process.wait()
        for reader in readers:
            reader.cancel()


async def _read(here: Voyage, lines: asyncio.StreamReader) -> None:
    while line := await lines.readline():
        value = json.loads(line)
        if isinstance(value, int):
            here.seen = value
        else:
            here.told = value


def seen(folder: Path) -> bytes:
    """Return what the follower has had, joined."""
    return (folder / "seen").read_bytes()


def set_congestion_control(satellite: Satellite, names: Sequence[str] = ("bbr", "cubic")) -> str:
    """Set what TCP of both ends goes by, the first that the kernel has; return which."""
    for name in names:
        commands = [["ip", "netns", "exec", end, "sysctl", "-qw", f"net.ipv4.tcp_congestion_control={name}"]
                    for end in (satellite.ship, satellite.shore)]  # fmt: skip
        if all(subprocess.run(command, check=False, capture_output=True).returncode == 0 for command in commands):
            return name
    return "the kernel's own"


async def follow(port: int, out: Path) -> None:
    """Follow a shore's site; say how many records have come, and keep them."""
    follower, told = Follower(port), 0
    following = asyncio.ensure_future(follower.follow())
    with out.open("wb") as file:
        while True:
            if len(follower.frames) > told:
                file.write(b"".join(follower.frames[told:]))
                file.flush()
                told = len(follower.frames)
                sys.stdout.write(f"{told}\n")
                sys.stdout.flush()
            if following.done() and told == len(follower.frames):
                await asyncio.Event().wait()
            await asyncio.sleep(0.02)


if __name__ == "__main__":
    asyncio.run(follow(int(sys.argv[1]), Path(sys.argv[2])))
