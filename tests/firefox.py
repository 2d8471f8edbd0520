"""Firefox, driven over WebDriver BiDi (W3C working draft) with the library `websockets` alone."""

import asyncio
import base64
import json
import os
import re
import shutil
from asyncio.subprocess import PIPE
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
import websockets

# Nothing leaves this machine: the briefing is opened without a network, and the browser asks nobody by itself.
QUIET = {
    "app.normandy.enabled": False,
    "app.update.disabledForTesting": True,
    "browser.shell.checkDefaultBrowser": False,
    "browser.startup.homepage_override.mstone": "ignore",
    "datareporting.policy.dataSubmissionEnabled": False,
    "extensions.systemAddon.update.enabled": False,
    "extensions.update.enabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "network.dns.disabled": True,
    "network.online": False,
    "browser.safebrowsing.update.enabled": False,
    "services.settings.server": "data:,",
    "toolkit.telemetry.enabled": False,
}  # fmt: skip


class Firefox:
    """One page of a running Firefox."""

    def __init__(self, socket: websockets.ClientConnection) -> None:
        self._socket = socket
        self._number = 0
        self._page = ""
        self.said: list[str] = []

    async def open(self, address: str) -> None:
        """Begin a session, listen to the console, and open an address."""
        await self._ask("session.new", {"capabilities": {}})
        await self._ask("session.subscribe", {"events": ["log.entryAdded"]})
        tree = await self._ask("browsingContext.getTree", {})
        self._page = tree["contexts"][0]["context"]
        await self.go(address)

    async def go(self, address: str) -> None:
        """Open another address."""
        await self._ask("browsingContext.navigate", {"context": self._page, "url": address, "wait": "complete"})

    async def evaluate(self, expression: str) -> Any:
        """Return the plain value of an expression in the page, waiting for a promise."""
        target = {"context": self._page}
        asked = {"expression": expression, "target": target, "awaitPromise": True, "resultOwnership": "none"}
        answer = await self._ask("script.evaluate", asked)
        assert answer["type"] == "success", answer
        return answer["result"].get("value")

    async def printed(self, width_cm: float, height_cm: float) -> bytes:
        """Return the page as it prints on such a paper: a PDF."""
        paper = {"width": width_cm, "height": height_cm}
        answer = await self._ask("browsingContext.print", {"context": self._page, "page": paper})
        return base64.b64decode(answer["data"])

    async def press(self, *keys: str) -> None:
        """Press keys one after the other (WebDriver's code points)."""
        strokes = [{"type": kind, "value": key} for key in keys for kind in ("keyDown", "keyUp")]
        source = {"type": "key", "id": "keys", "actions": strokes}
        await self._ask("input.performActions", {"context": self._page, "actions": [source]})

    async def _ask(self, method: str, params: dict[str, Any]) -> Any:
        self._number += 1
        await self._socket.send(json.dumps({"id": self._number, "method": method, "params": params}))
        while True:
            answer = json.loads(await self._socket.recv())
            if answer.get("method") == "log.entryAdded":
                self.said.append(f"{answer['params']['level']}: {answer['params']['text']}")
            elif answer.get("id") == self._number:
                assert answer["type"] == "success", answer
                return answer["result"]


@asynccontextmanager
async def firefox(folder: Path) -> AsyncIterator[Firefox]:
    """Yield a Firefox with a fresh profile in `folder`; skip where there is none, unless everything is required."""
    program = shutil.which("firefox-esr") or shutil.which("firefox")
    if program is None:
        if os.environ.get("OFFING_REQUIRE_DATA") == "1":
            pytest.fail("firefox is not installed")
        pytest.skip("firefox is not installed")
    profile = folder / "profile"
    profile.mkdir()
    prefs = "".join(f"user_pref({json.dumps(name)}, {json.dumps(value)});\n" for name, value in QUIET.items())
    (profile / "user.js").write_text(prefs)
    command = [program, "--headless", "--no-remote", "--profile", str(profile), "--remote-debugging-port", "0"]
    environment = {**os.environ, "HOME": str(folder)}
    process = await asyncio.create_subprocess_exec(*command, stdout=PIPE, stderr=PIPE, env=environment)
    try:
        assert process.stderr is not None
        async with asyncio.timeout(60):
            while not (at := re.search(rb"WebDriver BiDi listening on (ws://\S+)", await process.stderr.readline())):
                assert process.returncode is None
        reading = asyncio.ensure_future(process.stderr.read())
        async with websockets.connect(f"{at[1].decode()}/session", max_size=None) as socket:
            yield Firefox(socket)
    finally:
        if process.returncode is None:
            process.terminate()
        await asyncio.wait_for(process.wait(), 30)
    await reading
