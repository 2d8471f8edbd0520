"""The guest book on the disk: whole or not at all, for its owner alone, and without a secret."""

import json
import stat
from dataclasses import replace
from pathlib import Path

import pytest

from relay.core.errors import InvitationError
from relay.core.guests import GUESTS_LIMIT, Guest
from relay.shell.desk import guest_book
from relay.shell.desk.guest_book import KEPT, NAME, GuestBook, Invited, read_book, write_book

ADA = Invited("0000ada0", "Ada Lark", "family", "0f" * 32, "2026-12-31", opens=3, last_day="2026-11-02")
BOB = Invited("0000b0b0", "Bob Lark", "funders", "1f" * 32)
BOOK = GuestBook(7, (ADA, BOB))
ENDS_S = 1_798_761_600  # the first second of 2027, UTC: `date -u -d 2027-01-01 +%s`


def test_book_comes_back_as_it_was_written(tmp_path: Path) -> None:
    """Where there is none it is empty; only its owner may read it; nothing is left beside it."""
    assert read_book(tmp_path) == GuestBook()
    write_book(tmp_path, BOOK)
    assert read_book(tmp_path) == BOOK
    assert stat.S_IMODE((tmp_path / NAME).stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [NAME]


def test_book_that_is_not_written_whole_is_what_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that is full halfway, and a machine that stops before the rename: the old book is there."""
    write_book(tmp_path, BOOK)

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(guest_book.os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_book(tmp_path, BOOK.without(ADA.id))
    assert read_book(tmp_path) == BOOK


def test_what_whoever_serves_is_told_of_an_invitation_has_no_name() -> None:
    """Id, audience, digest and the first second after the last day."""
    assert ADA.guest == Guest("0000ada0", "family", bytes.fromhex("0f" * 32), ENDS_S)
    assert BOB.guest == Guest("0000b0b0", "funders", bytes.fromhex("1f" * 32), None)
    assert "Lark" not in repr((ADA.guest, BOB.guest))


def test_invitation_counts_until_it_is_taken_back_or_over() -> None:
    """At its last second, not one past it."""
    assert ADA.counts(ENDS_S - 1)
    assert not ADA.counts(ENDS_S)
    assert BOB.counts(ENDS_S)
    back = BOOK.without(BOB.id)
    assert [each.counts(0) for each in back.invited] == [True, False]
    assert back.find(BOB.id) == replace(BOB, revoked=True)
    assert (BOOK.find("0000ffff"), BOOK.find(None)) == (None, None)


def many(count: int, revoked: bool = False) -> tuple[Invited, ...]:
    """Return so many invitations."""
    return tuple(replace(BOB, id=f"{at:08x}", revoked=revoked) for at in range(count))


def test_book_has_room_for_so_many_that_count_and_not_for_one_more() -> None:
    """Those that were taken back take no place; one more is refused with what to do."""
    book = GuestBook(1, many(GUESTS_LIMIT - 1)).with_one(ADA, 0.0)
    assert len(book.invited) == GUESTS_LIMIT
    with pytest.raises(InvitationError, match="take one back first"):
        book.with_one(replace(ADA, id="0000ffff"), 0.0)
    assert book.without(ADA.id).with_one(replace(ADA, id="0000ffff"), 0.0).invited[-1].id == "0000ffff"


def test_book_forgets_the_oldest_of_those_that_count_no_more() -> None:
    """So many are remembered beside those that count, whatever comes."""
    book = GuestBook(1, (ADA, *many(KEPT + 5, revoked=True))).with_one(replace(ADA, id="0000ffff"), 0.0)
    assert len(book.invited) == KEPT + 2
    assert [each.id for each in book.invited][:2] == [ADA.id, f"{5:08x}"]


def test_book_that_others_may_read_stops_the_start(tmp_path: Path) -> None:
    """It holds names; the remedy is said."""
    write_book(tmp_path, BOOK)
    (tmp_path / NAME).chmod(0o640)
    with pytest.raises(InvitationError, match="chmod 600"):
        read_book(tmp_path)


@pytest.mark.parametrize(
    "change",
    [
        {"format": 2},
        {"number": True},
        {"number": -1},
        {"number": None},
        {"guests": None},
        {"guests": [7]},
        {"id": "Ada"},
        {"id": BOB.id},
        {"name": ""},
        {"name": "M" * 81},
        {"audience": 7},
        {"digest": "0f" * 31},
        {"digest": None},
        {"until": "tomorrow"},
        {"until": 7},
        {"revoked": "false"},
        {"revoked": None},
        {"opens": -1},
        {"opens": 1.5},
        {"last_day": "yesterday"},
        {"secret": "A" * 43},
    ],
)
def test_book_that_is_none_stops_the_start_and_says_the_way_out(change: dict[str, object], tmp_path: Path) -> None:
    """Whatever is wrong in it: nobody is let in, or kept out, by a guess."""
    write_book(tmp_path, BOOK)
    told = json.loads((tmp_path / NAME).read_text())
    (told if set(change) & {"format", "number", "guests"} else told["guests"][0]).update(change)
    (tmp_path / NAME).write_text(json.dumps(told))
    with pytest.raises(InvitationError, match="put a back-up copy there, or remove it"):
        read_book(tmp_path)


@pytest.mark.parametrize("data", [b"", b"{", b"\xff", b"[]", b"7", b"null"])
def test_book_of_other_bytes_stops_the_start(data: bytes, tmp_path: Path) -> None:
    """What isn't JSON, or isn't a book."""
    path = tmp_path / NAME
    path.write_bytes(data)
    path.chmod(0o600)
    with pytest.raises(InvitationError, match="put a back-up copy there, or remove it"):
        read_book(tmp_path)
