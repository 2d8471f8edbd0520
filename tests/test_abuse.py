"""The short version of `make abuse`: attacks that need no long deadline to pass, and the verdict of its program."""

import asyncio
import contextlib
import html
import resource
import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgpack
import pytest

import abuse_browser
import abuse_floods
import run_abuse
from abuse_attack import Attack, Row, quick, tried
from abuse_browser import ALTERED, MARKED, counted_alike, elsewhere, shown_safely
from abuse_floods import CUT_OFF, STANDS, fate, fates, going_on, held, room_for, seat
from abuse_texts import MARKUP, notes_of, said, shown_as_text
from abused import Port, World
from followers_page import chromium, chromium_program
from peers import RawPeer

WITH_A_BROWSER = {it.name for it in abuse_browser.ATTACKS}
FLOODS = {it.name for it in abuse_floods.ATTACKS}


@pytest.mark.slow
async def test_attacks_are_held_by_the_processes_themselves(tmp_path_factory: pytest.TempPathFactory) -> None:
    """The short version of the table, while a follower of the ship and one of the shore get every record in order.

    It mostly waits, so the floods have a world of their own beside that of all others. They alone raise how many files
    this program may have open, each in its turn.
    """
    chosen = [it for it in quick(run_abuse.ATTACKS) if it.name not in WITH_A_BROWSER]
    rows: list[Row] = []
    async with asyncio.TaskGroup() as group:
        for name, floods in (("floods", True), ("others", False)):
            attacks = [it for it in chosen if (it.name in FLOODS) is floods]
            group.create_task(run_abuse.play(attacks, tmp_path_factory.mktemp(name), rows.append))
    assert {it.name for it in chosen} <= {row.attack for row in rows}
    assert len(rows) >= 31
    assert [row for row in rows if not row.held] == []


@pytest.mark.slow
@pytest.mark.browser
async def test_attacks_by_way_of_a_browser_are_held(tmp_path: Path) -> None:
    """Those of the short version that a real browser plays: other sites' pages, hostile texts and recordings."""
    chromium_program()
    rows = await run_abuse.play(quick(abuse_browser.ATTACKS), tmp_path, lambda row: None)
    assert len(rows) >= 6
    assert [row for row in rows if not row.held] == []


class Still:
    """A world in which nothing runs but processes that have not ended, or have."""

    def __init__(self, ended: bool = False) -> None:
        self.ship = self.shore = self
        self.process = self
        self.returncode = 1 if ended else None

    def in_order(self) -> None:
        """Find nothing wrong."""


async def got(_world: World) -> str:
    """Return what was expected."""
    return "as expected\nby lines"


async def leaked(_world: World) -> str:
    """Find that something was told."""
    raise AssertionError("the desk told its state")


async def wrong_key(_world: World) -> str:
    """Be written wrongly."""
    return str({}["frames"])


async def no_program(_world: World) -> str:
    """Need a program that isn't there."""
    pytest.skip("chromium is not installed")


@pytest.mark.parametrize(
    ("run", "ended", "held", "words"),
    [
        (got, False, True, "as expected by lines"),
        (leaked, False, False, "told its state"),
        (got, True, False, "has ended"),
        (wrong_key, False, False, "KeyError: 'frames'"),
        (no_program, False, False, "chromium is not installed"),
    ],
)
async def test_row_is_held_only_where_everything_was_as_expected(run: Any, ended: bool, held: bool, words: str) -> None:
    """What was got is one line; a leak, a relay that has ended, a fault of the attack's own are told and not held."""
    row = await tried(Attack("a", "b", run), Still(ended))  # type: ignore[arg-type]
    assert row.held is held
    assert words in row.got and "\n" not in row.got
    assert run_abuse.told(row).endswith("| held |" if held else "| NOT HELD |")


@pytest.mark.parametrize(("run", "code"), [(got, 0), (leaked, 1)])
def test_program_ends_with_1_where_an_attack_was_not_held(
    run: Any, code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The verdict is that of the rows; without any row there is none."""

    async def play(attacks: Any, _folder: Path, tell: Any) -> list[Any]:
        rows = [await tried(attack, Still()) for attack in attacks]  # type: ignore[arg-type]
        for row in rows:
            tell(row)
        return rows

    monkeypatch.setattr(run_abuse, "play", play)
    monkeypatch.setattr(run_abuse, "ATTACKS", (Attack("one", "b", got), Attack("two", "b", run, slow=True)))
    monkeypatch.setattr(sys, "argv", ["run_abuse.py"])
    assert run_abuse.main() == code
    assert f"{2 - code} of 2 attacks held" in capsys.readouterr().out
    monkeypatch.setattr(sys, "argv", ["run_abuse.py", "--quick", "--only", "one"])
    assert run_abuse.main() == 0
    monkeypatch.setattr(sys, "argv", ["run_abuse.py", "--only", "no such thing"])
    assert run_abuse.main() == 1


def test_short_version_plays_what_is_quick_and_what_has_a_shorter_form() -> None:
    """What is slow and has none is left out."""
    table = [Attack("a", "", got), Attack("b", "", leaked, True), Attack("c", "", leaked, True, got)]
    assert [(it.name, it.run) for it in quick(table)] == [("a", got), ("c", got)]


def test_names_of_attacks_are_their_own() -> None:
    """A row is known by its name."""
    names = [it.name for it in run_abuse.ATTACKS]
    assert len(set(names)) == len(names)


async def test_crowd_that_this_program_may_not_open_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the bound can't be raised, nothing is tried; where it can, it is as before afterwards."""
    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    with room_for(10):
        assert resource.getrlimit(resource.RLIMIT_NOFILE)[0] >= 10
    assert resource.getrlimit(resource.RLIMIT_NOFILE) == before
    monkeypatch.setattr(resource, "getrlimit", lambda _: (256, 256))
    with pytest.raises(AssertionError, match="may have 256 files open"):
        async with held(Port("nobody", ("127.0.0.1", 1)), ["127.0.0.1"] * 4_000):
            pass


async def test_crowd_of_which_one_cant_connect_is_no_crowd() -> None:
    """A port that refuses is not one that stands."""
    with contextlib.closing(socket.socket()) as closed:
        closed.bind(("127.0.0.1", 0))
        with pytest.raises(ConnectionRefusedError):
            async with held(Port("nobody", closed.getsockname()), ["127.0.0.1"]):
                pass


@pytest.fixture
def pair() -> Iterator[tuple[RawPeer, socket.socket]]:
    """Return a peer and the server's end of its connection."""
    near, far = socket.socketpair()
    near.setblocking(False)
    with near, far:
        yield RawPeer(near), far


def test_fate_of_a_connection_is_told_apart(pair: tuple[RawPeer, socket.socket]) -> None:
    """It stands, has an answer, or was cut off; any number but what was expected fails."""
    peer, far = pair
    assert fate(peer) == STANDS
    assert fates([peer] * 3, "503", 3, 3) == "3 stand"
    with pytest.raises(AssertionError, match="3 of 3 stand, not 1 to 2"):
        fates([peer] * 3, "503", 1, 2)
    far.send(b"HTTP/1.1 503 Service Unavailable\r\n\r\n")
    assert fate(peer) == "503"
    assert fates([peer] * 3, "503", 0, 2) == "0 stand, 3 refused (503)"
    with pytest.raises(AssertionError, match="0 of 3 stand, not 3 to 3"):
        fates([peer] * 3, "503", 3, 3)
    with pytest.raises(AssertionError, match="of 3: "):
        fates([peer] * 3, "408", 0, 3)
    peer.line.recv(4_096)
    far.close()
    assert fate(peer) == CUT_OFF


def test_seat_of_a_websocket_is_one_that_was_given(pair: tuple[RawPeer, socket.socket]) -> None:
    """Who is told nothing has none, nor has who is turned away."""
    peer, far = pair
    assert seat(peer) == "nothing"
    shaken = b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
    shaken += b"Sec-WebSocket-Accept: s3pPLMBiTxaQ9kYGzzhZRbK+xOo=\r\n\r\n"
    far.send(shaken)
    assert seat(peer) == "seated"
    far.send(shaken + b"\x88\x02\x03\xf5")
    assert seat(peer) == "1013"
    far.send(b"HTTP/1.1 503 Service Unavailable\r\n\r\n")
    assert seat(peer).startswith("503")


class Calm:
    """A world in which nothing is disturbed, a moment long."""

    async def undisturbed(self) -> str:
        """Wait until the attackers have had many turns."""
        for _ in range(100):
            await asyncio.sleep(0)
        return "calm"


async def refused() -> None:
    """Attack a port that isn't there."""
    raise ConnectionRefusedError


async def judged() -> None:
    """Attack, and be answered wrongly."""
    raise AssertionError("no ping was answered")


@pytest.mark.parametrize(("attack", "words"), [(refused, "came about 0 times"), (judged, "no ping")])
async def test_attack_that_goes_on_must_come_about(attack: Any, words: str) -> None:
    """Attempts that were refused are none, and what an attacker finds wrong is told."""
    with pytest.raises(AssertionError, match=words):
        await going_on(Calm(), attack, 4)  # type: ignore[arg-type]


STATION = {"name": "input", "accepted": 40, "passed_over": 0, "rejected": {}, "bytes": 4_000}
BRIDGE = STATION | {"name": "bridge", "accepted": 0, "bytes": 0}


@pytest.mark.parametrize(
    "after",
    [
        [STATION | {"rejected": {"not JSON": 9}}, BRIDGE],
        [STATION | {"passed_over": 1}, BRIDGE],
        [STATION | {"accepted": 49}, BRIDGE],
        [STATION, BRIDGE | {"accepted": 1}],
        [STATION, BRIDGE | {"bytes": 90}],
        [STATION],
    ],
)
def test_what_a_page_says_to_a_feed_is_found_in_its_counts(after: list[dict[str, Any]]) -> None:
    """Counted as rejected, passed over, or among what the station said; a message of the station's own is none."""
    counted_alike([STATION, BRIDGE], [STATION | {"accepted": 42, "bytes": 4_200}, BRIDGE], 42)
    with pytest.raises((AssertionError, ValueError)):
        counted_alike([STATION, BRIDGE], after, 42)


def test_text_on_a_page_is_told_from_markup() -> None:
    """Escaped it is a text; as it is, or within a tag, it acts; left out or altered, it isn't shown."""
    for text in MARKUP:
        assert shown_as_text(f'<p title="x">{html.escape(text)}</p><script src="./a.js"></script>', text)
        assert shown_as_text(f'<meta content="{html.escape(text)}">', text)
        assert not shown_as_text(f"<p>{html.escape(text[1:])}</p>", text)
    for page in (*MARKUP[:3], "<a href=' javascript:x'>", "<script src='//evil.example/x.js'></script>"):
        with pytest.raises(AssertionError, match="markup"):
            shown_as_text(page, "x")


class Saying:
    """A world whose followers get these annotations when something is said."""

    def __init__(self, *texts: str) -> None:
        self.texts = texts
        self.followers = [SimpleNamespace(frames=[], port=Port("a page", ("", 0)))]

    async def decide(self, message: dict[str, Any]) -> None:
        """Tell followers."""
        while self.texts:
            text, *self.texts = self.texts  # type: ignore[assignment]
            self.followers[0].frames.append(msgpack.packb([1, 1, 2, 0.0, [None, text], b""]))

    async def reached(self, more: int) -> None:
        """Get nothing more."""
        raise TimeoutError


@pytest.mark.parametrize("told", [[], MARKUP[:5], [*MARKUP, MARKUP[5]], [*MARKUP[:5], MARKUP[5][:-1]]])
async def test_annotations_that_dont_reach_followers_as_they_are_are_missed(told: list[str]) -> None:
    """None, one too few, one twice, one with a letter less: each is found, and all of them in order are not."""
    whole = Saying("another", *MARKUP)
    await said(whole, *MARKUP)  # type: ignore[arg-type]
    assert notes_of(whole.followers[0].frames)[1:] == MARKUP
    with pytest.raises(AssertionError, match="a follower of a page got"):
        await said(Saying(*told), *MARKUP)  # type: ignore[arg-type]


@pytest.mark.browser
async def test_page_in_which_a_hostile_recording_acts_or_is_shown_is_found() -> None:
    """A script that ran, a text that is shown beside its refusal, and words that are never said: each fails."""
    pages = {
        f"<p>{ALTERED}</p><script>window.owned=1</script>": "a script ran",
        f"<p>{ALTERED}</p><script>throw Error('torn')</script>": "torn",
        f"<p>{ALTERED} {html.escape(MARKED)}</p>": "hostile texts are shown",
    }
    async with chromium() as browser:
        for text, words in pages.items():
            async with elsewhere(f"<!doctype html><title>planted</title>{text}") as (url, _):
                with pytest.raises(AssertionError, match=words):
                    await shown_safely(browser, url, ALTERED, "planted")
        async with elsewhere(f"<!doctype html><title>sound</title><p>{ALTERED}</p>") as (url, _):
            await shown_safely(browser, url, ALTERED, "sound")
