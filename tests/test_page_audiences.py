"""Other open audiences, how many follow, and the way to all dives, on the followers' page in a real browser."""

import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from shutil import copytree

import pytest
from playwright.async_api import Browser

from followers_page import BUILT, Follower, folder_server, follower
from peers import publish
from relay.shell.released.outlet import Frame
from released import EXPEDITION, dive, endless_dive
from test_page import address, site_at

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


@asynccontextmanager
async def published(folder: Path, lists: dict[str, list[Frame]], followers: object | None) -> AsyncIterator[str]:
    """Yield the address of a folder with the page, and each audience's dive and list beside it, on any web server."""
    copytree(BUILT, folder)
    for audience, frames in lists.items():
        (folder / "recordings" / audience).mkdir(parents=True)
        recording = f"recordings/{audience}/dive-001.recording"
        (folder / recording).write_bytes(b"".join(frame.data for frame in frames))
        entry = {"dive": 1, "closed": False, "records": len(frames), "recording": recording}
        listing = {"format": 1, "expedition": EXPEDITION, "audience": audience, "dives": [entry]}
        (folder / "recordings" / audience / "dives.json").write_text(json.dumps(listing))
        if audience == "public":
            (folder / "dives.json").write_text(json.dumps(listing))
    if followers is not None:
        (folder / "followers.json").write_text(json.dumps({"followers": followers}))
    async with folder_server(folder) as home:
        yield home


def _forgive_no_tail(someone: Follower) -> None:
    """A folder has no live tail, and a browser writes to its console that there is none."""
    someone.faults[:] = [fault for fault in someone.faults if "/live" not in fault and "404" not in fault]


async def test_another_audience_is_shown_its_own_dives(browser: Browser, tmp_path: Path) -> None:
    """`?audience=NAME` reads that audience's list and asks for its tail; links to a moment keep the name."""
    lists = {"public": dive(1, 3, closed=False), "funders": dive(1, 9, audience="funders", closed=False)}
    async with published(tmp_path / "site", lists, 12) as site:
        async with follower(browser, site) as someone:
            await someone.says(someone.vehicle("Lantern"), "about 20 m")
            await someone.says(someone.connection, "recordings only")
            _forgive_no_tail(someone)
        async with follower(browser, site + "?audience=funders#dive=1&at=75") as someone:
            await someone.says(someone.vehicle("Lantern"), "about 50 m")
            await someone.says(someone.connection, "recordings only")
            assert not any(asked.endswith(f"{site}dives.json") for asked in someone.asked)
            await someone.ribbon.press("End")
            await someone.page.wait_for_url("**/?audience=funders#dive=1&at=120")
            assert any("/live?audience=funders" in asked for asked in someone.asked)
            _forgive_no_tail(someone)


async def test_audience_that_is_not_there_is_said_to_be_none(browser: Browser, tmp_path: Path) -> None:
    """A wrong name is told in the largest words, and nothing of another audience is shown in its place."""
    async with published(tmp_path / "site", {"public": dive(1, 3, closed=False)}, 12) as site:
        for name in ("family", "..%2Fpublic", ".."):
            async with follower(browser, f"{site}?audience={name}") as someone:
                await someone.says(someone.headline, "There is no such page")
                await someone.says(someone.connection, "not found")
                assert await someone.ribbon.count() == 0
                _forgive_no_tail(someone)


@pytest.mark.parametrize(("followers", "words"), [(12, "12 following"), (0, ""), ("many", ""), (None, "")])
async def test_number_of_followers_is_told_where_the_site_tells_it(
    browser: Browser, tmp_path: Path, followers: object, words: str
) -> None:
    """The number stands beside the connection; a site that tells none, or nonsense, shows none."""
    async with (
        published(tmp_path / "site", {"public": dive(1, 3, closed=False)}, followers) as site,
        follower(browser, site) as someone,
    ):
        await someone.says(someone.connection, "recordings only")
        if words:
            await someone.says(someone.connection, words)
        assert ("following" in await someone.connection.inner_text()) is bool(words)
        assert sum(asked.endswith("/followers.json") for asked in someone.asked) == 1
        _forgive_no_tail(someone)


async def test_all_dives_are_one_link_away_once_there_is_one(browser: Browser) -> None:
    """Before any dive there is no list of them to lead to."""
    async with site_at() as site, follower(browser, address(site)) as someone:
        await someone.says(someone.headline, "No dive yet")
        link = someone.page.get_by_role("link", name="All dives")
        assert await link.count() == 0
        frames = endless_dive()
        publish(site, [next(frames), next(frames)])
        await link.wait_for()
        assert await link.get_attribute("href") == "expedition.html"
