"""A published folder: whole, browsable from any static server below any path, and never over somebody else's things."""

import functools
import http.server
import json
import shutil
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import msgpack
import pytest
from playwright.async_api import Browser, Page

from relay.__main__ import main
from relay.core.errors import OperatorError, RecordingError
from relay.core.wire import footer
from relay.shell.released.publish import LIST, publish
from relay.shell.site.page_words import DE
from relay.shell.site.public_files import Telling
from relay.shell.site.site_files import site_folder
from released import dive, dive_with_everything

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "recordings/demo-dive.recording"
AXE = ROOT / "web/node_modules/axe-core/axe.min.js"


def recording(folder: Path, number: int, *, audience: str = "public", closed: bool = True) -> Path:
    """Write a recording and return its path."""
    frames = [frame.data for frame in dive(number, 5, audience=audience, closed=closed)]
    path = folder / f"dive-{number:03d}.recording"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"".join(frames) + (footer(frames) if closed else b""))
    return path


def build(folder: Path) -> Path:
    """Return a small built site."""
    (folder / "assets").mkdir(parents=True)
    (folder / "index.html").write_text('<html><head></head><body><div id="first"></div></body></html>')
    (folder / "assets/x.js").write_text("1")
    return folder


def tree(folder: Path) -> dict[str, bytes]:
    """Return what lies in a folder."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_published_folder_holds_page_recordings_and_what_is_made_of_them(tmp_path: Path) -> None:
    """Closed dives of a folder; an open one is left out and told; recordings are byte for byte the same."""
    recordings = tmp_path / "released/public"
    paths = [recording(recordings, 1), recording(recordings, 2), recording(recordings, 3, closed=False)]
    done = publish([recordings], tmp_path / "out", build(tmp_path / "site"), Telling(""))
    out = tree(tmp_path / "out")
    assert (done.dives, done.files) == (2, len(out))
    assert [line.startswith(str(paths[2])) for line in done.left_out] == [True]
    assert out["recordings/public/dive-002.recording"] == paths[1].read_bytes()
    assert [each["dive"] for each in json.loads(out["dives.json"])["dives"]] == [1, 2]
    assert {"index.html", "assets/x.js", "expedition.html", "dive-001.html", "pictures/dive-002.png"} <= out.keys()
    assert sorted(json.loads(out[LIST])["files"]) == sorted(out.keys() - {LIST})


def test_published_again_the_folder_follows(tmp_path: Path) -> None:
    """The same recordings give the same bytes; a dive that is no longer named goes away with its pages."""
    site, out = build(tmp_path / "site"), tmp_path / "out"
    one, two = recording(tmp_path / "r", 1), recording(tmp_path / "r", 2)
    publish([one, two], out, site, Telling("", DE))
    first = tree(out)
    publish([two, one], out, site, Telling("", DE))
    assert tree(out) == first
    publish([two], out, site, Telling("", DE))
    assert "dive-001.html" not in tree(out)
    assert "dive-002.html" in tree(out)


def test_folder_of_somebody_else_is_not_touched(tmp_path: Path) -> None:
    """A folder with other things in it is refused, and nothing in it changes."""
    out = tmp_path / "out"
    out.mkdir()
    for name, content in (("letter.txt", "mine"), (LIST, "{}"), (LIST, "[" * 3_000)):
        (out / name).write_text(content)
        before = tree(out)
        with pytest.raises(OperatorError, match="wasn't made by `offing publish`: name another folder"):
            publish([recording(tmp_path / "r", 1)], out, build(tmp_path / f"site-{len(content)}"), Telling(""))
        assert tree(out) == before
        (out / name).unlink()


def test_list_that_names_files_outside_removes_none(tmp_path: Path) -> None:
    """A list that was tampered with reaches nothing outside the folder."""
    site, out = build(tmp_path / "site"), tmp_path / "out"
    kept = tmp_path / "kept.txt"
    kept.write_text("mine")
    publish([recording(tmp_path / "r", 1)], out, site, Telling(""))
    (out / "beside").symlink_to(tmp_path)
    listed = json.loads((out / LIST).read_text())["files"]
    (out / LIST).write_text(json.dumps({"files": [*listed, "../kept.txt", str(kept), "beside/kept.txt", "", "."]}))
    publish([recording(tmp_path / "r", 1)], out, site, Telling(""))
    assert kept.read_text() == "mine"


def test_file_that_somebody_put_into_the_folder_is_not_written_over(tmp_path: Path) -> None:
    """A page of the same name that the list doesn't know is refused by name; everything stays as it was."""
    site, out = build(tmp_path / "site"), tmp_path / "out"
    publish([recording(tmp_path / "r", 1)], out, site, Telling(""))
    (out / "dive-002.html").write_text("mine")
    before = tree(out)
    with pytest.raises(OperatorError, match=r"dive-002\.html wasn't made by"):
        publish([tmp_path / "r", recording(tmp_path / "s", 2)], out, site, Telling(""))
    assert tree(out) == before


def test_run_that_was_cut_off_can_be_repeated(tmp_path: Path) -> None:
    """Wherever the disk stops taking, the same command goes on afterwards, and nothing old is left lying."""
    site, out, whole = build(tmp_path / "site"), tmp_path / "out", tmp_path / "whole"
    one, two = recording(tmp_path / "r", 1), recording(tmp_path / "r", 2)
    publish([two], whole, site, Telling(""))
    for stopper in ("pictures", "recordings", "assets"):
        publish([one], out, site, Telling(""))
        shutil.rmtree(out / stopper)
        (out / stopper).write_text("a file where a folder is due")
        with pytest.raises(OperatorError, match="can't be written"):
            publish([two], out, site, Telling(""))
        (out / stopper).unlink()
        publish([two], out, site, Telling(""))
        assert tree(out) == tree(whole)


def test_hidden_files_and_links_of_the_built_page_are_not_published(tmp_path: Path) -> None:
    """What the relay doesn't give out no folder holds."""
    site = build(tmp_path / "site")
    (tmp_path / "private.txt").write_text("private")
    (site / ".env").write_text("private")
    (site / ".git").mkdir()
    (site / ".git/config").write_text("private")
    (site / "assets/link.txt").symlink_to(tmp_path / "private.txt")
    publish([recording(tmp_path / "r", 1)], tmp_path / "out", site, Telling(""))
    assert b"private" not in tree(tmp_path / "out").values()


@pytest.mark.parametrize(
    ("changes", "dive_number", "message"),
    [
        ({"audience": "../../public"}, 1, "an audience can't be named '../../public'"),
        ({"audience": "a/b"}, 1, "an audience can't be named"),
        ({"audience": "public\n"}, 1, "an audience can't be named"),
        ({"audience": None}, 1, "an audience can't be named"),
        ({}, 0, "a dive can't have the number 0"),
        ({}, 10**9, "a dive can't have the number"),
        ({"delay_s": 5}, 1, "isn't as a relay writes it: what its first record or a later one tells can't be shown"),
        ({"vehicles": None}, 1, "isn't as a relay writes it"),
        ({"vehicles": []}, 1, "isn't as a relay writes it"),
        ({"fields": None}, 1, "isn't as a relay writes it"),
    ],
)
def test_recording_that_no_relay_wrote_is_refused(
    changes: dict[str, Any], dive_number: int, message: str, tmp_path: Path
) -> None:
    """Anybody can make a footer and leave out signatures: what leads out of the folder or can't be told is refused."""
    frames = []
    for frame in dive(1, 3):
        record = msgpack.unpackb(frame.data)
        record[0] = dive_number
        record[4] = {**record[4], "key": None, **changes} if record[2] == 0 else record[4]
        record[5] = bytes(len(record[5]))
        frames.append(msgpack.packb(record))
    path = tmp_path / "dive-001.recording"
    path.write_bytes(b"".join(frames) + footer(frames))
    before = tree(tmp_path)
    with pytest.raises(RecordingError, match=message) as caught:
        publish([path], tmp_path / "out/of/the/ship", build(tmp_path / "site"), Telling(""))
    assert str(path) in str(caught.value)
    assert tree(tmp_path).keys() - before.keys() == {"site/index.html", "site/assets/x.js"}


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda folder: [recording(folder, 1, closed=False)], "nothing to publish"),
        (lambda folder: [recording(folder / "a", 1), recording(folder / "b", 1)], "two recordings of dive 1"),
        (lambda folder: [recording(folder / "a", 1), recording(folder / "b", 2, audience="press")], "two audiences"),
        (lambda folder: [folder / "empty"], "holds no dive-NNN.recording"),
    ],
)
def test_recordings_that_do_not_belong_together_are_refused(make, message: str, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Nothing is written, and the operator is told what is wrong."""
    (tmp_path / "empty").mkdir()
    with pytest.raises(OperatorError, match=message):
        publish(make(tmp_path), tmp_path / "out", build(tmp_path / "site"), Telling(""))
    assert not (tmp_path / "out").exists()


def test_exact_or_damaged_recordings_are_never_published(tmp_path: Path) -> None:
    """Exact places stay in the recordings of those who were given them; one changed byte refuses all."""
    frames = [frame.data for frame in dive_with_everything(1)]
    exact = tmp_path / "dive-001.recording"
    exact.write_bytes(b"".join(frames) + footer(frames))
    with pytest.raises(OperatorError, match="tell the exact place"):
        publish([exact], tmp_path / "out", build(tmp_path / "site"), Telling(""))
    damaged = recording(tmp_path / "d", 2)
    octets = bytearray(damaged.read_bytes())
    octets[-200] ^= 1
    damaged.write_bytes(octets)
    with pytest.raises(RecordingError):
        publish([damaged], tmp_path / "out", tmp_path / "site", Telling(""))
    assert not (tmp_path / "out").exists()


def test_command_says_what_it_wrote_and_refuses_a_wrong_address(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 and the index's path; 2 and what to write instead."""
    out = tmp_path / "out"
    one = str(recording(tmp_path / "r", 1))
    assert main(["publish", one, "--out", str(out), "--address", "https://dive.example"]) == 0
    assert str(out / "index.html") in capsys.readouterr().out
    assert 'content="https://dive.example/pictures/expedition.png"' in (out / "index.html").read_text()
    assert main(["publish", one, "--out", str(out), "--address", "dive.example"]) == 2
    assert 'write it as "https://dive.example/"' in capsys.readouterr().err


class _Quiet(http.server.SimpleHTTPRequestHandler):
    """A bare static server: files, nothing else."""

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A published folder behind a bare static server, below a path: nobody who reads it changes it."""
    folder = tmp_path_factory.mktemp("www")
    publish([DEMO], folder / "of/the/ship", site_folder(), Telling(""))
    handler = functools.partial(_Quiet, directory=str(folder))
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}/of/the/ship/"
    server.shutdown()
    thread.join()
    server.server_close()


@asynccontextmanager
async def opened(browser: Browser, **options: Any) -> AsyncIterator[Page]:
    """Yield a page in a context of its own."""
    context = await browser.new_context(**options)
    yield await context.new_page()
    await context.close()


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
async def test_published_folder_is_followed_from_a_bare_static_server(browser: Browser, served: str) -> None:
    """Below a path, from files alone: the dive replays, its pages link to each other, nobody else is asked."""
    asked: list[str] = []
    errors: list[str] = []
    async with opened(browser) as page:
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: errors.append(str(error)))
        await page.goto(f"{served}expedition.html")
        shown = "all => all.every(one => one.complete && one.naturalWidth > 0)"
        assert await page.locator("img").evaluate_all(shown)
        await page.get_by_role("link", name="Watch it again").click()
        await page.get_by_role("heading", name="The dive is over").wait_for()
        await page.get_by_text("recordings only", exact=True).wait_for()
        assert await page.locator("#first").count() == 0
        await page.goto(f"{served}dive-001.html")
        await page.get_by_role("link", name="All dives").click()
        await page.get_by_role("heading", name="The search for the Isoline Marr").wait_for()
    assert errors == []
    assert asked
    assert all(url.startswith((served, "data:", "blob:")) for url in asked)


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
async def test_live_page_without_script_says_the_state(browser: Browser, served: str) -> None:
    """With scripts switched off the first HTML is in words what the dive came to."""
    async with opened(browser, java_script_enabled=False) as page:
        await page.goto(served)
        await page.get_by_role("heading", name="Dive 1 is over").wait_for()
        assert await page.get_by_role("heading", level=1).all_inner_texts() == ["The search for the Isoline Marr"]
        assert [await page.locator(empty).is_visible() for empty in ("header", "#plan", "footer")] == [False] * 3
        assert await page.get_by_text("Positions are coarse and without a place, on purpose.").is_visible()


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
async def test_published_pages_are_accessible_and_fit_a_small_phone(browser: Browser, served: str) -> None:
    """No violation of WCAG 2.2 A and AA as axe-core finds them; nothing goes sideways at 320 px."""
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    async with opened(browser, viewport={"width": 320, "height": 700}) as page:
        for name in ("expedition.html", "dive-001.html"):
            await page.goto(served + name)
            assert await page.evaluate("document.documentElement.scrollWidth") == 320
            await page.add_script_tag(path=AXE)
            found = await page.evaluate("tags => axe.run({ runOnly: tags, resultTypes: ['violations'] })", tags)
            assert [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found["violations"]] == []
            assert len(found["passes"]) > 15
