"""The guest book on the disk is what the relay says, whatever a slow or failing disk did with what was given up."""

import asyncio
import json
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

import ship_in_hand
from guests_of import ADA as GUEST
from peers import PATIENCE_S, until
from relay.__main__ import main
from relay.core.errors import InvitationError
from relay.shell.desk import inviting
from relay.shell.desk.guest_book import NAME, GuestBook, Invited, read_book, write_book
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.clock import MachineTime
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from test_guests_told import INVITED
from test_inviting import ADA

FAMILY = 'name = "family"\n'
QUICK = ship_in_hand.QUICK.replace(f'{FAMILY}delay = "0 s"', f'{FAMILY}invited = true\ndelay = "1 s"')
SOON_S = 0.2


@asynccontextmanager
async def sailing(folder: Path) -> AsyncIterator[Ship]:
    """Yield a ship's relay with an invited audience."""
    async with asyncio.timeout(PATIENCE_S), ship_in_hand.sailing(folder, quick=QUICK) as ship:
        yield ship


def names(folder: Path) -> list[str]:
    """Return whom the book on the disk invites."""
    return [each.name for each in read_book(folder).invited if not each.revoked]


class SlowDisk:
    """A disk that takes a book once it `answers`; `taken`: whom each book that it took invites, in turn."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.answers = threading.Event()
        self.taken: list[list[str]] = []
        monkeypatch.setattr(inviting, "write_book", self._take)

    def _take(self, folder: Path, book: GuestBook) -> None:
        self.answers.wait(PATIENCE_S)
        write_book(folder, book)
        self.taken.append(names(folder))


@pytest.mark.parametrize("kept", [True, False], ids=["kept meanwhile", "kept at the end"])
async def test_guest_whose_writing_was_given_up_is_invited_neither_now_nor_after_a_restart(
    kept: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The thread writes on behind the answer: the book without her is put after hers, and till then it is an alarm."""
    async with sailing(tmp_path) as ship:
        ship_in_hand.waits_for_the_journal(ship, monkeypatch)
        disk = SlowDisk(monkeypatch)
        try:
            refused = await ship.deciding.take(json.dumps(ADA).encode(), SOON_S)
            assert "nobody was invited" in refused["why"]
            assert any("the disk doesn't answer" in alarm for alarm in ship.alarms())
            keeping = asyncio.ensure_future(ship.inviting._keep() if kept else asyncio.sleep(0))
            await asyncio.sleep(0)
            assert disk.taken == []
        finally:
            disk.answers.set()
        await keeping
        if kept:
            assert names(ship.expedition.private) == []
            assert ship.inviting.fault is None
    assert disk.taken == [["Ada Lark"], []]
    async with sailing(tmp_path) as ship:
        assert ship.inviting.all() == []


async def test_taking_back_that_was_given_up_is_on_the_disk_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Behind a slow book that still invites her, and once there is no alarm any more a restart lets nobody in."""
    async with sailing(tmp_path) as ship:
        ship_in_hand.waits_for_the_journal(ship, monkeypatch)
        ada = await ship.deciding.take(json.dumps(ADA).encode())
        disk = SlowDisk(monkeypatch)
        try:
            await ship.deciding.take(json.dumps({**ADA, "name": "Bob Lark"}).encode(), SOON_S)
            gone = {"do": "uninvite", "guest": ada["id"], "who": "Ines"}
            assert "a restart now would" in (await ship.deciding.take(json.dumps(gone).encode(), SOON_S))["but"]
            assert any("the disk doesn't answer" in alarm for alarm in ship.alarms())
        finally:
            disk.answers.set()
        await ship.inviting._keep()
        assert disk.taken == [["Ada Lark", "Bob Lark"], []]
        assert ship.inviting.fault is None


async def test_guest_whose_inviting_was_broken_off_is_in_no_book_in_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody waited for the disk long enough to call it slow: the book is written anew all the same."""
    async with sailing(tmp_path) as ship:
        disk = SlowDisk(monkeypatch)
        asking = asyncio.ensure_future(ship.deciding.take(json.dumps(ADA).encode()))
        try:
            await until(lambda: ship.inviting._writing is not None)
            asking.cancel()
            await asyncio.wait({asking})
            assert ship.inviting.fault is None
        finally:
            disk.answers.set()
        await ship.inviting._keep()
        assert disk.taken == [["Ada Lark"], []]


async def test_alarm_of_a_disk_that_did_not_answer_ends_though_nothing_has_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody else's writing had the disk, and came to its end as this one was given up: all of it is there."""
    async with sailing(tmp_path) as ship:
        ship_in_hand.waits_for_the_journal(ship, monkeypatch)
        async with ship.inviting._lock:
            assert "nobody was invited" in (await ship.deciding.take(json.dumps(ADA).encode(), SOON_S))["why"]
            assert ship.inviting.fault is not None
        await ship.inviting._keep()
        assert ship.inviting.fault is None


def _unsynced(folder: Path, book: GuestBook) -> None:
    """Put a book in its place on a disk that then refuses to sync its name."""
    write_book(folder, book)
    raise OSError(5, "Input/output error")


async def test_guest_book_that_is_there_though_the_disk_refused_it_is_written_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whose writing failed behind the renaming is taken out of the book again."""
    async with sailing(tmp_path) as ship:
        with monkeypatch.context() as failing:
            failing.setattr(inviting, "write_book", _unsynced)
            assert "nobody was invited" in (await ship.deciding.take(json.dumps(ADA).encode()))["why"]
        assert names(ship.expedition.private) == ["Ada Lark"]
        await ship.inviting._keep()
        assert names(ship.expedition.private) == []
        assert ship.inviting.fault is None


def test_nobody_stays_invited_where_no_relay_runs_and_the_disk_refused_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`offing invite` leaves the book as it says, too, before it lets a relay have the folder."""
    (tmp_path / "EXPEDITION.toml").write_text(INVITED)
    writes = iter([write_book, _unsynced, write_book])  # at the start, for her, and without her

    def write(folder: Path, book: GuestBook) -> None:
        next(writes)(folder, book)

    monkeypatch.setattr(inviting, "write_book", write)
    (tmp_path / "private").mkdir(mode=0o700)
    write_book(tmp_path / "private", GuestBook())
    assert main(["invite", str(tmp_path / "EXPEDITION.toml"), "family", "Ada Lark"]) == 2
    assert "nobody was invited" in capsys.readouterr().err
    assert names(tmp_path / "private") == []


@pytest.mark.parametrize("wrong", ["read by others", "none at all"])
async def test_guest_book_that_stops_the_start_is_left_as_it_is(wrong: str, tmp_path: Path) -> None:
    """The words say how to go on with it: the end of that start puts no empty one there."""
    private = tmp_path / "private"
    private.mkdir(mode=0o700)
    write_book(private, GuestBook(5, (Invited(GUEST.id, "Ada Lark", "family", GUEST.digest.hex()),)))
    if wrong == "read by others":
        (private / NAME).chmod(0o644)
    else:
        (private / NAME).write_text("{}")
    before = (private / NAME).read_bytes()
    expedition = parse_expedition(QUICK, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    try:
        with pytest.raises(InvitationError):
            await ship.start()
    finally:
        await ship.close()
    assert (private / NAME).read_bytes() == before
