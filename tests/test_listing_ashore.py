"""The list of guests on its way ashore: none is passed over there, and it holds who follows ashore alone."""

from pathlib import Path
from typing import Any

import pytest

from link_ends import SIGNER
from relay.shell.desk import inviting
from relay.shell.desk.guest_book import read_book
from relay.shell.site.attendance import Attendance
from relay.shell.site.guest_door import GuestDoor


class Ashore(GuestDoor):
    """What stands ashore: a door that is told each listing, and what the ship would hear of it on a link."""

    def __init__(self) -> None:
        super().__init__(Attendance(8))
        self.trust(SIGNER.key)
        self.taken: list[bool] = []

    def hear(self, data: bytes) -> None:
        """Take a listing, as the link would bring it."""
        self.taken.append(self.listing(data))


class Nothing:
    """A ship that journals nothing."""

    def decide(self, _data: bytes, _who: str) -> dict[str, Any]:
        """Take a decision."""
        return {}

    async def settled(self, _within_s: float) -> bool:
        """Say that it is on the disk."""
        return True


def started(folder: Path, ashore: Ashore, wall_s: float, invited: tuple[str, ...] = ("family",)) -> inviting.Inviting:
    """Return a relay's invitations, started with its wall clock at a moment."""
    out = inviting.Inviting(
        folder, Nothing(), SIGNER, GuestDoor(Attendance(8)), invited, str, lambda: wall_s, ("family",)
    )
    out.outward.append(ashore.hear)
    out.start()
    return out


@pytest.mark.parametrize("clocks_s", [(1.79e9, 1.26e9), (2.2e9, 1.79e9), (1.79e9, 0.0)])
async def test_taking_back_reaches_the_shore_whatever_the_clock_did(
    tmp_path: Path, clocks_s: tuple[float, float]
) -> None:
    """A clock that was ahead, or falls back to 2009 at a restart: no listing is passed over ashore, killed or not."""
    ashore, (before_s, after_s) = Ashore(), clocks_s
    first = started(tmp_path, ashore, before_s)
    first._wall_s = lambda: before_s + 3_600
    ada = await first.take({"do": "invite", "audience": "family", "name": "Ada"}, "Ines", 5.0)
    assert list(ashore.seen) == [ada["id"]]  # the relay is killed here: nothing is closed
    again = started(tmp_path, ashore, after_s)
    await again.take({"do": "uninvite", "guest": ada["id"]}, "Ines", 5.0)
    assert (list(ashore.seen), ashore.taken) == ([], [True] * 4)


async def test_guest_book_that_was_lost_is_gone_beyond(tmp_path: Path) -> None:
    """Without the book all links end, ashore too: the ship goes on from the number the shore tells, not from a lie."""
    ashore = Ashore()
    ada = await started(tmp_path, ashore, 1.79e9).take(
        {"do": "invite", "audience": "family", "name": "Ada"}, "Ines", 5.0
    )
    assert list(ashore.seen) == [ada["id"]]
    (tmp_path / "guests.json").unlink()
    again = started(tmp_path, ashore, 0.0)
    assert ashore.taken[-1] is False
    again.beyond(1 << 60)
    again.beyond(ashore.number)
    assert (list(ashore.seen), ashore.taken[-2:]) == ([], [False, True])
    await again.close()
    assert read_book(tmp_path).number == ashore.number


async def test_guests_of_an_audience_that_is_kept_aboard_are_not_told_ashore(tmp_path: Path) -> None:
    """Neither the audience's name nor how many are invited to it leaves by the link."""
    ashore, heard = Ashore(), list[bytes]()
    aboard = started(tmp_path, ashore, 1.79e9, ("family", "permit-office"))
    aboard.outward.append(heard.append)
    for audience in ("permit-office", "family"):
        await aboard.take({"do": "invite", "audience": audience, "name": "Ada"}, "Ines", 5.0)
    assert len(ashore.seen) == 1
    assert len(aboard._door.seen) == 2
    assert b"permit-office" not in b"".join(heard)
