"""The briefing: one file that holds page and recording, opens without a network, and lets nothing in it out."""

import base64
import json
import re
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from playwright.async_api import Browser

from followers_page import LAPTOP, PHONE, follower
from relay.__main__ import main
from relay.core.errors import OperatorError, RecordingError
from relay.core.wire import footer, read_recording
from relay.shell.released.briefing import OwnNote, brief, briefing, read_notes
from relay.shell.site.site_files import site_folder
from released import dive
from test_page import AXE, violations

DEMO = Path(__file__).resolve().parents[1] / "recordings/demo-dive.recording"
EVIL = "</script><script>alert(1)</script><!-- <script>"
NOTES = f"""
[[note]]
chapter = 5
text = "Say how the echo was found."

[[note]]
at = "1:00:00"
text = '''{EVIL}'''
"""


class Elements(HTMLParser):
    """The scripts, styles and addresses of a page, as the standard library's parser finds them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.styles: list[str] = []
        self.addresses: list[str | None] = []
        self.policy: str | None = None
        self._inside: str | None = None
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what begins."""
        named = dict(attrs)
        self.addresses += [value for name, value in attrs if name in ("src", "srcset", "action", "data")]
        if tag == "link":
            self.addresses.append(named.get("href"))
        if tag == "meta" and named.get("http-equiv") == "Content-Security-Policy":
            self.policy = named.get("content")
        self._inside = tag
        if tag == "script":
            self.scripts.append((named, ""))
        if tag == "style":
            self.styles.append("")

    def handle_endtag(self, _tag: str) -> None:
        """Note what ends."""
        self._inside = None

    def handle_data(self, data: str) -> None:
        """Keep what stands in scripts and styles."""
        if self._inside == "script":
            self.scripts[-1] = (self.scripts[-1][0], self.scripts[-1][1] + data)
        if self._inside == "style":
            self.styles[-1] += data


def recording(folder: Path, *, closed: bool = True) -> Path:
    """Write a recording and return its path."""
    frames = [frame.data for frame in dive(1, 5, closed=closed)]
    path = folder / "dive-001.recording"
    path.write_bytes(b"".join(frames) + (footer(frames) if closed else b""))
    return path


def hashed(text: str) -> str:
    """Return a text's hash as a policy names it (CSP level 3)."""
    return f"'sha256-{base64.b64encode(sha256(text.encode()).digest()).decode()}'"


def test_briefing_holds_recording_and_notes_and_asks_for_nothing() -> None:
    """Four elements: data twice, a style, a script; their hashes are the policy's; no address in the file."""
    page = briefing(site_folder(), DEMO.read_bytes(), [OwnNote(12.0, EVIL)], "A <b>search</b>", 1)
    found = Elements(page)
    kinds = [(named.get("type"), named.get("id")) for named, _ in found.scripts]
    assert kinds == [("application/octet-stream", "recording"), ("application/json", "briefing"), ("module", None)]
    assert base64.b64decode(found.scripts[0][1]) == DEMO.read_bytes()
    assert json.loads(found.scripts[1][1]) == {"notes": [{"at_s": 12.0, "text": EVIL}]}
    assert found.policy is not None
    assert f"script-src {hashed(found.scripts[2][1])};" in found.policy
    assert f"style-src {hashed(found.styles[0])};" in found.policy
    assert found.policy.startswith("default-src 'none';")
    assert "img-src blob:;" in found.policy  # what stills are shown by, and nothing else
    assert found.addresses == []
    assert "<title>A &lt;b&gt;search&lt;/b&gt;: 1</title>" in page
    assert "alert(1)</script>" not in page


def test_notes_are_read_by_chapter_and_by_dive_time(tmp_path: Path) -> None:
    """A chapter's number is that of the annotation; a time is as the page has it."""
    path = tmp_path / "notes.toml"
    path.write_text(NOTES)
    read = read_recording(DEMO.read_bytes())
    fifth_s = [record.elapsed_s for record in read.records if record.kind == 2][4]
    assert read_notes(path, read) == [OwnNote(fifth_s, "Say how the echo was found."), OwnNote(3_600, EVIL)]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("note = 5", r'write each note as \[\[note\]\]'),
        ("[[notes]]\ntext = 'x'", r'write each note as \[\[note\]\]'),
        ("[[note]]\ntext = 'x'", "note 1: it takes text, and either at"),
        ("[[note]]\nat = '0:10'\nchapter = 1\ntext = 'x'", "note 1: it takes text, and either at"),
        ("[[note]]\nat = '0:10'\ntext = 'x'\nwho = 'y'", "note 1: it takes text, and either at"),
        ("[[note]]\nat = '0:10'", "note 1: text is missing"),
        ("[[note]]\nat = '0:10'\ntext = 'x'\n[[note]]\nat = 'ten'\ntext = 'x'", "note 2: at is a dive time"),
        ("[[note]]\nat = '0:61'\ntext = 'x'", "note 1: at is a dive time"),
        ("[[note]]\nchapter = 0\ntext = 'x'", "note 1: chapter is the number of an annotation on the page, from 1 to"),
        ("[[note]]\nchapter = 99\ntext = 'x'", "from 1 to 26"),
        ("[[note]]\nchapter = true\ntext = 'x'", "chapter is the number"),
        ("[[note]", "can't be read as notes"),
    ],
)  # fmt: skip
def test_wrong_notes_are_refused_with_what_to_write(text: str, message: str, tmp_path: Path) -> None:
    """Each fault names its note and how it is written."""
    path = tmp_path / "notes.toml"
    path.write_text(text)
    with pytest.raises(OperatorError, match=message):
        read_notes(path, read_recording(DEMO.read_bytes()))


def test_what_cannot_be_briefed_is_refused_and_nothing_is_written_over(tmp_path: Path) -> None:
    """A damaged recording never; an unfinished one, or a file that is there, only when asked for."""
    out = tmp_path / "b.html"
    options: dict[str, Any] = {"force": False, "unfinished": False}
    unfinished = recording(tmp_path, closed=False)
    with pytest.raises(OperatorError, match="add --unfinished"):
        brief(unfinished, None, site_folder(), out, **options)
    brief(unfinished, None, site_folder(), out, force=False, unfinished=True)
    first = out.read_bytes()
    with pytest.raises(OperatorError, match="add --force"):
        brief(recording(tmp_path), None, site_folder(), out, **options)
    assert out.read_bytes() == first
    octets = bytearray(recording(tmp_path).read_bytes())
    octets[-100] ^= 1
    (tmp_path / "dive-001.recording").write_bytes(octets)
    with pytest.raises(RecordingError):
        brief(tmp_path / "dive-001.recording", None, site_folder(), tmp_path / "c.html", force=True, unfinished=True)
    assert not (tmp_path / "c.html").exists()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A briefing of the demo's dive, made by the command."""
    folder = tmp_path_factory.mktemp("briefing")
    (folder / "notes.toml").write_text(NOTES)
    out = folder / "briefing.html"
    assert main(["brief", str(DEMO), "-o", str(out), "--notes", str(folder / "notes.toml")]) == 0
    return out


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
@pytest.mark.parametrize("size", [PHONE, LAPTOP])
async def test_briefing_replays_from_disk_without_a_network(
    browser: Browser, made: Path, size: tuple[int, int]
) -> None:
    """Opened from a file, offline: the dive, its chapters by a clicker's keys, own notes, and no other request."""
    async with follower(browser, made.as_uri(), size, offline=True) as someone:
        await someone.says(someone.headline, "The dive is over")
        await someone.page.keyboard.press("PageUp")
        await someone.page.keyboard.press("PageUp")
        await someone.says(someone.headline, "on the way up")
        await someone.says(someone.page.locator("#presenter-note"), EVIL)
        await someone.ribbon.press("Home")
        await someone.says(someone.page.locator("#presenter-note"), "No note of yours here.")
        await someone.ribbon.evaluate("slider => slider.blur()")
        for _ in range(6):
            await someone.page.keyboard.press("PageDown")
        await someone.says(someone.page.locator("#presenter-note"), "Say how the echo was found.")
        await someone.button("My notes").click()
        assert await someone.page.locator("#presenter-note").is_hidden()
        await someone.button("Large words for a wall").click()
        assert await someone.page.locator("body").get_attribute("data-large") == "true"
        assert await someone.page.get_by_role("link", name="All dives").count() == 0
        assert set(someone.asked) == {made.as_uri()}


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
async def test_briefing_is_two_pages_on_paper_without_the_presenters_own_words(browser: Browser, made: Path) -> None:
    """A4, as Chromium prints it: two page objects in the file (ISO 32000-1, 7.7.3.3), and the notes aren't on them."""
    async with follower(browser, made.as_uri()) as someone:
        await someone.says(someone.headline, "The dive is over")
        pages = re.findall(rb"/Type\s*/Page\b(?!s)", await someone.page.pdf(prefer_css_page_size=True))
        assert len(pages) == 2
        await someone.page.emulate_media(media="print")
        assert await someone.page.locator("#presenter").is_hidden()
        listed, shown = someone.page.locator("#chapters li"), someone.page.locator("#chapters li:visible")
        left_out = await listed.count() - await shown.count()
        assert left_out > 0
        assert await someone.page.get_by_text(f"{left_out} more chapters are on the page itself.").is_visible()


def without_policy(made: Path, to: Path) -> None:
    """Write a copy of a briefing that lets a script be put into it."""
    to.write_text(re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*/>', "", made.read_text(), count=1))


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
async def test_briefing_meets_the_accessibility_rules(browser: Browser, made: Path, tmp_path: Path) -> None:
    """axe-core finds nothing, with notes shown and in large words (the rules run in a copy without the policy)."""
    open_copy = tmp_path / "open.html"
    without_policy(made, open_copy)
    async with follower(browser, open_copy.as_uri(), PHONE) as someone:
        await someone.says(someone.headline, "The dive is over")
        await someone.page.add_script_tag(path=str(AXE))
        assert await violations(someone.page) == []
        await someone.button("Large words for a wall").click()
        assert await violations(someone.page) == []
