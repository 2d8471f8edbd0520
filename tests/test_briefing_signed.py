"""A briefing checks by itself, from disk, that the ship signed what it shows: in Firefox, by other people."""

import base64
import re
from pathlib import Path

import pytest

from dives import SIGNER
from firefox import firefox
from lying_shore import altered
from relay.__main__ import main
from relay.core.wire import footer
from released import dive

SAYS = """
new Promise((done) => {
  const look = () => {
    const said = document.querySelector('#proof').textContent;
    const upto = document.querySelector('[role=slider]')?.getAttribute('aria-valuemax');
    if (said.includes('WORDS')) done([said, upto].join());
    else setTimeout(look, 20);  // a busy Firefox draws no frames
  };
  look();
  setTimeout(() => done(`never: ${document.querySelector('#proof').textContent}`), 28_000);
})
"""


def lying(briefing: str, frames: list[bytes]) -> str:
    """Return a briefing in which somebody has put other records, and the footer that they deserve."""
    data = base64.b64encode(b"".join(frames) + footer(frames)).decode()
    return re.sub(r'(id="recording">)[^<]+', rf"\g<1>{data}", briefing)


@pytest.mark.browser
async def test_briefing_checks_its_signatures_from_disk_in_firefox(tmp_path: Path) -> None:
    """Good ones; another key than the link's; an altered record: what is shown ends before it."""
    frames = [frame.data for frame in dive(1, 6)]
    (tmp_path / "dive.recording").write_bytes(b"".join(frames) + footer(frames))
    out, other = tmp_path / "briefing.html", tmp_path / "altered.html"
    assert main(["brief", str(tmp_path / "dive.recording"), "-o", str(out)]) == 0
    other.write_text(lying(out.read_text(), [*frames[:4], altered(frames[4]), *frames[5:]]))
    async with firefox(tmp_path) as page:
        await page.open(out.as_uri())
        said = await page.evaluate(SAYS.replace("WORDS", "checked here."))
        assert said.endswith(",90")
        await page.go(out.as_uri() + f"?again#key={SIGNER.key.hex()}")
        assert "key in the link" in await page.evaluate(SAYS.replace("WORDS", "Signed by the ship"))
        await page.go(out.as_uri() + f"?strangers#key={'0f' * 32}")
        assert "Nothing of it is shown" in await page.evaluate(SAYS.replace("WORDS", "Altered on its way"))
        await page.go(other.as_uri())
        said = await page.evaluate(SAYS.replace("WORDS", "Altered on its way"))
        assert "Record 5 of this dive is not what the ship signed." in said
        assert said.endswith(",30")
        assert page.said == []
