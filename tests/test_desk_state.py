"""The desk's state of a real relay: exact beside what each audience sees, the queue between, and what was decided."""

import asyncio
import json
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, get_args

import pytest
from geographiclib.geodesic import Geodesic

from expeditions import RIGHT
from peers import until
from relay.core.area import ZoneAction
from relay.core.decision import (
    Approve,
    Back,
    Begin,
    Cut,
    Decision,
    Dismiss,
    Early,
    End,
    Expect,
    HideZone,
    Hold,
    Invite,
    LiftZone,
    Resume,
    Say,
    SetLeg,
    Target,
    Unaudited,
    Uninvite,
)
from relay.core.desk_record import Known
from relay.core.find import Find
from relay.core.model import RowKind
from relay.core.pipeline import Blocked, Pipeline
from relay.core.policy import Leg
from relay.core.programme import Programme
from relay.core.silence import silence_alarms
from relay.core.survey_plan import Gear, SurveyPlan
from relay.shell.desk.desk_decided import KEPT_BACK, TARGETS, decided_parts, decision_words
from relay.shell.desk.desk_state import FROZEN
from relay.shell.desk.desk_watch import Watch
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.clock import MachineTime
from relay.shell.record.secrets_file import seeded_secrets
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from ship_process import free_port

FIRST, SECOND = (-41.2, 17.5), (-41.1995, 17.5008)


@asynccontextmanager
async def sailing(folder: Path, also: str = "", secs: str = "1 s") -> AsyncIterator[Ship]:
    """Run a relay whose closed audience is a second late and whose open one much later."""
    text = RIGHT.replace("127.0.0.1:10110", f"127.0.0.1:{free_port(socket.SOCK_DGRAM)}")
    text = text.replace("127.0.0.1:4010", f"127.0.0.1:{free_port()}")
    text = text.replace(
        'name = "family"\ndelay = "20 min"', f'name = "family"\ndelay = "{secs}"\nextra = "0 s"\ntick = "1 s"'
    )
    expedition = parse_expedition(text + also, folder / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    serving = asyncio.ensure_future(ship.serve())
    try:
        async with asyncio.timeout(60):
            yield ship
    finally:
        serving.cancel()
        await asyncio.wait({serving})
        await ship.close()


async def report(ship: Ship, place: tuple[float, float], **more: Any) -> None:
    """Let a station's report come in, and wait until it is known."""
    told = {"vehicle": "Lantern", "latitude_deg": place[0], "longitude_deg": place[1], **more}
    assert ship._journal is not None
    ship._journal.append("station", RowKind.WHOLE, json.dumps(told).encode() + b"\n")
    await until(lambda: ship.pipeline.now.states[0].last("position") == place)


async def test_state_is_exact_now_and_for_each_audience_what_it_was_sent(tmp_path: Path) -> None:
    """Side by side: the fix itself, and the depth that the closed audience's own recording tells, stepped and late."""
    async with sailing(tmp_path) as ship:
        await report(ship, FIRST, depth_m=51.25, heading_deg=100.0)
        await report(ship, SECOND, depth_m=51.25, heading_deg=211.5)
        await until(lambda: ship.desk.state()["audiences"][1]["sees"] is not None)
        state = json.loads(json.dumps(ship.desk.state(), allow_nan=False))
        lantern, moth = state["vehicles"]
        assert (lantern["latitude_deg"], lantern["longitude_deg"], lantern["depth_m"]) == (*SECOND, 51.25)
        assert (lantern["heading_deg"], lantern["in_doubt"], moth["heard_ago_s"], moth["leg"]) == (
            211.5,
            False,
            None,
            None,
        )
        # Metres from the first fix: Karney's geodesic by the library geographiclib.
        line = Geodesic.WGS84.Inverse(*FIRST, *SECOND)
        assert (lantern["east_m"] ** 2 + lantern["north_m"] ** 2) ** 0.5 == pytest.approx(line["s12"], abs=0.01)
        public, family = state["audiences"]
        assert (public["sees"], public["open"], public["state"]) == (None, True, "between dives")
        assert (family["open"], family["state"], family["delay_s"]) == (False, "releasing", 1.0)
        path = ship.expedition.released / "family" / "dive-001.recording"
        seen = family["sees"]["vehicles"][0]
        assert (seen["depth_m"], seen["east_m"], seen["heading_deg"]) == (50, None, None)
        assert family["bytes"] <= path.stat().st_size
        assert 1.0 <= family["sees"]["age_s"] < 30.0
        assert sum(state["queue"]["counts"]) == 2
        assert state["queue"]["from_us"] <= state["now_us"] < state["queue"]["to_us"]
        assert {feed["name"]: feed["accepted"] for feed in state["feeds"]} == {"position": 0, "station": 2}
        assert (state["journal"]["rows"], state["journal"]["fault"]) == (2, None)
        assert state["dive"]["under_way"] is True


async def test_state_tells_decisions_and_what_they_left(tmp_path: Path) -> None:
    """Holds, zones, targets, says that wait, cuts: each is there at once, newest first, with who took it."""
    decisions: list[dict[str, Any]] = [
        {"do": "hold", "audience": "family"},
        {"do": "zone", "name": "bow", "centre": list(FIRST), "radius_m": 50, "margin_m": 50, "action": "withhold"},
        {"do": "target", "name": "Boiler", "verdict": "of interest", "vehicle": "Lantern"},
        {"do": "say", "text": "The bell.", "wait": True},
        {"do": "leg", "vehicle": "Lantern", "leg": "bottom"},
        {"do": "cut", "from_us": 0, "to_us": 1},
    ]
    async with sailing(tmp_path) as ship:
        await report(ship, FIRST, depth_m=50.0)
        await until(lambda: ship.desk.state()["dive"]["under_way"])
        for decision in decisions:
            answer = await ship.deciding.take(json.dumps({**decision, "who": "Ines"}).encode())
            assert answer["ok"], answer
        state = json.loads(json.dumps(ship.desk.state(), allow_nan=False))
        assert [taken["do"] for taken in state["decisions"]] == [decision["do"] for decision in reversed(decisions)]
        assert {taken["who"] for taken in state["decisions"]} == {"Ines"}
        assert all(taken["words"] for taken in state["decisions"])
        assert [(zone["name"], zone["of"]) for zone in state["zones"]] == [("bow", "desk")]
        assert [(target["name"], target["verdict"]) for target in state["targets"]] == [("Boiler", "of interest")]
        assert [(waits["text"], waits["who"]) for waits in state["waiting"]] == [("The bell.", "Ines")]
        assert state["cuts"] == [{"from_us": 0, "to_us": 1}]
        assert [part["held"] for part in state["audiences"]] == [False, True]
        hold = state["decisions"][-1]
        assert [part["held_row"] for part in state["audiences"]] == [0, hold["row"]]
        assert state["audiences"][1]["state"] == "held"


async def test_tracks_are_those_of_the_vehicles_and_those_that_were_sent(tmp_path: Path) -> None:
    """Exact lines by vehicle; by audience what its records tell; annotations with whom they reached."""
    async with sailing(tmp_path, '\n[desk]\nlisten = "127.0.0.1:0"\n') as ship:
        await report(ship, FIRST, depth_m=50.0)
        await report(ship, SECOND, depth_m=50.0)
        await until(lambda: ship.desk.state()["dive"]["under_way"])
        said = {"do": "say", "text": "A rope on the seabed.", "audiences": ["family"], "who": "Ines"}
        assert (await ship.deciding.take(json.dumps(said).encode()))["ok"]
        assert ship.desk.server is not None
        await until(lambda: bool(ship.desk.server._tracks()["annotations"][0]["out"]))  # type: ignore[union-attr]
        tracks = json.loads(json.dumps(ship.desk.server._tracks(), allow_nan=False))
        assert tracks["origin"] == pytest.approx(FIRST)
        assert tracks["exact"]["Moth"] == []
        assert [(note["text"], note["out"]) for note in tracks["annotations"]] == [
            ("A rope on the seabed.", ["family"])
        ]
        assert tracks["sees"]["public"] == {}
        assert {point[3] for point in tracks["sees"]["family"]["Lantern"]} == {50}


async def test_fault_in_the_desks_alarms_ends_no_relay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The relay asks for them every two seconds while it runs: what breaks there is an alarm, told by its kind."""

    def broken(*_: object) -> None:
        raise ValueError("at -38.61472")

    monkeypatch.setattr("relay.shell.desk.desk_watch.Watch.alarms", broken)
    monkeypatch.setattr("relay.shell.ship.ship.BEAT_S", 0.01)
    async with sailing(tmp_path) as ship:
        await report(ship, FIRST, depth_m=50.0)
        await until(lambda: ship.pipeline.channels[1].under_way)
        assert ship.alarms() == ["tether and overdue aren't watched: a fault of Offing's own (ValueError)"]
        assert ship.status()["alarms"] == ship.alarms()


async def test_vehicle_and_feed_that_fall_silent_in_a_dive_are_alarms(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing more comes of either: both are told; where the release has stopped, that the picture is frozen."""
    monkeypatch.setattr("relay.core.silence.SILENT_US", 500_000)
    async with sailing(tmp_path) as ship:
        await report(ship, FIRST, depth_m=50.0)
        await until(lambda: ship.desk.state()["dive"]["under_way"])
        await report(ship, SECOND, depth_m=51.0)
        await until(lambda: len(ship.alarms()) == 2)
        assert ship.alarms() == silence_alarms(["Lantern"], ["station"])
        assert ship.desk.state()["frozen"] is False
        ship._stop("a fault of the test's")
        assert ship.alarms() == ["the release has stopped: a fault of the test's", FROZEN]
        assert ship.desk.state()["frozen"] is True


async def test_frozen_picture_sounds_nobody_overdue(tmp_path: Path) -> None:
    """Reports come in but aren't taken: what is expected is judged as of the last row that was."""
    async with sailing(tmp_path) as ship:
        await report(ship, FIRST, depth_m=50.0)
        expect = {"do": "expect", "vehicle": "Lantern", "return_in_s": 1, "return_grace_s": 0, "who": "Ines"}
        assert (await ship.deciding.take(json.dumps(expect).encode()))["ok"]
        ship._stop("a fault of the test's")
        later_us = ship.now_us() + 1_500_000
        await until(lambda: ship.now_us() > later_us)
        told = ship.desk.state()["vehicles"][0]["overdue"]
        assert (told["sounds"], told["words"]) == (False, "expected back in 1 s")


DECISIONS: dict[str, Decision] = {
    "hold: everybody": Hold(),
    "resume: public": Resume(audience="public"),
    "early: public": Early(audience="public", upto_us=1),
    "cut: from 9 s to 5 s before": Cut(from_us=1_000_000, to_us=5_000_000),
    "Moth: leg bottom": SetLeg(vehicle="Moth", leg=Leg.BOTTOM),
    "said: The bell.": Say(text="The bell."),
    "approve: what row 7 says": Approve(say=7),
    "dismiss: what row 7 says": Dismiss(say=7),
    "target Boiler: rock": Target(name="Boiler", verdict="rock"),
    "hidden: bow": HideZone(name="bow", centre=FIRST, radius_m=50, margin_m=50, action=ZoneAction.WITHHOLD),
    "shown again: bow": LiftZone(name="bow"),
    "find the bell: a ship's bell": Find(name="the bell", what="a ship's bell"),
    "find the bell (supersedes row 7): a handbell": Find(name="the bell", what="a handbell", supersedes=7),
    "Moth: expected back in 1 min": Expect(vehicle="Moth", return_in_s=60, return_grace_s=1),
    "Moth: is back": Back(vehicle="Moth"),
    "programme put up": Programme(pinned="The boiler is next."),
    "programme taken away": Programme(),
    "invited: Ada to family, until 2026-12-31": Invite(
        guest="0000ada0", audience="family", invited="Ada", until="2026-12-31"
    ),
    "no longer invited: Ada": Uninvite(guest="0000ada0", invited="Ada"),
    "public goes without a passed audit: the chart is late": Unaudited(audience="public", reason="the chart is late"),
    "a dive begins": Begin(),
    "the dive ends": End(),
}


def test_every_decision_has_words_of_its_own() -> None:
    """Whoever looks for who ended the dive finds nothing else under its words; no kind of decision is without."""
    assert {type(decision) for decision in DECISIONS.values()} == set(get_args(Decision))
    for words, decision in DECISIONS.items():
        assert decision_words(decision, 10_000_000) == words


def test_state_holds_the_newest_of_what_there_is_much_of() -> None:
    """Two thousand targets would go to every desk twice a second: the newest go, and how many there are."""
    plan = parse_expedition(RIGHT, Path("EXPEDITION.toml")).plan
    pipeline = Pipeline(plan, seeded_secrets(1))
    for at in range(TARGETS + 5):
        pipeline.targets[f"no. {at}"] = Known("rock", at, at + 1, None, None)
    pipeline.targets["no. 2"] = Known("of interest", 900, 900, None, None)
    for at in range(KEPT_BACK + 3):
        pipeline.blocked.append(Blocked(at, f"text {at}", (), ("public",)))
    parts = decided_parts(pipeline, Watch(plan.vehicles, SurveyPlan((Gear(), Gear()))), 1_000)
    names = [target["name"] for target in parts["targets"]]
    assert names == ["no. 2", *(f"no. {at}" for at in range(6, TARGETS + 5))]
    assert [kept["text"] for kept in parts["kept_back"]] == [f"text {at}" for at in range(KEPT_BACK + 2, 2, -1)]
    assert parts["in_all"] == {"targets": TARGETS + 5, "finds": 0, "kept_back": KEPT_BACK + 3}


async def test_fault_of_the_desks_own_stops_no_release(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever breaks in what the desk remembers or shows: the release goes on, and no word of it tells a position."""

    def broken(*_: object) -> None:
        raise ValueError("Observation(latitude_deg=-38.61472)")

    monkeypatch.setattr("relay.shell.desk.desk_seen.Seen.take", broken)
    monkeypatch.setattr("relay.shell.desk.desk_legs.Legs.take", broken)
    monkeypatch.setattr("relay.shell.desk.desk_room.compose", broken)
    async with sailing(tmp_path, '\n[desk]\nlisten = "127.0.0.1:0"\n') as ship:
        await report(ship, FIRST, depth_m=50.0)
        await until(lambda: ship.pipeline.channels[1].under_way)
        assert ship.stopped is None
        assert ship.desk.server is not None
        assert json.loads(ship.desk.server.newest.line()) == {"fault": "ValueError"}
    assert "ValueError" in caplog.text
    assert "38.6" not in caplog.text
