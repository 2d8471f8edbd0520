"""The door for guests of a public site: who has a token that counts, now, by the clock of the machine that serves.

Rules: guests come by the ship's signed listing alone, and an older listing, or another of its number, never replaces
the one in force; without one nobody is invited. A token that counts is let in, whatever came from its address before:
guests share addresses, and 256 bits can't be guessed. An address has `wrong` wrong tokens, and gets one back every
`pardon_s`; each one beyond is answered as before it, and costs its connection. The table of addresses is bounded: at
`addresses` the one that was wrong longest ago is forgotten. Whose invitation is taken back, or over, is dismissed at
once, or at the next turn. What is counted of a guest is how often the page was opened and the last day; no address, no
token and no time of day.
"""

import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from relay.core.errors import InvitationError
from relay.core.guest_terms import day_of
from relay.core.guests import Guest, Listing, find_guest, read_listing
from relay.shell.site.attendance import Attendance

ADDRESSES = 4_096
PARDON_S = 6.0


@dataclass(slots=True)
class Seen:
    """What is known of one guest's coming: how often the page was opened, and the last day (UTC), if any."""

    opens: int = 0
    last_day: str | None = None


class WrongTokens:
    """How many wrong tokens each address has left. `wrong`: at most, 0 for no limit (behind a proxy)."""

    def __init__(
        self, wrong: int, now_s: Callable[[], float], pardon_s: float = PARDON_S, most: int = ADDRESSES
    ) -> None:
        self._wrong, self._pardon_s, self._most, self._now_s = wrong, pardon_s, most, now_s
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._left)

    def has_left(self, address: str) -> bool:
        """Whether an address may send another wrong token."""
        return self._wrong == 0 or self._now_left(address) >= 1

    def note(self, address: str) -> None:
        """Count a wrong token."""
        if self._wrong:
            self._left[address] = max(0.0, self._now_left(address) - 1), self._now_s()
            self._left.move_to_end(address)
            if len(self._left) > self._most:
                self._left.popitem(last=False)

    def _now_left(self, address: str) -> float:
        left, at_s = self._left.get(address, (float(self._wrong), self._now_s()))
        return min(float(self._wrong), left + (self._now_s() - at_s) / self._pardon_s)


class GuestDoor:
    """Judges tokens for one site. `key`: see `trust`; `wrong`: see `WrongTokens`."""

    def __init__(
        self,
        attendance: Attendance,
        wrong: int = 10,
        *,
        wall_s: Callable[[], float] = time.time,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._attendance, self._wall_s = attendance, wall_s
        self._wrong = WrongTokens(wrong, now_s)
        self._key: bytes | None = None
        self._listing, self._told = Listing(0, {}), b""
        self._over: set[str] = set()
        self.seen: dict[str, Seen] = {}
        self.wrong = 0
        self.beyond = 0

    def trust(self, key: bytes) -> None:
        """Take listings that the holder of this key signs (the ship's, 32 bytes)."""
        self._key = key

    def listing(self, data: bytes) -> bool:
        """Take a listing; False, and nothing taken, unless it is newer than the one in force, or is that one again.

        InvitationError if it isn't the ship's.
        """
        if self._key is None:
            raise InvitationError("a list of guests came, but no ship's key is known here to judge it by")
        listing = read_listing(self._key, data)
        if listing.number < self._listing.number:
            return False
        if listing.number == self._listing.number and self._told not in (b"", data):
            return False
        before, self._listing, self._told = self._listing, listing, data
        self.seen = {guest_id: self.seen.get(guest_id, Seen()) for guest_id in listing.guests}
        for guest_id, guest in before.guests.items():
            now = listing.guests.get(guest_id)
            if now is None or (now.audience, now.digest) != (guest.audience, guest.digest):
                self._attendance.dismiss(guest_id)
        self.turn()
        return True

    @property
    def number(self) -> int:
        """The number of the listing in force, 0 for none."""
        return self._listing.number

    def turn(self) -> None:
        """Dismiss whose invitation is over by now."""
        wall_s = self._wall_s()
        over = {guest.id for guest in self._listing.guests.values() if guest.is_over(wall_s)}
        for guest_id in over - self._over:
            self._attendance.dismiss(guest_id)
        self._over = over

    def find(self, token: str, address: str) -> Guest | None:
        """Return whose token this is, None if it doesn't count here and now; a wrong one counts against its address."""
        wall_s = self._wall_s()
        guest = find_guest(self._listing.guests, token, wall_s)
        if guest is None:
            self.wrong += 1
            if self._wrong.has_left(address):
                self._wrong.note(address)
            else:
                self.beyond += 1
            return None
        self.seen[guest.id].last_day = day_of(wall_s)
        return guest

    def is_tried_by(self, address: str) -> bool:
        """Whether an address has used up its wrong tokens: the connection that the last one came on is ended."""
        return not self._wrong.has_left(address)

    def opened(self, guest: Guest) -> None:
        """Count that a guest has opened the page."""
        self.seen[guest.id].opens += 1
