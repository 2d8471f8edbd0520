"""An audience that was told a programme and is told none any more: the relay goes on with everything else."""

import asyncio
from pathlib import Path

from desk_page import PATIENCE_S
from peers import until
from relay.shell.released.programme_file import NAME
from ship_in_hand import QUICK, out, report, sailing, tell

WITHOUT = QUICK.replace('"mode", "notes"]', '"mode"]')


async def test_release_goes_on_where_notes_were_taken_out_after_a_programme_was_told(tmp_path: Path) -> None:
    """A dive is released to it, and what was told stays on the disk as it was."""
    kept = tmp_path / "released" / "public" / NAME
    assert WITHOUT != QUICK
    async with asyncio.timeout(PATIENCE_S):
        async with sailing(tmp_path) as ship:
            assert (await tell(ship, "/decide", {"do": "programme", "who": "Ada", "pinned": "Soon.", "schedule": []}))[
                "ok"
            ]
            await until(kept.exists)
        told = kept.read_bytes()
        async with sailing(tmp_path, quick=WITHOUT) as ship:
            report(ship, 10.0)
            await until(lambda: any(name.startswith("public/") for name in out(ship)))
            assert ship.stopped is None
        assert kept.read_bytes() == told
