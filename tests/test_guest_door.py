"""The door for guests: whose token counts, now; wrong ones are limited and the tables bounded."""

from dataclasses import replace

import pytest

from relay.core.errors import InvitationError
from relay.core.guests import Guest, Listing, digest_of, write_listing
from relay.core.seal import Signer
from relay.shell.site.attendance import Attendance
from relay.shell.site.guest_door import GuestDoor, WrongTokens

SIGNER = Signer(bytes(range(32)))
SECRET = "A" * 43
ADA = Guest("00000001", "family", digest_of(SECRET), 2_000)
BOB = Guest("0000000b", "funders", digest_of("B" * 43))
TOKEN = f"{ADA.id}.{SECRET}"
HERE, THERE = "192.0.2.1", "192.0.2.2"


class Clocks:
    """Clocks that stand until they are set."""

    def __init__(self) -> None:
        self.wall, self.now = 1_000.0, 50.0

    def wall_s(self) -> float:
        """Return the wall clock."""
        return self.wall

    def now_s(self) -> float:
        """Return the clock that only goes on."""
        return self.now


class Line:
    """A guest's connection."""

    def __init__(self) -> None:
        self.told = 0

    def uninvited(self) -> None:
        """Count."""
        self.told += 1


def listing(number: int, *guests: Guest) -> bytes:
    """Return the ship's listing."""
    return write_listing(Listing(number, {guest.id: guest for guest in guests}), SIGNER)


def door_of(clocks: Clocks, wrong: int = 3) -> tuple[GuestDoor, Attendance]:
    """Return a door that knows Ada and Bob."""
    attendance = Attendance(8)
    door = GuestDoor(attendance, wrong, wall_s=clocks.wall_s, now_s=clocks.now_s)
    door.trust(SIGNER.key)
    assert door.listing(listing(5, ADA, BOB))
    return door, attendance


def test_nobody_is_invited_before_a_listing_has_come() -> None:
    """Nor is a listing taken before the ship's key is known."""
    door = GuestDoor(Attendance(8))
    assert door.find(TOKEN, HERE) is None
    with pytest.raises(InvitationError, match="no ship's key"):
        door.listing(listing(5, ADA))
    door.trust(Signer(bytes(32)).key)
    with pytest.raises(InvitationError, match="not the ship's"):
        door.listing(listing(5, ADA))
    assert door.find(TOKEN, HERE) is None


def test_older_listing_brings_nobody_back() -> None:
    """Who was taken off stays off, whatever earlier listing of the ship is sent again."""
    door, _ = door_of(Clocks())
    assert door.listing(listing(6, BOB))
    assert not door.listing(listing(5, ADA, BOB))
    assert door.find(TOKEN, HERE) is None
    assert door.listing(listing(6, BOB))
    assert not door.listing(listing(6, ADA, BOB)), "another of the same number"
    assert door.find(TOKEN, HERE) is None


def test_who_is_taken_off_is_dismissed_at_once_and_nobody_else() -> None:
    """So is whose token or audience is another now; who stays isn't, even if the end moved."""
    for now in ((), (replace(ADA, digest=digest_of("C" * 43)),), (replace(ADA, audience="funders"),)):
        door, attendance = door_of(Clocks())
        ada, bob = Line(), Line()
        attendance.attend(ADA.id, ada)
        attendance.attend(BOB.id, bob)
        door.listing(listing(6, replace(BOB, until_s=9_000), *now))
        assert (ada.told, bob.told) == (1, 0)


def test_invitation_ends_by_the_wall_clock_of_whoever_serves() -> None:
    """At the turn after its last second its connections are dismissed, once; set back, the clock brings it back."""
    clocks = Clocks()
    door, attendance = door_of(clocks)
    ada = Line()
    attendance.attend(ADA.id, ada)
    clocks.wall = 1_999.0
    door.turn()
    assert ada.told == 0
    assert door.find(TOKEN, HERE) == ADA
    clocks.wall = 2_000.0
    door.turn()
    door.turn()
    assert ada.told == 1
    assert door.find(TOKEN, HERE) is None
    clocks.wall = 1_000.0
    assert door.find(TOKEN, HERE) == ADA


def test_listing_that_comes_late_dismisses_who_is_over_already() -> None:
    """An end that was moved to before now acts when it comes."""
    clocks = Clocks()
    door, attendance = door_of(clocks)
    ada = Line()
    attendance.attend(ADA.id, ada)
    door.listing(listing(6, replace(ADA, until_s=900)))
    assert ada.told == 1


def test_right_token_is_let_in_whatever_wrong_ones_came_from_its_address() -> None:
    """A museum's guests share one address: who guesses there, or has an old link, keeps none of them out."""
    door, _ = door_of(Clocks())
    for _ in range(1_000):
        assert door.find("x", HERE) is None
        assert door.find(TOKEN, HERE) == ADA


def test_wrong_tokens_of_an_address_are_limited_and_no_other_address_notices() -> None:
    """After three it is known as one that tries, until one is pardoned; each is counted, those beyond apart."""
    clocks = Clocks()
    door, _ = door_of(clocks)
    for guess in ("x", f"{ADA.id}.{'B' * 43}", "00000009." + SECRET):
        assert not door.is_tried_by(HERE)
        assert door.find(guess, HERE) is None
    assert (door.is_tried_by(HERE), door.is_tried_by(THERE)) == (True, False)
    assert (door.wrong, door.beyond) == (3, 0)
    assert door.find("x", HERE) is None
    assert (door.wrong, door.beyond) == (4, 1)
    clocks.now += 5.9
    assert door.is_tried_by(HERE)
    clocks.now += 0.2
    assert not door.is_tried_by(HERE)


def test_right_tokens_cost_an_address_nothing() -> None:
    """A page that asks a thousand times is heard a thousand times."""
    door, _ = door_of(Clocks())
    assert all(door.find(TOKEN, HERE) == ADA for _ in range(1_000))


def test_guessing_at_full_speed_is_slow() -> None:
    """In an hour of guessing without a pause some six hundred guesses keep their connection, not more."""
    clocks = Clocks()
    door, _ = door_of(clocks, wrong=10)
    for _ in range(36_000):
        door.find("00000001.guess", HERE)
        clocks.now += 0.1
    kept = door.wrong - door.beyond
    assert door.wrong == 36_000
    assert 500 < kept <= 10 + 3_600 / 6


def test_table_of_addresses_is_bounded() -> None:
    """At the limit the one that was wrong longest ago is forgotten; the newest still counts."""
    clocks = Clocks()
    wrong = WrongTokens(1, clocks.now_s, most=4)
    for at in range(5):
        wrong.note(f"192.0.2.{at}")
        assert len(wrong) <= 4
    assert [wrong.has_left(f"192.0.2.{at}") for at in range(5)] == [True, False, False, False, False]


def test_limit_of_none_ends_nobodys_connection() -> None:
    """Behind a proxy every address is the proxy's: one guesser must not cost all guests their connections."""
    wrong = WrongTokens(0, Clocks().now_s)
    for _ in range(100):
        wrong.note(HERE)
    assert wrong.has_left(HERE)
    assert len(wrong) == 0


def test_what_is_counted_of_a_guest_is_openings_and_a_day() -> None:
    """By the wall clock's day in UTC; of who isn't listed any more nothing is kept."""
    clocks = Clocks()
    door, _ = door_of(clocks)
    assert door.seen[ADA.id].last_day is None
    clocks.wall = 1_500.0
    guest = door.find(TOKEN, HERE)
    assert guest is not None
    door.opened(guest)
    assert (door.seen[ADA.id].opens, door.seen[ADA.id].last_day) == (1, "1970-01-01")
    assert (door.seen[BOB.id].opens, door.seen[BOB.id].last_day) == (0, None)
    door.listing(listing(6, BOB))
    assert set(door.seen) == {BOB.id}
