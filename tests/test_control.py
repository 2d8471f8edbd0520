"""The operator's way in: the socket in the private folder, what it takes, and `offing tell` at its other end."""

import asyncio
import contextlib
import gc
import json
import os
import re
import select
import signal
import socket
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import msgpack
import pytest

from peers import on_both_loops, until
from relay.core.errors import OperatorError
from relay.shell.desk.control import LINE_LIMIT, NAME, PATH_LIMIT, Control, ask_control
from relay.shell.desk.deciding import Deciding
from ship_process import ROOT, Follower, free_port, ship_process
from wheelhouse import Wheelhouse


async def test_control_socket_is_for_the_owner_alone_and_answers_line_by_line(tmp_path: Path) -> None:
    """Mode 0600; each line has its answer; what is no decision says why, and the next line still works."""
    bridge = Wheelhouse()
    control = Control(tmp_path, Deciding(bridge, lambda: 0.0))
    await control.start()
    assert stat.S_IMODE(control.path.stat().st_mode) == 0o600
    assert await ask_control(tmp_path, {"do": "status"}) == {"now_us": 7}
    assert await ask_control(tmp_path, {"do": "hold", "who": "Ines"}) == {"taken": "hold"}
    for message, why in (({"do": "hold"}, "who"), ({"do": "say", "text": "no", "who": "Ines"}, "not that")):
        with pytest.raises(OperatorError, match=why):
            await ask_control(tmp_path, message)
    reader, writer = await asyncio.open_unix_connection(str(control.path))
    writer.write(b"garbage\n[1]\n" + json.dumps({"do": "status"}).encode() + b"\n")
    answers = [json.loads(await reader.readline()) for _ in range(3)]
    assert [answer["ok"] for answer in answers] == [False, False, True]
    writer.write(b"x" * (LINE_LIMIT + 10) + b"\n")
    assert f"at most {LINE_LIMIT} octets" in json.loads(await reader.readline())["why"]
    assert await reader.read() == b""
    writer.close()
    assert await ask_control(tmp_path, {"do": "status"}) == {"now_us": 7}
    assert bridge.taken == [({"do": "hold"}, "Ines")]
    await control.close()
    assert not control.path.exists()


HOSTILE = [
    b"\n", b"null\n", b'"hold"\n', b"\xff\xfe\x00\n", b"[" * 5_000 + b"\n",
    b'{"who": "Ines"}\n', b'{"do": "hold", "who": ""}\n',
    b'{"do": ["status"]}\n', b'{"do": "hold", "who": ["Ines"]}\n', b'{"do": "hold", "who": "a\\u0000b"}\n',
    b'{"do": "hold", "who": "\\ud800"}\n', b'{"do": "hold", "who": "' + b"x" * 81 + b'"}\n', b"9" * 9_000 + b"\n",
]  # fmt: skip


async def test_control_answers_every_line_however_broken(tmp_path: Path) -> None:
    """Garbage, wrong kinds, deep nesting, names that are none: each is answered on the same line, none is taken."""
    bridge = Wheelhouse()
    control = Control(tmp_path, Deciding(bridge, lambda: 0.0))
    await control.start()
    reader, writer = await asyncio.open_unix_connection(str(control.path))
    for line in HOSTILE:
        writer.write(line)
        answer = json.loads(await asyncio.wait_for(reader.readline(), 10))
        assert answer["ok"] is False
        assert answer["why"]
    writer.write(b'{"do": "hold", "who": "\xc3\x8dn\xc3\xa9s"}\n')
    assert json.loads(await reader.readline()) == {"ok": True, "taken": "hold"}
    assert bridge.taken == [({"do": "hold"}, "Ínés")]
    writer.close()
    await control.close()


async def test_control_answers_a_decision_when_it_is_on_the_disk(tmp_path: Path) -> None:
    """No "taken" before that: a kill after the answer loses nothing. A full disk is told of, and keeps nobody else."""
    bridge = Wheelhouse()
    bridge.disk.clear()
    control = Control(tmp_path, Deciding(bridge, lambda: 0.0))
    await control.start()
    asking = asyncio.ensure_future(ask_control(tmp_path, {"do": "hold", "who": "Ines"}))
    await until(lambda: bool(bridge.taken))
    assert await ask_control(tmp_path, {"do": "status"}) == {"now_us": 7}
    assert not asking.done()
    bridge.disk.set()
    assert await asking == {"taken": "hold"}
    bridge.full = True
    assert "not on the disk yet" in (await ask_control(tmp_path, {"do": "hold", "who": "Ines"}))["but"]
    await control.close()


@on_both_loops
async def test_teller_that_is_killed_with_an_answer_unread_is_no_fault(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Two decisions, and nobody there any more when the second is on the disk: both are taken, nothing is logged."""
    bridge = Wheelhouse()
    control = Control(tmp_path, Deciding(bridge, lambda: 0.0))
    await control.start()
    teller = socket.socket(socket.AF_UNIX)
    try:
        teller.connect(str(control.path))
        teller.sendall(b'{"do": "hold", "who": "Ines"}\n')
        await until(lambda: select.select([teller], [], [], 0)[0] != [])
        bridge.disk.clear()
        teller.sendall(b'{"do": "resume", "who": "Ines"}\n')
        await until(lambda: len(bridge.taken) == 2)
        teller.close()
        for _ in range(10):  # the loop is told in the next pass, and tells its reader in the one after
            await asyncio.sleep(0)
        bridge.disk.set()
        await until(lambda: not control._serving)
    finally:
        teller.close()
        await control.close()
    gc.collect()
    assert bridge.taken == [({"do": "hold"}, "Ines"), ({"do": "resume"}, "Ines")]
    assert caplog.records == []


async def test_control_that_closes_hangs_up_on_whoever_is_on_it(tmp_path: Path) -> None:
    """A connection left open by a forgotten terminal keeps no relay from ending."""
    control = Control(tmp_path, Deciding(Wheelhouse(), lambda: 0.0))
    await control.start()
    reader, writer = await asyncio.open_unix_connection(str(control.path))
    writer.write(b'{"do": "status"}\n')
    assert json.loads(await reader.readline())["ok"]
    await asyncio.wait_for(control.close(), 10)
    assert await asyncio.wait_for(reader.read(), 10) == b""
    writer.close()


async def test_control_replaces_the_socket_of_a_killed_relay(tmp_path: Path) -> None:
    """What a kill left behind is in nobody's way."""
    (tmp_path / NAME).write_text("left behind")
    control = Control(tmp_path, Deciding(Wheelhouse(), lambda: 0.0))
    await control.start()
    assert await ask_control(tmp_path, {"do": "status"}) == {"now_us": 7}
    await control.close()


@pytest.mark.parametrize("octets", [PATH_LIMIT, PATH_LIMIT + 1])
async def test_control_says_when_its_folder_lies_too_deep(octets: int, tmp_path: Path) -> None:
    """At the limit of a socket's address it opens; one octet past it the operator is told what to do."""
    folder = tmp_path / ("d" * (octets - len(os.fsencode(tmp_path)) - len(f"//{NAME}")))
    folder.mkdir()
    control = Control(folder, Deciding(Wheelhouse(), lambda: 0.0))
    if octets > PATH_LIMIT:
        with pytest.raises(OperatorError, match="nearer to the root"):
            await control.start()
        return
    await control.start()
    assert await ask_control(folder, {"do": "status"}) == {"now_us": 7}
    await control.close()


async def test_ask_control_says_when_the_relay_goes_away_unanswered(tmp_path: Path) -> None:
    """No traceback where an answer should be: the operator is told to look."""

    async def hang_up(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.close()

    server = await asyncio.start_unix_server(hang_up, str(tmp_path / NAME))
    with pytest.raises(OperatorError, match="went away before it answered"):
        await ask_control(tmp_path, {"do": "hold", "who": "Ines"})
    server.close()
    await server.wait_closed()


async def test_ask_control_says_when_no_relay_runs(tmp_path: Path) -> None:
    """The message names the folder and what to start."""
    with pytest.raises(OperatorError, match=r"no relay runs on .*start it with `offing ship`"):
        await ask_control(tmp_path, {"do": "status"})


async def tell(expedition: Path, *words: str, answer: str = "") -> tuple[int, str, str]:
    """Run `offing tell` as a process and return its code and what it said."""
    command = [sys.executable, "-m", "relay", "tell", str(expedition), *words]
    environment = {**os.environ, "PYTHONPATH": ROOT}

    def run() -> "subprocess.CompletedProcess[str]":
        return subprocess.run(command, input=answer, capture_output=True, text=True, env=environment, check=False)

    done = await asyncio.to_thread(run)
    return done.returncode, done.stdout, done.stderr


async def send_line(port: int, line: bytes) -> None:
    """Send a line to a listening feed, as soon as it listens."""
    while True:
        try:
            _, writer = await asyncio.open_connection("127.0.0.1", port)
        except OSError:
            continue
        writer.write(line)
        await writer.drain()
        writer.close()
        return


async def test_tell_holds_says_cuts_and_resumes_a_running_relay(tmp_path: Path) -> None:
    """Through real processes: a hold outlives kill -9, a coordinate is refused, a note leaves after resume."""
    port = free_port()
    source = f"tcp-listen://127.0.0.1:{port}"
    async with ship_process(tmp_path, feed_format="station-json", source=source, delay="1 s", quiet="600 s") as ship:
        follower = Follower(ship.port)
        following = asyncio.ensure_future(follower.follow())
        async with asyncio.timeout(60):
            await send_line(port, b'{"depth_m": 12.0, "note": "before"}\n')
            await until(lambda: any(b"before" in frame for frame in follower.frames))
        assert (await tell(ship.expedition, "hold"))[0] == 0
        code, _, why = await tell(ship.expedition, "say", "we lie at 38 36.9 S 021 55.9 W")
        assert code == 2
        assert "please rewrite" in why
        assert (await tell(ship.expedition, "--who", "Ines", "say", "the boiler is in sight"))[0] == 0
        private = ship.expedition.parent / "private"
        assert (await ask_control(private, {"do": "say", "text": "at once", "who": "Ines"}))["taken"] == "say"
        await ship.stop(signal.SIGKILL)
        with contextlib.closing(sqlite3.connect(private / "journal.db")) as database:
            last = database.execute("SELECT data FROM row WHERE kind = 'decision' ORDER BY seq DESC").fetchone()
        assert json.loads(last[0])["text"] == "at once"
        await ship.start()
        status = json.loads((await tell(ship.expedition, "--json", "status"))[1])
        assert status["audiences"]["public"]["state"] == "held"
        held = len(follower.frames)
        code, said, _ = await tell(ship.expedition, "cut", "10 min", "1 s")
        assert re.search(r"^  public ALREADY HAS the first \d+ s of it", said, re.MULTILINE)
        assert len(follower.frames) == held
        code, _, why = await tell(ship.expedition, "early", "public", answer="yes\n")
        assert (code, "nothing was released early" in why) == (2, True)
        early = (await tell(ship.expedition, "early", "public", answer="public\n"))[1]
        assert early == "public is HELD: what was received until 0 s ago goes out when you resume it.\n"
        assert len(follower.frames) == held
        assert (await tell(ship.expedition, "resume", "public"))[0] == 0
        assert (await tell(ship.expedition, "say", "and now the bow", "--audience", "public"))[0] == 0
        assert (await tell(ship.expedition, "end"))[0] == 0
        await asyncio.wait_for(following, 30)
    records = [msgpack.unpackb(frame) for frame in follower.frames]
    assert [record[1] for record in records] == list(range(len(records)))
    assert [record[4][1] for record in records if record[2] == 2] == ["before", "and now the bow"]
