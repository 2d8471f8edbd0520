"""Invitations aboard a running relay: made, used, taken back, restarted, and where their secret and their names are."""

import asyncio
import base64
import json
import logging
import os
import sqlite3
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from websockets.exceptions import ConnectionClosed
from websockets.typing import Subprotocol

import ship_in_hand
from fair_time import fair_s
from peers import PATIENCE_S, get, live, until
from relay.core.errors import InvitationError
from relay.core.guest_terms import day_end_s
from relay.core.guests import GUESTS_LIMIT, Listing, read_listing
from relay.core.seal import Signer
from relay.core.websocket import CloseCode
from relay.shell.desk import inviting
from relay.shell.desk.guest_book import GuestBook, Invited, read_book, write_book
from relay.shell.desk.inviting import SHOWN
from relay.shell.record.secrets_file import open_secrets
from relay.shell.ship.ship import Ship
from ship_in_hand import StuckDisk, report, tell, waits_for_the_journal

ADA = {"do": "invite", "audience": "family", "name": "Ada Lark", "until": "2099-12-31", "who": "Ines"}


@pytest.fixture(autouse=True)
def _with_an_invited_audience(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the ship in hand show one audience by invitation."""
    text = ship_in_hand.QUICK.replace(
        'name = "family"\ndelay = "0 s"', 'name = "family"\ninvited = true\ndelay = "1 s"'
    )
    monkeypatch.setattr(ship_in_hand, "QUICK", text)


@asynccontextmanager
async def sailing(folder: Path) -> AsyncIterator[Ship]:
    """Yield a ship's relay with an invited audience."""
    async with asyncio.timeout(60), ship_in_hand.sailing(folder) as ship:
        yield ship


async def ask(ship: Ship, **message: Any) -> dict[str, Any]:
    """Return the answer to a message of the operator, from the control socket's side."""
    return await ship.deciding.take(json.dumps({"who": "Ines", **message}).encode())


def token_of(answer: dict[str, Any]) -> str:
    """Return the token in the link of an answer."""
    address, _, rest = answer["link"].partition("#guest=")
    token, _, key = rest.partition("&key=")
    assert address.startswith("http") and len(key) == 64
    return str(token)


def following(ship: Ship, token: str) -> Any:
    """Return a guest's socket."""
    return live(ship.site, "audience=family", subprotocols=[Subprotocol("offing"), Subprotocol(f"guest.{token}")])


async def status_of(ship: Ship, token: str) -> int:
    """Return the status of the question whose guest a token is."""
    return (await get(ship.site, "/guest.json", f"Authorization: Bearer {token}")).status


async def test_guest_is_invited_follows_and_is_let_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the desk, by name: the link works once it is shown, and not within a second of being taken back."""
    monkeypatch.setattr("relay.shell.desk.desk.DECIDE_S", PATIENCE_S)  # the disk may be busy with others' work
    async with sailing(tmp_path) as ship:
        answer = await tell(ship, "/decide", ADA)
        assert (answer["ok"], answer["taken"], answer["name"]) == (True, "invite", "Ada Lark")
        token = token_of(answer)
        assert answer["link"].endswith(
            f"&key={Signer(open_secrets(tmp_path / 'private', None).signing_seed).key.hex()}"
        )
        assert await status_of(ship, token) == 200
        (listed,) = ship.desk.state()["guests"]
        assert {key: listed[key] for key in ("id", "name", "audience", "until", "revoked", "opens")} == {
            "id": answer["id"], "name": "Ada Lark", "audience": "family", "until": "2099-12-31", "revoked": False,
            "opens": 1,
        }  # fmt: skip
        assert [each["invited"] for each in ship.desk.state()["audiences"]] == [False, True]
        async with following(ship, token) as viewer:
            report(ship, 50.0)
            assert await viewer.recv()
            closing, began = asyncio.ensure_future(_closed(viewer)), fair_s()
            gone = await tell(ship, "/decide", {"do": "uninvite", "guest": answer["id"], "who": "Ines"})
            assert (gone["ok"], gone["taken"], gone["revoked"]) == (True, "uninvite", True)
            code, ended = await closing
            assert ended - began < 1
        assert code == CloseCode.UNINVITED
        assert await status_of(ship, token) == 404
        assert ship.desk.state()["guests"][0]["revoked"]


async def _closed(viewer: Any) -> tuple[int | None, float]:
    """Return the code with which a viewer is closed, and when: the answer may wait for the disk longer than that."""
    try:
        while True:
            await viewer.recv()
    except ConnectionClosed as closed:
        return closed.rcvd.code if closed.rcvd else None, fair_s()


async def test_journal_says_who_invited_whom_and_not_how_to_get_in(tmp_path: Path) -> None:
    """Each decision has its row, with who took it, name, audience and last day; the desk has it in words."""
    async with sailing(tmp_path) as ship:
        answer = await ask(ship, **ADA)
        await ask(ship, do="uninvite", guest=answer["id"], who="Jonas")
        words = [(told["who"], told["words"]) for told in ship.desk.state()["decisions"]]
        assert words == [
            ("Jonas", "no longer invited: Ada Lark"),
            ("Ines", "invited: Ada Lark to family, until 2099-12-31"),
        ]
    with sqlite3.connect(tmp_path / "private" / "journal.db") as journal:
        rows = [json.loads(data) for (data,) in journal.execute("SELECT data FROM row WHERE kind = 'decision'")]
    assert rows == [
        {"do": "invite", "who": "Ines", "guest": answer["id"], "audience": "family", "invited": "Ada Lark",
         "until": "2099-12-31"},
        {"do": "uninvite", "who": "Jonas", "guest": answer["id"], "invited": "Ada Lark"},
    ]  # fmt: skip


async def test_secret_is_in_the_answer_and_nowhere_else(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Not in any file below the ship's folder, not in the desk's state, the listing or a log, in whatever form."""
    caplog.set_level(logging.DEBUG)
    async with sailing(tmp_path) as ship:
        token = token_of(await ask(ship, **ADA))
        assert await status_of(ship, token) == 200
        async with following(ship, token):
            await until(lambda: ship.site.figures().viewers["family"] == 1)
        shown = [json.dumps(ship.desk.state()), json.dumps(ship.status()), json.dumps(await ask(ship, do="guests"))]
        listing = ship.inviting.listing
    files = _all_files(tmp_path)
    assert b"Ada Lark" in files
    secret = token.partition(".")[2]
    raw = base64.urlsafe_b64decode(secret + "=")
    ours = [record for record in caplog.records if record.name != "websockets.client"]  # the guest's own
    logged = [f"{record.getMessage()} {record.__dict__}" for record in ours]
    for form in (secret.encode(), raw, raw.hex().encode(), base64.b64encode(raw)):
        assert form not in files
        assert form not in listing
        assert form not in "".join(shown).encode()
        assert form not in "\n".join(logged).encode()
    assert sha256(secret.encode()).hexdigest().encode() in files


def _all_files(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())


async def test_names_stay_on_the_ship(tmp_path: Path) -> None:
    """Neither the listing nor anything that the public port answers holds a guest's name, not even to the guest."""
    async with sailing(tmp_path) as ship:
        sent: list[bytes] = []
        ship.inviting.outward.append(sent.append)
        token = token_of(await ask(ship, **ADA))
        report(ship, 50.0)
        await until(lambda: ship.site.history("family").dives != ())  # type: ignore[union-attr]
        for path in ("/guest.json", "/recordings/family/dives.json", "/recordings/family/dive-001.recording", "/"):
            answer = await get(ship.site, path, f"Authorization: Bearer {token}")
            sent += [answer.body, str(answer.headers).encode()]
    assert len(sent) == 9
    assert b"Lark" not in b"".join(sent)


async def test_every_listing_is_signed_and_has_a_higher_number(tmp_path: Path) -> None:
    """After each change, and after a restart, also where the wall clock stands still: none is passed over ashore."""
    listings: list[Listing] = []
    for _ in range(2):
        async with sailing(tmp_path) as ship:
            ship.inviting._wall_s = lambda: 0.0
            key = ship.inviting._signer.key
            ship.inviting.outward.append(lambda data, key=key: listings.append(read_listing(key, data)))
            answer = await ask(ship, **ADA)
            await ask(ship, do="uninvite", guest=answer["id"])
            listings.append(read_listing(key, ship.inviting.listing))
    numbers = [listing.number for listing in listings]
    assert numbers == sorted(numbers)
    assert len(set(numbers)) == 4
    assert [len(listing.guests) for listing in listings] == [1, 0, 0, 1, 0, 0]


async def test_restart_keeps_who_is_invited_who_is_not_and_how_often_they_came(tmp_path: Path) -> None:
    """The links that were shown work on, those that were taken back don't, and counting goes on."""
    async with sailing(tmp_path) as ship:
        ada, bob = await ask(ship, **ADA), await ask(ship, **{**ADA, "name": "Bob Lark", "until": None})
        assert await status_of(ship, token_of(ada)) == 200
        await ask(ship, do="uninvite", guest=bob["id"])
    async with sailing(tmp_path) as ship:
        assert await status_of(ship, token_of(ada)) == 200
        assert await status_of(ship, token_of(bob)) == 404
        told = {each["name"]: (each["opens"], each["revoked"]) for each in (await ask(ship, do="guests"))["guests"]}
        assert told == {"Ada Lark": (2, False), "Bob Lark": (0, True)}


async def test_relay_that_is_killed_lets_nobody_in_again(tmp_path: Path) -> None:
    """What was answered as taken back is on the disk by then: the files of that moment are those of a restart."""
    async with sailing(tmp_path) as ship:
        answer = await ask(ship, **ADA)
        await ask(ship, do="uninvite", guest=answer["id"])
        assert [each.revoked for each in read_book(ship.expedition.private).invited] == [True]


async def test_audience_that_is_not_invited_any_more_is_shown_to_nobody(tmp_path: Path) -> None:
    """The expedition file has the last word: its links are kept, and count again when it invites again."""
    async with sailing(tmp_path) as ship:
        token = token_of(await ask(ship, **ADA))
    text, ship_in_hand.QUICK = ship_in_hand.QUICK, ship_in_hand.QUICK.replace("invited = true\n", "")
    async with sailing(tmp_path) as ship:
        assert await status_of(ship, token) == 404
        assert read_listing(ship.inviting._signer.key, ship.inviting.listing).guests == {}
    ship_in_hand.QUICK = text
    async with sailing(tmp_path) as ship:
        assert await status_of(ship, token) == 200


async def test_invitation_does_not_count_while_the_journal_does_not_take_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a stuck disk nobody is invited and no link is shown; taking one back acts all the same."""
    disk = StuckDisk(monkeypatch)
    async with sailing(tmp_path) as ship:
        ada = await ask(ship, **ADA)
        monkeypatch.setattr("relay.shell.desk.deciding.SETTLE_S", 0.2)
        disk.stuck = True
        refused = await ask(ship, **{**ADA, "name": "Bob Lark"})
        assert refused["ok"] is False
        assert "nobody was invited" in refused["why"]
        assert "link" not in refused
        gone = await ask(ship, do="uninvite", guest=ada["id"])
        assert (gone["ok"], gone["revoked"]) == (True, True)
        assert await status_of(ship, token_of(ada)) == 404
        disk.stuck = False
        assert [each["name"] for each in ship.guests()] == ["Ada Lark"]


def _full(_folder: Path, _book: GuestBook) -> None:
    raise OSError(28, "No space left on device")


async def test_guest_book_that_can_not_be_written_invites_nobody_and_is_alarmed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Taking back acts at once, with the words that a restart would undo it; it is written when there is room again."""
    async with sailing(tmp_path) as ship:
        ada = await ask(ship, **ADA)
        monkeypatch.setattr(inviting, "write_book", _full)
        refused = await ask(ship, **{**ADA, "name": "Bob Lark"})
        assert "nobody was invited: the guest book can't be written (No space left on device)" in refused["why"]
        gone = await ask(ship, do="uninvite", guest=ada["id"])
        assert "a restart now would let them in again" in gone["but"]
        assert await status_of(ship, token_of(ada)) == 404
        assert any("guest book" in alarm for alarm in ship.alarms())
        monkeypatch.setattr(inviting, "write_book", write_book)
        await ship.inviting._keep()
        assert ship.inviting.fault is None
        assert [each.revoked for each in read_book(ship.expedition.private).invited] == [True]


async def test_guest_book_that_fails_in_any_way_ends_no_relay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No thread to be had, for one: the job of the ship that keeps the book goes on, and the desk is told."""

    def fails(_folder: Path, _book: GuestBook) -> None:
        raise RuntimeError("can't start new thread")

    async with sailing(tmp_path) as ship:
        ada = await ask(ship, **ADA)
        monkeypatch.setattr(inviting, "write_book", fails)
        assert await status_of(ship, token_of(ada)) == 200
        await ship.inviting._keep()
        assert any("guest book can't be written (RuntimeError)" in alarm for alarm in ship.alarms())
        assert (await ask(ship, **ADA))["ok"] is False
        assert "a restart now would" in (await ask(ship, do="uninvite", guest=ada["id"]))["but"]
        monkeypatch.setattr(inviting, "write_book", write_book)


async def test_disk_that_hangs_delays_no_stop_and_no_other_decision(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The book is written in a thread: while it hangs, the desk holds the release within its time."""
    monkeypatch.setattr("relay.shell.desk.deciding.SETTLE_S", 0.3)
    reading, writing = os.pipe()
    async with sailing(tmp_path) as ship:
        monkeypatch.setattr(inviting, "write_book", lambda folder, book: os.read(reading, 1) and None)
        try:
            with monkeypatch.context() as patient:
                waits_for_the_journal(ship, patient)
                inviting_ = asyncio.ensure_future(ask(ship, **ADA))
                await until(lambda: ship.inviting._writing is not None)
            began = fair_s()
            assert (await tell(ship, "/stop", {"who": "Ines"}))["held"]
            assert fair_s() - began < 0.25
            assert "the disk doesn't answer" in (await inviting_)["why"]
        finally:
            os.write(writing, b"xx")
        assert ship.inviting._writing is not None
        await until(ship.inviting._writing.done)
    os.close(reading)
    os.close(writing)


WRONG: list[tuple[dict[str, Any], str]] = [
    ({"audience": "public"}, "'public' is not shown by invitation; one of family"),
    ({"audience": ["family"]}, "is not shown by invitation"),
    ({"audience": None}, "is not shown by invitation"),
    ({"name": ""}, "a guest has a name of at most 80 characters"),
    ({"name": "M" * 81}, "a guest has a name of at most 80 characters"),
    ({"name": "a\nb"}, "a guest has a name of at most 80 characters"),
    ({"name": None}, "a guest has a name of at most 80 characters"),
    ({"until": "31.12.2026"}, "write it as 2026-12-31"),
    ({"until": 7}, "write it as 2026-12-31"),
    ({"token": "x"}, '"invite" has no token'),
    ({"guest": "0000ada0"}, '"invite" has no guest'),
    ({"who": ""}, '"who" takes it'),
    ({"who": None}, '"who" takes it'),
    ({"do": "uninvite"}, '"uninvite" has no audience'),
]


async def test_message_that_will_not_do_is_refused_with_what_would(tmp_path: Path) -> None:
    """Nothing of it is journalled, and nobody is invited."""
    async with sailing(tmp_path) as ship:
        rows = ship.journal_facts()[0]
        for change, why in WRONG:
            answer = await ask(ship, **{**ADA, **change})
            assert answer["ok"] is False, change
            assert why in answer["why"], change
        for guest, why in (("0000ffff", "there is no such"), (None, "there is no such"), (["x"], "there is no such")):
            assert why in (await ask(ship, do="uninvite", guest=guest))["why"]
        assert ship.guests() == []
        assert ship.journal_facts()[0] == rows


async def test_last_day_that_is_over_already_lets_nobody_in(tmp_path: Path) -> None:
    """It is refused; one that ends while the relay runs is listed as over."""
    async with sailing(tmp_path) as ship:
        refused = await ask(ship, **{**ADA, "until": "2020-01-01"})
        assert (refused["ok"], refused["why"][:18]) == (False, "2020-01-01 is over")
        ship.inviting._wall_s = lambda: day_end_s("2020-01-01") - 1.0
        answer = await ask(ship, **{**ADA, "until": "2020-01-01"})
        assert not answer["over"]
        ship.inviting._wall_s = lambda: float(day_end_s("2020-01-01"))
        assert [each["over"] for each in ship.guests()] == [True]
        assert await status_of(ship, token_of(answer)) == 404


async def test_desk_is_shown_the_newest_that_count_and_the_list_is_whole(tmp_path: Path) -> None:
    """A state goes to every desk twice a second: it holds so many and no more; one more than the limit is refused."""
    counting = tuple(Invited(f"{at:08x}", f"no. {at}", "family", "0f" * 32) for at in range(GUESTS_LIMIT))
    (tmp_path / "private").mkdir(mode=0o700)
    write_book(tmp_path / "private", GuestBook(1, counting))
    async with sailing(tmp_path) as ship:
        assert [each["name"] for each in ship.guests()] == [f"no. {GUESTS_LIMIT - 1 - at}" for at in range(SHOWN)]
        assert "take one back first" in (await ask(ship, **ADA))["why"]
        await ask(ship, do="uninvite", guest=counting[-1].id)
        assert len((await ask(ship, do="guests"))["guests"]) == GUESTS_LIMIT
        assert ship.guests()[0]["name"] == f"no. {GUESTS_LIMIT - 2}"


async def test_guest_book_that_is_none_stops_the_start(tmp_path: Path) -> None:
    """The relay doesn't go out without knowing whom it may let in (R4)."""
    (tmp_path / "private").mkdir(mode=0o700)
    book = tmp_path / "private" / "guests.json"
    book.write_text("{}")
    book.chmod(0o600)
    with pytest.raises(InvitationError, match="guest book"):
        async with sailing(tmp_path):
            pass
