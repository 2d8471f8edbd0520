"""Guests ashore: let in by the ship's listing alone, over restarts and a lost disk; names never come here."""

import asyncio
import json
import logging
import stat
from hashlib import sha256
from pathlib import Path

import pytest
from websockets.typing import Subprotocol

from disk_order import NAMED, order_of
from fair_time import fair_s
from guests_of import ADA, BOB, EVE, TOKENS, bearer
from peers import get, live, take, until
from relay.core.errors import InvitationError
from relay.core.guests import Guest, Listing, write_listing
from relay.core.seal import Signer
from relay.core.uplink_talk import Listed
from relay.core.websocket import CloseCode
from relay.shell.shore import shore_guests
from relay.shell.shore.shore import Shore
from relay.shell.shore.shore_guests import ASIDE, LISTING, SEEN
from released import dive
from shores import SIGNER, STRANGER, ashore, changed, sealed
from test_guests_live import code_of

PATH = "/recordings/funders/dives.json"
FRAMES = sealed(dive(1, 4, audience="funders"))


def listing(number: int, *guests: Guest, signer: Signer = SIGNER) -> bytes:
    """Return the ship's listing."""
    return write_listing(Listing(number, {guest.id: guest for guest in guests}), signer)


async def status_of(shore: Shore, guest: Guest) -> int:
    """Return how a guest's question for the audience's dives is answered."""
    return (await get(shore.site, PATH, bearer(guest))).status


async def test_guest_follows_ashore_and_is_let_go(tmp_path: Path) -> None:
    """The same bytes as the ship signed; 4005 within a second of the listing that takes the invitation back."""
    offered = [Subprotocol("offing"), Subprotocol(f"guest.{TOKENS[EVE]}")]
    async with asyncio.timeout(20), ashore(tmp_path) as shore:
        assert await status_of(shore, EVE) == 404
        shore.guests(listing(3, ADA, EVE))
        async with live(shore.site, "audience=funders", subprotocols=offered) as viewer:
            await shore.take("funders", FRAMES)
            assert await take(viewer, len(FRAMES)) == FRAMES
            assert (await status_of(shore, EVE), await status_of(shore, ADA)) == (200, 404)
            assert shore.seen() == {"public": 0, "funders": 1}
            began = fair_s()
            shore.guests(listing(4, ADA))
            assert await code_of(viewer) == CloseCode.UNINVITED
            assert fair_s() - began < 1
        assert await status_of(shore, EVE) == 404


async def test_listing_that_is_not_the_ships_ends_the_link_and_changes_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Whoever feeds it without her key; an older one of hers is passed over: logged, and not passed on."""
    async with ashore(tmp_path) as shore:
        on: list[bytes] = []
        shore.onward_guests.append(on.append)
        assert shore.listed() == Listed()
        shore.guests(listing(3, EVE))
        with pytest.raises(InvitationError, match="not the ship's"):
            shore.guests(listing(9, ADA, BOB, signer=STRANGER))
        shore.guests(listing(2))
        shore.guests(listing(3))
        assert caplog.text.count("a list of guests was passed over") == 2
        assert on == [listing(3, EVE)]
        assert shore.listed() == Listed(3, sha256(listing(3, EVE)).digest())
        assert await status_of(shore, EVE) == 200


async def test_guests_are_known_after_a_restart_without_the_link(tmp_path: Path) -> None:
    """Who was invited when the link went is let in, who was taken back isn't, and what was counted goes on."""
    async with ashore(tmp_path) as shore:
        shore.guests(listing(3, EVE, ADA))
        await get(shore.site, "/guest.json", bearer(EVE))
        shore.guests(listing(4, EVE))
    async with ashore(tmp_path) as shore:
        assert await status_of(shore, EVE) == 200
        assert (await get(shore.site, "/guest.json", bearer(ADA))).status == 404
        assert shore.site.guests.seen[EVE.id].opens == 1
        shore.guests(listing(3, EVE, ADA))
        assert (await get(shore.site, "/guest.json", bearer(ADA))).status == 404


async def test_listing_is_on_the_disk_soon_and_is_for_its_owner_alone(tmp_path: Path) -> None:
    """A shore that is killed knows its guests; neither file holds a secret."""
    async with asyncio.timeout(20), ashore(tmp_path) as shore:
        shore.guests(listing(3, EVE))
        folder = shore.file.folder
        await until((folder / LISTING).is_file)
        await until(lambda: shore.invited._written == listing(3, EVE))
    assert (folder / LISTING).read_bytes() == listing(3, EVE)
    assert json.loads((folder / SEEN).read_text())["guests"] == {EVE.id: [0, None]}
    for path in (folder / LISTING, folder / SEEN):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert b"E" * 43 not in path.read_bytes()


def test_listing_has_its_name_on_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut doesn't bring back somebody who was let go: the file, then its name, then its folder (fsync(2))."""
    order = order_of(monkeypatch)
    shore_guests._put(tmp_path / LISTING, listing(3, EVE))
    assert order == [(tmp_path / LISTING).stat().st_ino, NAMED, tmp_path.stat().st_ino]


@pytest.mark.parametrize("data", [b"", b"nonsense", listing(3, EVE, signer=STRANGER), listing(3, EVE)[:-1]])
async def test_listing_on_the_disk_that_is_not_the_ships_lets_nobody_in(
    data: bytes, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """It is set aside and said; the shore runs, and takes the next one."""
    async with ashore(tmp_path) as shore:
        folder = shore.file.folder
    (folder / LISTING).write_bytes(data)
    caplog.set_level(logging.ERROR)
    async with ashore(tmp_path) as shore:
        assert await status_of(shore, EVE) == 404
        assert (folder / (LISTING + ASIDE)).read_bytes() == data
        assert "nobody is invited until the ship says who is" in caplog.text
        shore.guests(listing(1, EVE))
        assert await status_of(shore, EVE) == 200


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "[" * 3_000, '{"guests": 7}', '{"guests": {"0000e0e0": [-1, "x", 3]}}']
)
async def test_counts_on_the_disk_that_are_none_begin_anew(text: str, tmp_path: Path) -> None:
    """They let nobody in and keep nobody out."""
    async with ashore(tmp_path) as shore:
        shore.guests(listing(3, EVE))
    (shore.file.folder / SEEN).write_text(text)
    async with ashore(tmp_path) as shore:
        assert await status_of(shore, EVE) == 200
        assert shore.site.guests.seen[EVE.id].opens == 0


async def test_disk_that_takes_no_listing_keeps_nobody_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The newest listing counts, and the log says that a restart wouldn't know it; no guest is named there."""

    def full(_path: Path, _data: bytes) -> None:
        raise OSError(28, "No space left on device")

    async with asyncio.timeout(20), ashore(tmp_path) as shore:
        monkeypatch.setattr(shore_guests, "_put", full)
        shore.guests(listing(3, EVE))
        assert await status_of(shore, EVE) == 200
        await until(lambda: "No space left on device" in caplog.text)
        assert EVE.id not in caplog.text


async def test_no_log_of_a_shore_holds_a_token_or_an_id(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Neither do its files, but the ids in the listing and the counts."""
    caplog.set_level(logging.DEBUG)
    async with ashore(tmp_path) as shore:
        shore.guests(listing(3, EVE))
        await shore.take("funders", FRAMES)
        for path in (PATH, "/guest.json"):
            for field in (bearer(EVE), bearer(ADA), f"Authorization: Bearer {TOKENS[EVE]}x"):
                await get(shore.site, path, field)
        shore.guests(listing(4))
    told = "\n".join(f"{record.getMessage()} {record.args}" for record in caplog.records)
    files = b"".join(path.read_bytes() for path in shore.file.folder.rglob("*") if path.is_file())
    for guest in (EVE, ADA):
        assert guest.id not in told
        assert TOKENS[guest].partition(".")[2] not in told
        assert TOKENS[guest].partition(".")[2].encode() not in files


async def test_shore_that_does_not_invite_an_audience_shows_it_to_nobody(tmp_path: Path) -> None:
    """Its file has the last word ashore, whatever the ship's listing says."""
    async with ashore(tmp_path, changed('invited = ["funders"]', "invited = []")) as shore:
        shore.guests(listing(3, EVE))
        assert await status_of(shore, EVE) == 404


async def test_behind_a_proxy_wrong_tokens_lock_nobody_out(tmp_path: Path) -> None:
    """Everybody has the proxy's address there: the proxy limits them, and 256 bits do."""
    text = changed("[site]\n", "[site]\nbehind_proxy = true\n")
    async with ashore(tmp_path, text) as shore:
        shore.guests(listing(3, EVE))
        for _ in range(30):
            await get(shore.site, PATH, f"Authorization: Bearer {EVE.id}.{'W' * 43}")
        assert await status_of(shore, EVE) == 200
