"""A shore that is told to end has its folder as long as a thread of it is at the disk: nothing that it writes late can
undo what another shore, started on that folder, has acknowledged (R5)."""

import asyncio
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from guests_of import BOB, EVE
from logs_ashore import FIRST, frames_of, opened, take
from peers import PATIENCE_S, until
from relay.core.errors import ShoreError
from relay.shell.shore import shore_guests, shore_logs
from relay.shell.shore.shore import Shore
from relay.shell.shore.shore_guests import ASIDE, LISTING, ShoreGuests
from relay.shell.shore.shore_run import new_shore
from shores import ashore, shore_file, with_certificates
from test_shore_guests import listing

GIVEN_UP_S = 0.5


class SlowDisk:
    """A disk that hangs in a function of the shore's, the first time, until it `goes_on`."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, where: object, name: str) -> None:
        self.asked, self.goes_on = threading.Event(), threading.Event()
        does: Callable[..., Any] = getattr(where, name)

        def do(*given: Any) -> Any:
            if not self.asked.is_set():
                self.asked.set()
                self.goes_on.wait(PATIENCE_S)
            return does(*given)

        monkeypatch.setattr(where, name, do)


def new_one(folder: Path) -> Shore:
    """Return a shore that isn't started."""
    return new_shore(shore_file(with_certificates(folder, "uplink", "site")))


async def check_folder_is_kept(shore: Shore, disk: SlowDisk) -> None:
    """Close a shore whose disk hangs: it has ended, and its folder is free, when that went on, and not before."""
    closing = asyncio.ensure_future(shore.close())
    try:
        await asyncio.wait({closing}, timeout=GIVEN_UP_S)
        assert not closing.done()
        with pytest.raises(ShoreError, match="it is another shore's"), opened(shore.file.folder):
            pass
    finally:
        disk.goes_on.set()
        await closing


async def stopped_at_its_start(folder: Path, disk: SlowDisk) -> None:
    """Start a shore and tell it to end while its disk hangs."""
    async with asyncio.timeout(PATIENCE_S):
        shore = new_one(folder)
        starting = asyncio.ensure_future(shore.start())
        try:
            await until(disk.asked.is_set)
            starting.cancel()
            await asyncio.wait({starting})
            assert starting.cancelled()
        finally:
            await check_folder_is_kept(shore, disk)


async def test_shore_stopped_as_it_writes_all_anew_ends_with_that(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A recording is whole when the next shore gets the folder, so what that one acknowledges stays."""
    folder = new_one(tmp_path).file.folder
    with opened(folder) as logs:
        take(logs, FIRST[:3])
    await stopped_at_its_start(tmp_path, SlowDisk(monkeypatch, shore_logs, "_write"))
    with opened(folder) as logs:
        assert take(logs, FIRST) == FIRST[3:]
    with opened(folder) as logs:
        assert (logs.set_aside, frames_of(logs)) == ([], FIRST)


async def test_shore_stopped_as_it_reads_who_is_invited_ends_with_that(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A listing that can't be used is set aside by then: the next shore's is in no danger."""
    folder = new_one(tmp_path).file.folder
    folder.mkdir()
    (folder / LISTING).write_bytes(b"none")
    await stopped_at_its_start(tmp_path, SlowDisk(monkeypatch, ShoreGuests, "_read"))
    assert [path.name for path in folder.glob(f"{LISTING}*")] == [LISTING + ASIDE]
    async with ashore(tmp_path) as shore:
        shore.guests(listing(3, EVE))
    assert (folder / LISTING).read_bytes() == listing(3, EVE)


async def test_shore_that_gives_up_on_a_listing_has_the_folder_until_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who was let go by the next shore's listing isn't let in again by an older one that comes late."""
    monkeypatch.setattr(shore_guests, "CLOSE_S", 0.05)
    async with asyncio.timeout(PATIENCE_S):
        shore = new_one(tmp_path)
        await shore.start()
        disk = SlowDisk(monkeypatch, shore_guests, "_put")
        try:
            shore.guests(listing(3, BOB, EVE))
            await until(disk.asked.is_set)
        finally:
            await check_folder_is_kept(shore, disk)
        assert (shore.file.folder / LISTING).read_bytes() == listing(3, BOB, EVE)
        async with ashore(tmp_path) as shore:
            shore.guests(listing(4, BOB))
        assert (shore.file.folder / LISTING).read_bytes() == listing(4, BOB)
