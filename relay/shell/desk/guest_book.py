"""The guest book: who was invited on this ship, by what name; a file beside the journal that never leaves it.

Rules: mode 0600, written beside and put in place whole, on the disk before anybody is told that it is. It holds the
SHA-256 of each secret and no secret: a copy of it lets nobody in. A book that can't be read stops the start, with the
way out. At most `GUESTS_LIMIT` count at a time; of those that don't any more the newest `KEPT` are remembered.
"""

import json
import os
import stat
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from relay.core.errors import InvitationError
from relay.core.guest_terms import day_end_s, guest_fault, invited_fault, until_fault
from relay.core.guests import DIGEST_OCTETS, GUESTS_LIMIT, Guest

NAME = "guests.json"
KEPT = 500
_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Invited:
    """One invitation. `digest`: of the secret, hexadecimal; `until`: its last day (UTC); `last_day`: when last seen."""

    id: str
    name: str
    audience: str
    digest: str
    until: str | None = None
    revoked: bool = False
    opens: int = 0
    last_day: str | None = None

    @property
    def guest(self) -> Guest:
        """What whoever serves is told of it: no name."""
        until_s = None if self.until is None else day_end_s(self.until)
        return Guest(self.id, self.audience, bytes.fromhex(self.digest), until_s)

    def counts(self, wall_s: float) -> bool:
        """Whether it lets anybody in at a moment."""
        return not self.revoked and not self.guest.is_over(wall_s)


@dataclass(frozen=True, slots=True)
class GuestBook:
    """All invitations by id, the oldest first, and the number of the listing that was made of them last."""

    number: int = 0
    invited: tuple[Invited, ...] = ()

    def find(self, guest_id: object) -> Invited | None:
        """Return an invitation by its id."""
        return next((each for each in self.invited if each.id == guest_id), None)

    def with_one(self, new: Invited, wall_s: float) -> "GuestBook":
        """Return the book with an invitation added; InvitationError if it is full."""
        if sum(each.counts(wall_s) for each in self.invited) >= GUESTS_LIMIT:
            raise InvitationError(f"{GUESTS_LIMIT} invitations count already: take one back first (`offing uninvite`)")
        over = [each for each in self.invited if not each.counts(wall_s)]
        gone = {each.id for each in over[: max(0, len(over) - KEPT)]}
        return replace(self, invited=(*(each for each in self.invited if each.id not in gone), new))

    def without(self, guest_id: str) -> "GuestBook":
        """Return the book with an invitation taken back."""
        return self.changed(replace(each, revoked=True) for each in self.invited if each.id == guest_id)

    def changed(self, changed: Iterable[Invited]) -> "GuestBook":
        """Return the book with some of its invitations as they are now."""
        now = {each.id: each for each in changed}
        return replace(self, invited=tuple(now.get(each.id, each) for each in self.invited))


def read_book(folder: Path) -> GuestBook:
    """Read a site's guest book, empty where there is none; InvitationError if it isn't one or others may read it."""
    path = folder / NAME
    try:
        mode, text = stat.S_IMODE(path.stat().st_mode), path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return GuestBook()
    except (OSError, UnicodeDecodeError) as error:
        raise InvitationError(f"{path} can't be read: {_WAY_OUT}") from error
    if mode & 0o077:
        raise InvitationError(f"{path} may be read by others (mode {mode:o}), and holds names. Run: chmod 600 {path}")
    try:
        return _book(json.loads(text))
    except (ValueError, TypeError, KeyError, RecursionError, InvitationError) as error:
        raise InvitationError(f"{path} is no guest book of Offing's: {_WAY_OUT}") from error


_WAY_OUT = "put a back-up copy there, or remove it: then all links that were made so far end"


def _book(value: dict[str, Any]) -> GuestBook:
    if value["format"] != _FORMAT or not _is_count(value["number"]):
        raise ValueError
    invited = tuple(_invited(each) for each in value["guests"])
    if len({each.id for each in invited}) != len(invited):
        raise ValueError
    return GuestBook(value["number"], invited)


def _invited(told: dict[str, Any]) -> Invited:
    until, day = told["until"], told["last_day"]
    faults = [guest_fault(told["id"]), invited_fault(told["name"])]
    faults += [until_fault(each) for each in (until, day) if each is not None]
    right = isinstance(told["audience"], str) and len(bytes.fromhex(told["digest"])) == DIGEST_OCTETS
    if any(faults) or not right or not isinstance(told["revoked"], bool) or not _is_count(told["opens"]):
        raise ValueError
    return Invited(**told)


def _is_count(value: Any) -> bool:
    return type(value) is int and value >= 0


def write_book(folder: Path, book: GuestBook) -> None:
    """Put a guest book on the disk; OSError if that doesn't take it, and then the file is what it was."""
    told = {
        "offing": "who was invited: names stay on the ship",
        "format": _FORMAT,
        "number": book.number,
        "guests": [asdict(each) for each in book.invited],
    }
    beside = folder / f"{NAME}.new"
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as file:
        json.dump(told, file, ensure_ascii=False, indent=1)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(folder / NAME)
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
