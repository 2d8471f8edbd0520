"""Who is invited, ashore: the ship's listing as it came, kept for when the link is down, and how often each guest came.

Rules: the listing holds no name and no secret, and is checked against the ship's key whenever it is read; one on the
disk that isn't hers is set aside, and then nobody is invited until she says so. What the ship took back counts here
as soon as the link carries it, and not before. What is counted stays ashore: ids, openings and days, and nothing goes
to the ship. The disk is written in a thread; one that takes nothing is told in the log, and nobody is kept out or let
in by that. A thread can't be stopped: the folder is let go of once none is at the disk any more (`at_rest`).
"""

import asyncio
import contextlib
import json
import logging
import os
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

from relay.core.errors import InvitationError
from relay.core.guest_terms import until_fault
from relay.core.uplink_talk import NOT_LISTED, Listed
from relay.shell.released.recording import sync_folder
from relay.shell.site.guest_door import GuestDoor, Seen

log = logging.getLogger("offing.shore")
LISTING, SEEN = "guests.listing", "guests-seen.json"
ASIDE = ".set-aside"
KEEP_S, CLOSE_S = 60.0, 5.0


class ShoreGuests:
    """A part of a shore. `door`: of its site; `folder`: where the release logs are, None to keep nothing."""

    def __init__(self, door: GuestDoor, folder: Path | None) -> None:
        self._door, self._folder = door, folder
        self._listing, self._written = b"", b""
        self._told: dict[str, Any] = {}
        self._stirred, self._closing = asyncio.Event(), False
        self._job: asyncio.Task[None] | None = None
        self._at_disk: asyncio.Future[None] | None = None

    @property
    def listing(self) -> bytes:
        """The newest listing, nothing where there is none."""
        return self._listing

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return [] if self._job is None else [self._job]

    async def start(self) -> None:
        """Let in whom the listing on the disk lets in."""
        if self._folder is None:
            return
        await self._in_thread(self._read, self._folder)
        self._job = asyncio.create_task(self._keep(self._folder))

    async def _in_thread(self, work: Callable[..., None], *given: Any) -> None:
        """Do something at the disk, one after the other; who is cancelled meanwhile leaves it to end by itself."""
        self._at_disk = asyncio.ensure_future(asyncio.to_thread(work, *given))
        await asyncio.shield(self._at_disk)

    def _read(self, folder: Path) -> None:
        path = folder / LISTING
        try:
            self._listing = self._written = path.read_bytes()
            self._door.listing(self._listing)
        except FileNotFoundError:
            return
        except (OSError, InvitationError) as error:
            log.error("%s can't be used, so nobody is invited until the ship says who is: %s", path, error)
            with contextlib.suppress(OSError):
                path.replace(path.with_name(path.name + ASIDE))
            return
        with contextlib.suppress(OSError, ValueError, TypeError, AttributeError, KeyError, RecursionError):
            self._count_on(json.loads((folder / SEEN).read_text(encoding="utf-8"))["guests"])

    def _count_on(self, told: dict[str, Any]) -> None:
        for guest_id, (opens, day) in told.items():
            if guest_id in self._door.seen and type(opens) is int and (day is None or until_fault(day) is None):
                self._door.seen[guest_id] = Seen(opens, day)
        self._told = self._counts()

    def take(self, listing: bytes) -> bool:
        """Take a listing; InvitationError, and nothing taken, if it isn't the ship's.

        False, which the log has, for one that is passed over: older than the one in force, or another of its number.
        """
        if not self._door.listing(listing):
            log.warning(
                "a list of guests was passed over: one that isn't older is in force (no. %d)", self._door.number
            )
            return False
        self._listing = listing
        self._stirred.set()
        return True

    def listed(self) -> Listed:
        """Return which listing is in force, for the ship, who goes on from there."""
        return Listed(self._door.number, sha256(self._listing).digest()) if self._listing else NOT_LISTED

    def _counts(self) -> dict[str, Any]:
        return {guest_id: [seen.opens, seen.last_day] for guest_id, seen in self._door.seen.items()}

    async def _keep(self, folder: Path) -> None:
        while True:
            self._stirred.clear()
            last = self._closing  # what comes while this is written is written once more
            await self._write(folder)
            if last:
                return
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(KEEP_S):
                    await self._stirred.wait()

    async def _write(self, folder: Path) -> None:
        listing, told = self._listing, self._counts()
        try:
            if listing != self._written:
                await self._in_thread(_put, folder / LISTING, listing)
                self._written = listing
            if told != self._told:
                of = "how often each guest opened the page here, and the last day (UTC)"
                counted = json.dumps({"offing": of, "guests": told})
                await self._in_thread(_put, folder / SEEN, counted.encode())
                self._told = told
        except OSError as error:
            log.error("who is invited can't be kept for a restart: %s", error.strerror)

    async def close(self) -> None:
        """Keep what isn't on the disk yet, if it takes it within `CLOSE_S`; then wait for `at_rest`."""
        self._closing = True
        self._stirred.set()
        if self._job is not None:
            await asyncio.wait({self._job}, timeout=CLOSE_S)
            self._job.cancel()
            await asyncio.wait({self._job})

    async def at_rest(self) -> None:
        """Return once nothing of this is at the disk any more, after `close`."""
        if self._at_disk is not None:
            await asyncio.wait({self._at_disk})


def _put(path: Path, data: bytes) -> None:
    """Put a file in place whole and durably, for its owner alone."""
    beside = path.with_name(path.name + ".new")
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    sync_folder(path.parent)
