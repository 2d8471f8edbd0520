"""Invitations aboard one running relay: made, taken back, listed; whoever serves learns of them by the signed listing.

Rules: an invitation counts once its decision is in the journal and the guest book on the disk, and not before its
link is shown; the link is shown once and is nowhere else, in no file and no log. Taking one back acts at once,
whatever the disk says: it only removes. A name stays on the ship. The disk is waited for in a thread: the release
doesn't notice. A write that fails, or that nobody waits for any more, may be on the disk all the same: the book is
written after it until the disk is known to have it.
"""

import asyncio
import logging
import secrets
from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

from relay.core.decision import Invite, Uninvite, write_decision
from relay.core.errors import OperatorError
from relay.core.guest_terms import day_end_s, invited_fault, until_fault
from relay.core.guests import ID_OCTETS, SECRET_OCTETS, Listing, digest_of, write_listing
from relay.core.seal import Signer
from relay.shell.desk.guest_book import GuestBook, Invited, read_book, write_book
from relay.shell.site.guest_door import GuestDoor, Seen

log = logging.getLogger("offing.guests")
KEEP_S = 30.0
NUMBER_MOST = 1 << 53
SHOWN = 200
_WORDS = {"invite": {"audience", "name", "until"}, "uninvite": {"guest"}}
WORDS = frozenset((*_WORDS, "guests"))


class Bridge(Protocol):
    """What invitations need of the ship."""

    def decide(self, data: bytes, who: str) -> dict[str, Any]:
        """Journal a decision and say what it does; OperatorError if it can't be taken."""
        ...

    async def settled(self, within_s: float) -> bool:
        """Wait until the decisions taken are on the disk; False if that takes longer."""
        ...


def drawn(message: dict[str, Any], audiences: Collection[str], book: GuestBook, wall_s: float) -> tuple[Invited, str]:
    """Return the invitation that a message asks for, with an id of its own, and its token; OperatorError if none."""
    audience, name, until = message.get("audience"), message.get("name"), message.get("until")
    if not audiences:
        raise OperatorError("no audience is shown by invitation: write invited = true in its [[audience]], and restart")
    if audience not in audiences:
        raise OperatorError(f"{audience!r} is not shown by invitation; one of {', '.join(audiences)}")
    if (fault := invited_fault(name) or (None if until is None else until_fault(until))) is not None:
        raise OperatorError(fault)
    if until is not None and day_end_s(until) <= wall_s:
        raise OperatorError(
            f"{until} is over: an invitation ends with its last day (UTC), so this one would let nobody in"
        )
    guest_id = secrets.token_hex(ID_OCTETS)
    while book.find(guest_id) is not None:
        guest_id = secrets.token_hex(ID_OCTETS)
    secret = secrets.token_urlsafe(SECRET_OCTETS)
    return Invited(guest_id, str(name), str(audience), digest_of(secret).hex(), until), f"{guest_id}.{secret}"


def invite_of(invited: Invited) -> Invite:
    """Return an invitation as the journal has it: without what lets anybody in."""
    return Invite(guest=invited.id, audience=invited.audience, invited=invited.name, until=invited.until)


def link_of(address: str, token: str, key: bytes) -> str:
    """Return the link for a guest: behind `#`, so that no browser sends it to anybody, in no Referer and no log.

    With the ship's public key, so that the guest's page believes no other, from the first visit on.
    """
    return f"{address}#guest={token}&key={key.hex()}"


def told_of(invited: Invited, wall_s: float) -> dict[str, Any]:
    """Return what the operator is shown of an invitation."""
    return {
        "id": invited.id,
        "name": invited.name,
        "audience": invited.audience,
        "until": invited.until,
        "revoked": invited.revoked,
        "over": not invited.revoked and not invited.counts(wall_s),
        "opens": invited.opens,
        "last_day": invited.last_day,
    }


class Inviting:
    """The invitations of one ship. `start` before the site opens; `keep` is a job of hers; then `close`.

    `audiences`: those that are shown by invitation; `address`: of the page, for links; `outward`: told each listing, of
    the guests alone whose audience is one of `ashore` (None: all).
    """

    def __init__(
        self,
        folder: Path,
        bridge: Bridge,
        signer: Signer,
        door: GuestDoor,
        audiences: Collection[str],
        address: Callable[[], str],
        wall_s: Callable[[], float],
        ashore: Collection[str] | None = None,
    ) -> None:
        self._folder, self._bridge, self._signer, self._door = folder, bridge, signer, door
        self._ashore = audiences if ashore is None else [name for name in audiences if name in ashore]
        self._audiences, self._address, self._wall_s = audiences, address, wall_s
        self._book = GuestBook()
        self._read = False
        self._written: GuestBook | None = None  # what the disk has; None where that isn't known
        self._writing: asyncio.Future[None] | None = None
        self._lock = asyncio.Lock()
        self.outward: list[Callable[[bytes], None]] = []
        self.listing = b""
        self.fault: str | None = None

    def start(self) -> None:
        """Read the guest book and tell who is invited; InvitationError if the book can't be used."""
        self._written = read_book(self._folder)
        self._book, self._read = self._numbered(self._written), True
        try:
            if self._audiences or self._book.invited:
                write_book(self._folder, self._book)
            self._written = self._book
        except OSError as error:
            self.fault = _not_written(error)
        self._door.trust(self._signer.key)
        self._tell()
        for each in self._book.invited:
            if each.id in self._door.seen:
                self._door.seen[each.id] = Seen(each.opens, each.last_day)

    def _numbered(self, book: GuestBook) -> GuestBook:
        """Return a book with the next number: beyond one that was told and lost before it was on the disk."""
        return replace(book, number=max(self._book.number + 1, book.number + 1, int(self._wall_s())))

    def _tell(self) -> None:
        self.listing = self._listing(self._audiences)
        self._door.listing(self.listing)
        ashore = self._listing(self._ashore)
        for outward in self.outward:
            outward(ashore)

    def _listing(self, audiences: Collection[str]) -> bytes:
        wall_s = self._wall_s()
        shown = [each.guest for each in self._book.invited if each.counts(wall_s) and each.audience in audiences]
        return write_listing(Listing(self._book.number, {guest.id: guest for guest in shown}), self._signer)

    def beyond(self, number: int) -> None:
        """Tell a listing with a higher number than one that the shore holds, from before this ship lost a disk.

        A number that no ship's clock can have led to is a lie, and would leave no numbers: nothing is told.
        """
        if number < NUMBER_MOST:
            self._book = self._numbered(replace(self._book, number=max(number, self._book.number)))
            self._tell()

    async def take(self, message: dict[str, Any], who: str, within_s: float) -> dict[str, Any]:
        """Take one message of the operator, whose name is known to be one; OperatorError if it can't be."""
        word = str(message.get("do"))
        if word == "guests":
            return {"guests": self.all()}
        if unknown := set(message) - _WORDS[word] - {"do"}:
            takes = ", ".join(sorted(_WORDS[word]))
            raise OperatorError(f'"{word}" has no {", ".join(sorted(unknown))}; it takes {takes}')
        take = self._invite if word == "invite" else self._uninvite
        return await take(message, who, within_s)

    async def _invite(self, message: dict[str, Any], who: str, within_s: float) -> dict[str, Any]:
        new, token = drawn(message, self._audiences, self._book, self._wall_s())
        self._book.with_one(new, self._wall_s())
        taken = self._bridge.decide(write_decision(invite_of(new), who), who)
        if not await self._bridge.settled(within_s):
            raise OperatorError("nobody was invited: the journal doesn't take it. See what is wrong with the disk")
        try:
            async with asyncio.timeout(within_s), self._lock:
                written = self._numbered(self._seen().with_one(new, self._wall_s()))
                await self._write(written)  # its number, too, is on the disk before anybody is told it
                number = max(written.number, self._book.number + 1)
                self._book = replace(self._book.with_one(new, self._wall_s()), number=number)
        except Exception as error:
            raise OperatorError(f"nobody was invited: the guest book {self._given_up(error)}") from error
        self._tell()
        return {**taken, **told_of(new, self._wall_s()), "link": link_of(self._address(), token, self._signer.key)}

    async def _uninvite(self, message: dict[str, Any], who: str, within_s: float) -> dict[str, Any]:
        found = self._book.find(message.get("guest"))
        if found is None or found.revoked:
            why = "there is no such invitation" if found is None else f"{found.name} isn't invited any more"
            raise OperatorError(f"{why}: `offing guests` lists those there are")
        self._book = self._numbered(self._seen().without(found.id))
        self._tell()
        taken: dict[str, Any] = {"taken": "uninvite", "words": f"no longer invited: {found.name}"}
        try:
            taken = self._bridge.decide(write_decision(Uninvite(guest=found.id, invited=found.name), who), who)
            await self._bridge.settled(within_s)
            async with asyncio.timeout(within_s), self._lock:
                await self._write(self._seen())
        except Exception as error:
            why = str(error) if isinstance(error, OperatorError) else f"the guest book {self._given_up(error)}"
            taken |= {"but": f"it acts, but a restart now would let them in again: {why}"}
        return {**taken, **told_of(replace(found, revoked=True), self._wall_s())}

    def _given_up(self, error: Exception) -> str:
        """Return why a book wasn't written; a disk that doesn't answer is an alarm until it does."""
        if isinstance(error, TimeoutError):
            self.fault = _not_written(error)
        return _refused(error)

    def _seen(self) -> GuestBook:
        """Return the book with how often guests came so far."""
        seen = self._door.seen
        known = [each for each in self._book.invited if each.id in seen]
        return self._book.changed(
            replace(each, opens=seen[each.id].opens, last_day=seen[each.id].last_day) for each in known
        )

    async def _write(self, book: GuestBook) -> None:
        """Put a book on the disk, after whatever is still being written; OSError if it doesn't take it."""
        if self._writing is not None:
            await asyncio.wait({self._writing})
        self._written = None
        self._writing = asyncio.ensure_future(asyncio.to_thread(write_book, self._folder, book))
        try:
            await asyncio.shield(self._writing)
        except Exception as error:
            self.fault = _not_written(error)
            raise
        self._written, self.fault = book, None

    async def keep(self) -> None:
        """Put what has changed on the disk, now and then; what goes wrong is a fault in words, and ends no relay."""
        await asyncio.sleep(KEEP_S)
        await self._keep()

    async def _keep(self) -> None:
        if not self._read or (self.fault is None and self._seen() == self._written):
            return
        try:
            async with self._lock:
                await self._write(self._seen())
        except Exception as error:
            log.error("the guest book %s", _refused(error))

    async def close(self) -> None:
        """Put on the disk what isn't there yet, if it takes it; a book that couldn't be read is left as it is."""
        await self._keep()

    def all(self) -> list[dict[str, Any]]:
        """Return every invitation for the operator, the newest first."""
        return [told_of(each, self._wall_s()) for each in reversed(self._seen().invited)]

    def shown(self) -> list[dict[str, Any]]:
        """Return the invitations for the desk, which is sent them twice a second: those that count first, `SHOWN`."""
        everyone = self.all()
        return sorted(everyone, key=lambda told: bool(told["revoked"] or told["over"]))[:SHOWN]


def _not_written(error: Exception) -> str:
    return f"the guest book {_refused(error)}: a restart would let in again whom you took back"


def _refused(error: BaseException) -> str:
    said = "the disk doesn't answer" if isinstance(error, TimeoutError) else getattr(error, "strerror", None)
    return f"can't be written ({said or type(error).__name__})"
