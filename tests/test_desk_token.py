"""The desk's token: drawn once, kept for its owner, and what happens to whoever has none."""

import asyncio
import os
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from expeditions import RIGHT
from relay.core.errors import SecretsError
from relay.shell.desk.desk_token import NAME, WRONG_S, Doorkeeper, open_token
from ship_process import ROOT, free_port


def test_token_is_drawn_once_and_is_for_its_owner(tmp_path: Path) -> None:
    """256 bits in 43 letters (RFC 4648 section 5), mode 0600, the same after a restart, another one elsewhere."""
    token = open_token(tmp_path)
    assert (len(token), stat.S_IMODE((tmp_path / NAME).stat().st_mode)) == (43, 0o600)
    assert open_token(tmp_path) == token
    (tmp_path / "other").mkdir()
    assert open_token(tmp_path / "other") != token


@pytest.mark.parametrize("text", ["", "short", "x" * 44, "x" * 42 + "!", "\xff"])
def test_file_that_holds_no_token_stops_the_start(text: str, tmp_path: Path) -> None:
    """An empty or cut token would let others in: the message says to remove it."""
    (tmp_path / NAME).write_bytes(text.encode("latin-1"))
    (tmp_path / NAME).chmod(0o600)
    with pytest.raises(SecretsError, match="remove it"):
        open_token(tmp_path)


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644, 0o660])
def test_file_that_others_may_read_stops_the_start(mode: int, tmp_path: Path) -> None:
    """Whoever could read it may have it: a new one is wanted."""
    open_token(tmp_path)
    (tmp_path / NAME).chmod(mode)
    with pytest.raises(SecretsError, match=f"mode {mode:o}"):
        open_token(tmp_path)


async def test_wrong_tokens_wait_and_only_so_many_at_a_time() -> None:
    """Each waits its second, whoever comes beyond the bound is answered at once, and the right one never waits."""
    waits: list[float] = []
    goes_on = asyncio.Event()

    async def sleep(seconds: float) -> None:
        waits.append(seconds)
        await goes_on.wait()

    keeper = Doorkeeper("right", waiting=2, sleep=sleep)
    waiting = [asyncio.ensure_future(keeper.keep_waiting()) for _ in range(2)]
    await asyncio.sleep(0)
    await keeper.keep_waiting()
    assert (waits, keeper.wrong) == ([WRONG_S, WRONG_S], 3)
    assert keeper.knows("Bearer right")
    assert not any(keeper.knows(given) for given in (None, "", "right", "Bearer", "Bearer right ", "Bearer righ\udcff"))
    goes_on.set()
    await asyncio.gather(*waiting)


@pytest.mark.parametrize("terminal", [True, False])
def test_token_is_printed_on_a_terminal_alone(terminal: bool, tmp_path: Path) -> None:
    """A service manager keeps what a relay prints: there it says where the token is, and its address without it."""
    text = RIGHT.replace("127.0.0.1:10110", f"127.0.0.1:{free_port(socket.SOCK_DGRAM)}")
    text = text.replace("127.0.0.1:4010", f"127.0.0.1:{free_port()}")
    (tmp_path / "EXPEDITION.toml").write_text(text + '\n[desk]\nlisten = "127.0.0.1:0"\n')
    reading, writing = os.openpty() if terminal else os.pipe()
    command = [sys.executable, "-m", "relay", "ship", str(tmp_path / "EXPEDITION.toml")]
    with subprocess.Popen(command, stdout=writing, env={**os.environ, "PYTHONPATH": ROOT}) as relay:
        os.close(writing)
        said = b""
        while b"the desk" not in said or not said.endswith(b"\n"):
            said += os.read(reading, 4_096)
        relay.terminate()
        relay.wait(30)
    os.close(reading)
    token = (tmp_path / "private" / NAME).read_text().strip()
    assert (f"/#{token}" in said.decode()) == terminal
    assert (str(tmp_path / "private" / NAME) in said.decode()) != terminal
    assert (token in said.decode()) == terminal
