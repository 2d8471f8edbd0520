"""`offing invite`, `guests` and `uninvite`: with a relay that runs, and in its place where none does."""

import asyncio
import json
import signal
import socket
import sqlite3
from pathlib import Path
from urllib.request import Request, urlopen

import pytest

import ship_in_hand
from expeditions import changed
from peers import get
from relay.__main__ import main
from relay.shell.desk.guest_book import read_book
from ship_in_hand import sailing
from ship_process import ShipProcess, free_port

INVITED = changed('name = "family"', 'name = "family"\ninvited = true')


def told(folder: Path, *arguments: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    """Return how a command ends and what it says, of an expedition in a folder; the file is made if it isn't there."""
    path = folder / "EXPEDITION.toml"
    if not path.exists():
        path.write_text(INVITED)
    command, *rest = arguments
    code = main([command, str(path), *rest])
    said = capsys.readouterr()
    return code, said.out, said.err


def decisions(folder: Path) -> list[dict[str, object]]:
    """Return the decisions in a journal."""
    with sqlite3.connect(folder / "private" / "journal.db") as journal:
        rows = [json.loads(data) for (data,) in journal.execute("SELECT data FROM row WHERE kind = 'decision'")]
    journal.close()
    return rows


def test_invitation_is_made_listed_and_taken_back_where_no_relay_runs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The link alone on standard output; who did it in the journal; nothing is made by listing."""
    assert told(tmp_path, "guests", capsys=capsys) == (0, "Nobody has been invited.\n", "")
    assert not (tmp_path / "private").exists()
    ends = ("--until", "2099-12-31", "--who", "Ines")
    code, out, err = told(tmp_path, "invite", "family", "Ada Lark", *ends, capsys=capsys)
    (invited,) = read_book(tmp_path / "private").invited
    link, token = out.strip(), out.strip().partition("#guest=")[2].partition("&")[0]
    assert (code, out) == (0, f"{link}\n")
    assert token.startswith(f"{invited.id}.")
    assert token not in err
    assert "to family, to the end of 2099-12-31 (UTC); id" in err
    assert "kept nowhere" in err
    assert "set [public] address" in err
    listed = f"{invited.id}  Ada Lark  (family, until 2099-12-31): counts; never seen here\n"
    assert told(tmp_path, "guests", capsys=capsys) == (0, listed, "")
    code, out, _ = told(tmp_path, "uninvite", invited.id, "--who", "Jonas", capsys=capsys)
    assert (code, out) == (0, "Ada Lark (family) isn't invited any more.\n")
    assert "taken back" in told(tmp_path, "guests", capsys=capsys)[1]
    assert [(row["do"], row["who"], row["invited"]) for row in decisions(tmp_path)] == [
        ("invite", "Ines", "Ada Lark"),
        ("uninvite", "Jonas", "Ada Lark"),
    ]


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("invite", "public", "Ada"), "'public' is not shown by invitation; one of family"),
        (("invite", "family", "Ada", "--until", "soon"), "write it as 2026-12-31"),
        (("invite", "family", ""), "a guest has a name"),
        (("invite", "family", "Ada", "--who", "x" * 81), '"who" takes it'),
        (("uninvite", "0000ffff"), "there is no such invitation"),
    ],
)
def test_what_will_not_do_ends_with_2_and_what_would(
    arguments: tuple[str, ...], why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On standard error, with nothing on standard output that could be taken for a link."""
    code, out, err = told(tmp_path, *arguments, capsys=capsys)
    assert (code, out) == (2, "")
    assert why in err


def test_answers_can_be_read_by_a_program(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """JSON with the link, the list, and what was taken back; the address of the file begins the link."""
    text = INVITED.replace("[public]\n", '[public]\naddress = "https://dive.example/"\n')
    (tmp_path / "EXPEDITION.toml").write_text(text)
    answer = json.loads(told(tmp_path, "invite", "family", "Ada Lark", "--json", capsys=capsys)[1])
    assert answer["link"].startswith(f"https://dive.example/#guest={answer['id']}.")
    (listed,) = json.loads(told(tmp_path, "guests", "--json", capsys=capsys)[1])
    assert (listed["id"], listed["until"], listed["over"]) == (answer["id"], None, False)
    assert json.loads(told(tmp_path, "uninvite", answer["id"], "--json", capsys=capsys)[1])["revoked"]


async def test_running_relay_takes_what_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The link works at once, and once it is taken back not any more; opening the page is counted."""
    family = 'name = "family"\n'
    text = ship_in_hand.QUICK.replace(f'{family}delay = "0 s"', f'{family}invited = true\ndelay = "1 s"')
    monkeypatch.setattr(ship_in_hand, "QUICK", text)
    (tmp_path / "EXPEDITION.toml").write_text(text)

    async def say(*arguments: str) -> str:
        code = await asyncio.to_thread(main, [arguments[0], str(tmp_path / "EXPEDITION.toml"), *arguments[1:]])
        assert code == 0
        return capsys.readouterr().out

    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        address, _, rest = (await say("invite", "family", "Ada Lark")).strip().partition("#guest=")
        token = rest.partition("&")[0]
        assert address == "http://{}:{}/".format(*ship.site.address)
        asked = ("/guest.json", f"Authorization: Bearer {token}")
        assert (await get(ship.site, *asked)).status == 200
        assert "counts; opened 1 time, last on 2" in await say("guests")
        await say("uninvite", token.partition(".")[0])
        assert (await get(ship.site, *asked)).status == 404


async def test_token_is_in_no_argument_log_or_file_of_the_server_and_outlives_a_kill(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A real relay: its command line, environment and words, after kill -9 as before; the link works on."""
    port = free_port()
    text = INVITED.replace('listen = "127.0.0.1:0"', f'listen = "127.0.0.1:{port}"')
    text = text.replace("10110", str(free_port(socket.SOCK_DGRAM))).replace("4010", str(free_port()))
    (tmp_path / "EXPEDITION.toml").write_text(text)
    ship = ShipProcess(tmp_path / "EXPEDITION.toml", port)
    await ship.start()
    try:
        code = await asyncio.to_thread(main, ["invite", str(ship.expedition), "family", "Ada Lark"])
        link = capsys.readouterr().out.strip()
        token = link.partition("#guest=")[2].partition("&")[0]
        assert (code, await status_of(port, token)) == (0, 200)
        await ship.stop(signal.SIGKILL)
        await ship.start()
        assert await status_of(port, token) == 200
        assert ship.process is not None
        own = Path(f"/proc/{ship.process.pid}")
        told_ = (own / "cmdline").read_bytes() + (own / "environ").read_bytes() + "".join(ship.words).encode()
    finally:
        await ship.stop()
    for secret in (token.encode(), token.partition(".")[2].encode()):
        assert secret not in told_ + "".join(ship.words).encode()
        assert all(secret not in data for data in _files(tmp_path))


def _files(folder: Path) -> list[bytes]:
    return [path.read_bytes() for path in folder.rglob("*") if path.is_file()]


async def status_of(port: int, token: str) -> int:
    """Return the status of the question whose guest a token is (the standard library asks)."""
    asked = Request(f"http://127.0.0.1:{port}/guest.json", headers={"Authorization": f"Bearer {token}"})

    def ask() -> int:
        with urlopen(asked, timeout=20) as answer:
            return int(answer.status)

    return await asyncio.to_thread(ask)
