"""A running shore that holds dives, open and for guests, and its HTTP description tried on it by `schemathesis`.

The library makes requests from `relay/openapi.yaml`, right and wrong, and judges each answer by that document alone: no
status, type, header or body that isn't written there, no fault of the server's, no method that isn't refused.
"""

import asyncio
import os
import re
import subprocess
import sys
import urllib.request
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

import relay
from guests_of import ADA, TOKENS
from link_ends import listing
from peers import until
from relay.shell.plan.uplink_plan import UplinkPlan, shore_pin
from relay.shell.uplink.uplink import Uplink
from released import dive, dive_with_everything, programme
from shore_process import pin, prepare_shore
from streams import SHIP, sealed

HERE = Path(relay.__file__).parent
OPEN, INVITED = "public", "family"
DESCRIBED, BESIDE = HERE / "openapi.yaml", HERE / "asyncapi.yaml"
# Of a guest's path it asks for 401 where a token doesn't count. Here that is 404, byte for byte the answer to what is
# not there, which `test_guest_pages.py` holds to.
NOT_CHECKED = ("ignored_auth",)
# The same holds where no token is sent; and at /live a request that is no handshake is right, and yet not let in.
SETTINGS = """\
[[operations]]
include-path = "/guest.json"
[operations.checks.missing_required_header]
enabled = false
[[operations]]
include-path = "/live"
[operations.checks.positive_data_acceptance]
expected-statuses = [426]
"""


@dataclass(frozen=True)
class Told:
    """Where a shore listens, and a token that counts there."""

    site: str
    watch: str
    token: str


@asynccontextmanager
async def told_shore(folder: Path) -> AsyncIterator[Told]:
    """Yield a running `offing shore` that has been told two dives and a programme, some of them for guests alone."""
    shore = prepare_shore(folder, bytes(range(32)), tls=False)
    text = shore.file.read_text()
    shore.file.write_text(text.replace("[site]", f'invited = ["{INVITED}"]\n[site]', 1))
    await shore.start()
    plan = UplinkPlan("127.0.0.1", shore.uplink, shore_pin("sha256:" + pin()), (OPEN, INVITED), None)
    ship = Uplink(plan, SHIP)
    for frame in sealed([*dive(1, 20), *dive_with_everything(2), programme(0, "The boiler is next.", "the bow")]):
        ship.publish(frame)
    for frame in sealed(dive(1, 5, audience=INVITED)):
        ship.publish(frame)
    ship.guests(listing(1, ADA))
    linked = asyncio.create_task(ship.run())
    told = Told(f"http://127.0.0.1:{shore.site}", f"http://127.0.0.1:{shore.watch}", TOKENS[ADA])
    try:
        await _until_there(told)
        yield told
    finally:
        linked.cancel()
        await asyncio.wait({linked})
        await shore.stop()


async def _until_there(told: Told) -> None:
    async with asyncio.timeout(60):
        for path in (f"/recordings/{INVITED}/dive-001.recording", "/dive-002.html"):
            await until(lambda path=path: _is_there(told, path))  # type: ignore[misc]


def _is_there(told: Told, path: str) -> bool:
    request = urllib.request.Request(told.site + path, headers={"Authorization": f"Bearer {told.token}"})
    with suppress(OSError), urllib.request.urlopen(request, timeout=10):
        return True
    return False


def document(page: Path | None) -> dict[str, Any]:
    """Return the description, with the names of the built page's parts as examples, or without that path."""
    described: dict[str, Any] = yaml.safe_load(DESCRIBED.read_text())
    names = [] if page is None else sorted(path.name for path in (page / "assets").iterdir())
    if not names:
        del described["paths"]["/assets/{name}"]
        return described
    asset = described["paths"]["/assets/{name}"]["get"]["parameters"][0]
    asset["examples"] = {str(at): {"value": name} for at, name in enumerate(names)}
    return described


@dataclass(frozen=True)
class Checked:
    """What the library said. `ok`: it found nothing."""

    ok: bool
    words: str

    @property
    def requests(self) -> int:
        """How many requests it made."""
        found = re.search(r"(\d+) generated", self.words)
        return int(found[1]) if found else 0

    @property
    def tested(self) -> int:
        """How many paths of the document it tried."""
        found = re.search(r"^ *Tested: (\d+)", self.words, re.MULTILINE)
        return int(found[1]) if found else 0

    @property
    def summary(self) -> str:
        """Return its last line but for the rules around it, and how many requests there were."""
        lines = [line.strip("= ") for line in self.words.splitlines() if line.startswith("===")]
        return f"{self.requests:5} requests: {lines[-1] if lines else 'it did not run'}"


async def tried(
    folder: Path, described: dict[str, Any], url: str, *more: str, tag: str, count: int, seed: int, token: str = ""
) -> Checked:
    """Let the library try what a description says of the paths with a tag (all), at `url`, with a token or without."""
    path = folder / "openapi.yaml"
    path.write_text(yaml.safe_dump(described))
    (folder / BESIDE.name).write_text(BESIDE.read_text())
    (folder / "schemathesis.toml").write_text(SETTINGS)
    command = [sys.executable, "-m", "schemathesis.cli", "run", str(path), "--url", url]
    command += ["--include-tag", tag] if tag else []
    command += ["--max-examples", str(count), "--seed", str(seed), "--exclude-checks", ",".join(NOT_CHECKED)]
    command += ["--generation-database", "none", "--no-color", "--continue-on-failure", "--no-shrink"]
    command += ["--request-timeout", "60", "--suppress-health-check", "all", *more]
    command += ["--header", f"Authorization: Bearer {token}"] if token else []
    return await asyncio.to_thread(_run, command, folder)


def _run(command: Sequence[str], folder: Path) -> Checked:
    environment = {**os.environ, "PYTHONWARNINGS": "default", "HYPOTHESIS_STORAGE_DIRECTORY": str(folder / "kept")}
    done = subprocess.run(
        command,
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
        timeout=3_600,
    )
    return Checked(done.returncode == 0, done.stdout.decode(errors="replace"))
