"""No word or figure of a drawing is cut off by the edge of its sheet, in a real browser."""

import pytest
from playwright.async_api import Browser

from followers_page import LAPTOP, PHONE, follower
from peers import publish
from released import dive
from test_page import address, site_at

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
# Each text as the browser itself measures it (HTML, CanvasRenderingContext2D.measureText), against its canvas.
WATCH = """
window.cut = [];
window.written = 0;
for (const { prototype } of [CanvasRenderingContext2D, OffscreenCanvasRenderingContext2D]) {
  const fill = prototype.fillText;
  prototype.fillText = function (text, x, y, ...more) {
    const size = this.measureText(text);
    const { a, d, e, f } = this.getTransform();
    const [left, right] = [x - size.actualBoundingBoxLeft, x + size.actualBoundingBoxRight].map((at) => at * a + e);
    const [top, foot] = [y - size.actualBoundingBoxAscent, y + size.actualBoundingBoxDescent].map((at) => at * d + f);
    const { width, height } = this.canvas;
    window.written += 1;
    const isCut = left < -1 || top < -1 || right > width + 1 || foot > height + 1;
    if (isCut) window.cut.push([text, left, top, right, foot, width, height]);
    return fill.call(this, text, x, y, ...more);
  };
}
"""


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["360px", "1280px"])
async def test_no_lettering_is_cut_off(browser: Browser, size: tuple[int, int]) -> None:
    """Neither the figure of the greatest depth nor the deepest yet of a dive to about 2,000 m, in metres or feet."""
    async with site_at() as site, follower(browser, "about:blank", size) as someone:
        publish(site, dive(1, 190, closed=False))
        await someone.page.add_init_script(WATCH)
        await someone.page.goto(address(site))
        await someone.says(someone.page.locator("#proof"), "Signed and checked here.")
        for units in ("Metres", "Feet"):
            option = someone.page.get_by_label("Units", exact=True).locator("option", has_text=units).first
            value = await option.get_attribute("value")
            await someone.page.get_by_label("Units", exact=True).select_option(value)
            await someone.drawn()
            assert await someone.page.evaluate("window.written") > 20
            assert await someone.page.evaluate("window.cut") == []
