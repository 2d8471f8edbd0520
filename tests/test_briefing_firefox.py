"""A briefing opened from disk in Firefox, another browser by other people than Chromium."""

from pathlib import Path

import pytest

from firefox import firefox
from followers_page import RECORDING
from relay.__main__ import main

PAGE_UP, PAGE_DOWN = "\ue00e", "\ue00f"  # WebDriver, W3C Recommendation 2018, table of keys
SETTLED = """
new Promise((done) => {
  const look = () => {
    const heading = document.querySelector('#now h2');
    if (heading && heading.textContent.includes('WORDS')) done(heading.textContent);
    else setTimeout(look, 20);  // a busy Firefox draws no frames
  };
  look();
  setTimeout(() => done(`never: ${document.querySelector('#now').textContent}`), 28_000);
})
"""
INKS = """
new Promise((done) => {
  const inks = (canvas) => {
    const copy = new OffscreenCanvas(canvas.width, canvas.height).getContext('2d');
    copy.drawImage(canvas, 0, 0);
    return new Set(new Uint32Array(copy.getImageData(0, 0, canvas.width, canvas.height).data.buffer)).size;
  };
  const look = (left) => {
    const told = [...document.querySelectorAll('canvas')].map(
      (canvas) => `${canvas.closest('[id]').id} ${inks(canvas) > 4 ? 'drawn' : 'blank'}`).join(', ');
    if (left === 0 || !told.includes('blank')) done(told);
    else requestAnimationFrame(() => look(left - 1));
  };
  look(60);  // a frame draws as many views as it has time for
})
"""


@pytest.mark.browser
async def test_briefing_replays_from_disk_in_firefox(tmp_path: Path) -> None:
    """The dive in words and ink, its chapters by a clicker's keys, and nothing on the console."""
    out = tmp_path / "briefing.html"
    assert main(["brief", str(RECORDING), "-o", str(out)]) == 0
    async with firefox(tmp_path) as page:
        await page.open(out.as_uri())
        assert await page.evaluate(SETTLED.replace("WORDS", "is over")) == "The dive is over"
        drawn = await page.evaluate(INKS)
        assert "plan drawn" in drawn
        assert "blank" not in drawn
        await page.press(PAGE_UP, PAGE_UP)
        assert await page.evaluate(SETTLED.replace("WORDS", "on the way up")) == "Lantern is on the way up"
        await page.press(PAGE_DOWN, PAGE_DOWN)
        assert await page.evaluate(SETTLED.replace("WORDS", "on deck")) == "Lantern is on deck"
        assert page.said == []
