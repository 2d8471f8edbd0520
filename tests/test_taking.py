"""Decisions beside those that aren't on the disk yet, and while the release has stopped: what is answered is so."""

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest

from peers import until
from relay.shell.desk.taking import ONLY_JOURNALLED
from ship_in_hand import StuckDisk, report, sailing, tell

ZONE = {"do": "zone", "name": "bow", "centre": [-41.2, 17.5], "radius_m": 50, "margin_m": 50, "action": "withhold"}
FIND = {"do": "find", "name": "the bell", "what": "a ship's bell"}
PAIRS: list[tuple[dict[str, Any], dict[str, Any], str]] = [
    ({"do": "approve", "say": 0}, {"do": "dismiss", "say": 0}, "has just been decided upon (approve)"),
    (ZONE, ZONE, 'the zone "bow" has just been decided upon (zone)'),
    ({"do": "back", "vehicle": "Moth"}, {"do": "back", "vehicle": "Moth"}, "that Moth is back has just been decided"),
    (FIND, {**FIND, "what": "an anchor"}, 'the find "the bell" has just been decided upon (find)'),
    ({"do": "end"}, {"do": "end"}, "no dive is under way"),
    ({"do": "end"}, {"do": "say", "text": "The bell."}, "no dive is under way"),
]


@pytest.mark.parametrize(("first", "second", "why"), PAIRS)
async def test_decision_is_judged_beside_those_on_their_way_to_the_disk(
    first: dict[str, Any], second: dict[str, Any], why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two desks and a slow disk: the second decision, which the first leaves nothing to, is refused, not "taken"."""
    disk = StuckDisk(monkeypatch)
    monkeypatch.setattr("relay.shell.desk.desk.DECIDE_S", 0.1)
    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        report(ship, 50.0)
        await until(lambda: ship.desk.state()["dive"]["under_way"])
        said = {"do": "say", "text": "A rope.", "wait": True, "who": "Ines"}
        row = (await tell(ship, "/decide", said))["row"]
        expected = {"do": "expect", "vehicle": "Moth", "return_in_s": 60, "return_grace_s": 60, "who": "Ines"}
        assert (await tell(ship, "/decide", expected))["ok"]
        await until(lambda: "Moth" in ship.pipeline.expected)
        disk.stuck = True
        one, other = (
            {**decision, "who": "Ines", **({"say": row} if "say" in decision and decision["do"] != "say" else {})}
            for decision in (first, second)
        )
        assert (await tell(ship, "/decide", one))["ok"]
        answer = await tell(ship, "/decide", other)
        assert answer["ok"] is False
        assert why in answer["why"]
        disk.stuck = False


async def test_answer_says_that_the_release_has_stopped(tmp_path: Path) -> None:
    """After a fault nothing acts any more, and no answer lets anybody believe that it does."""
    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        ship._stop("a fault of the test's")
        answer = await ship.deciding.take(json.dumps({"do": "begin", "who": "Ines"}).encode())
        assert (answer["ok"], answer["but"]) == (True, ONLY_JOURNALLED)
        stopped = await tell(ship, "/stop", {"who": "Ines"})
        assert (stopped["held"], stopped["but"]) == (True, ONLY_JOURNALLED)


async def test_answer_has_the_decision_in_words_and_its_row(tmp_path: Path) -> None:
    """What the desk's list will say of it, at once."""
    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        answer = await tell(ship, "/decide", {"do": "hold", "audience": "family", "who": "Ines"})
        listed = ship.desk.state()["decisions"][0]
        assert (answer["words"], answer["row"]) == (listed["words"], listed["row"]) == ("hold: family", listed["row"])
