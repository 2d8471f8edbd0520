"""The desk in real Chromium, at a real relay: every action by mouse and by keyboard, and its effect on the relay."""

import json
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from dataclasses import replace

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from desk_page import PLACE, Aboard, Hands, Keyboard, Mouse, Operator, aboard, operator
from relay.core import decision
from relay.core.decision import (
    Approve,
    Back,
    Begin,
    Cut,
    Dismiss,
    Early,
    End,
    Expect,
    HideZone,
    Hold,
    LiftZone,
    Resume,
    Say,
    SetLeg,
    Target,
)  # fmt: skip
from relay.core.desk_record import Expected
from relay.core.find import Find

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


@pytest_asyncio.fixture(scope="module", loop_scope="session")
async def desk(
    browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> AsyncIterator[tuple[Aboard, Operator, Browser]]:
    """One ship, one browser and one operator for all checks: each leaves the desk as it found it, a dive under way."""
    async with AsyncExitStack() as stack:
        here = await stack.enter_async_context(aboard(tmp_path_factory.mktemp("ship")))
        someone = await stack.enter_async_context(operator(browser, here.url))
        await someone.pressed("dive", "Begin a dive").click()
        await someone.pressed("dive", "End the dive").wait_for()
        # Whichever check is the first in a process, there is something to cut.
        await here.comes(lambda: here.ship.now_us() > 8_000_000)
        yield here, someone, browser


@pytest.fixture(params=[Mouse, Keyboard], ids=["mouse", "keyboard"])
def hands(request: pytest.FixtureRequest, desk: tuple[Aboard, Operator, Browser]) -> Hands:
    """The way of working."""
    made: Hands = request.param(desk[1].page)
    return made


Desk = tuple[Aboard, Operator, Browser]
# Press an element at shares of its width, half way down; return what a field holds after each.
PRESSED_AT = """(element, [field, shares]) => shares.map(share => {
    const { left, top, width, height } = element.getBoundingClientRect();
    const at = { bubbles: true, clientX: left + share * width, clientY: top + height / 2 };
    element.dispatchEvent(new MouseEvent('click', at));
    return document.getElementById(field).value;
})"""


async def test_dive_is_ended_and_begun(desk: Desk, hands: Hands) -> None:
    """The page says at every moment whether a dive is under way."""
    here, someone, _ = desk
    async with here.decides(End, Begin):
        await hands.go("dive")
        await hands.press(someone.pressed("dive", "End the dive"))
        await here.comes(lambda: not here.under_way)
        await someone.says(someone.part("dive"), "No dive is under way.")
        await hands.go("dive")
        await hands.press(someone.pressed("dive", "Begin a dive"))
        await here.comes(lambda: here.under_way)
        await someone.says(someone.part("dive"), "A dive is under way")


async def test_words_are_looked_through_while_they_are_typed(desk: Desk, hands: Hands) -> None:
    """A place is found before anything is sent, shown where it stands, refused by the relay; other words are taken."""
    here, someone, _ = desk
    say = someone.part("say")
    async with here.decides(Say) as said:
        await hands.go("say")
        await hands.write(someone.labelled("say", "What followers read"), "We are at 12 30.5 S, 71 15 E")
        await someone.says(say, "found: this won’t be taken.")
        assert await say.locator("mark").count() >= 1
        await hands.press(someone.pressed("say", "Say it"))
        await someone.says(say, "Not taken:")
        await hands.write(someone.labelled("say", "What followers read"), "A bell, upright")
        await someone.says(say, "No place found in it.")
        await hands.choose(someone.labelled("say", "About"), "Moth")
        await hands.press(someone.labelled("say", "funders"))
        await hands.press(someone.labelled("say", "public"))
        await hands.press(someone.pressed("say", "Say it"))
        await someone.says(say, "To nobody? Tick who is to get it.")
        await hands.press(someone.labelled("say", "public"))
        await hands.press(someone.pressed("say", "Say it"))
        await someone.says(say, "Said. It goes out as late as everything else.")
        await hands.press(someone.labelled("say", "funders"))
    assert said == [Say(text="A bell, upright", vehicle="Moth", audiences=("public",))]
    await hands.choose(someone.labelled("say", "About"), "the dive")


async def test_what_waits_is_approved_or_dismissed(desk: Desk, hands: Hands) -> None:
    """Kept for approval, nobody gets it; approved it is told, dismissed it never is."""
    here, someone, _ = desk
    waiting = here.ship.pipeline.waiting
    async with here.decides(Say, Say, Approve, Dismiss) as decided:
        for words in ("A hull, on her side", "An anchor"):
            await hands.go("say")
            await hands.write(someone.labelled("say", "What followers read"), words)
            if not waiting:
                await hands.press(someone.labelled("say", "Keep for approval"))
            await hands.press(someone.pressed("say", "Keep it for approval"))
            await someone.says(someone.part("waiting"), words)
        await someone.says(someone.part("waiting"), "2 waiting")
        rows = list(waiting)
        await hands.go("waiting")
        await hands.press(someone.pressed("waiting", "Approve: A hull, on her side"))
        await someone.says(someone.part("waiting"), "Approved. Its wait begins now.")
        await hands.press(someone.pressed("waiting", "Dismiss: An anchor"))
        await someone.says(someone.part("waiting"), "Nothing waits.")
        await hands.go("say")
        await hands.press(someone.labelled("say", "Keep for approval"))
    assert decided[2:] == [Approve(say=rows[0]), Dismiss(say=rows[1])]
    assert not waiting


async def test_target_is_marked_with_its_place_and_judged_again(desk: Desk, hands: Hands) -> None:
    """Seen at a bearing and range it has a place with its uncertainty; its verdict changes in the list."""
    here, someone, _ = desk
    name = f"T-{type(hands).__name__}"
    async with here.decides(Target, Target) as decided:
        await hands.go("targets")
        await hands.write(someone.labelled("targets", "Name"), name)
        await hands.choose(someone.labelled("targets", "Verdict"), "of interest")
        await hands.choose(someone.labelled("targets", "Seen by"), "Lantern")
        if not await someone.part("targets").locator("details").evaluate("part => part.open"):
            await hands.press(someone.part("targets").locator("details > summary"))
        await hands.write(someone.labelled("targets", "Bearing from the bow, °"), "-20")
        await hands.write(someone.labelled("targets", "Range, m"), "35")
        await hands.press(someone.pressed("targets", "Mark the target"))
        await someone.says(someone.part("targets").get_by_role("listitem"), "within")
        await hands.choose(someone.labelled("targets", f"Verdict of {name}"), "modern debris")
        await hands.press(someone.pressed("targets", f"Change the verdict of {name}"))
        await here.comes(lambda: here.ship.pipeline.targets[name].verdict == "modern debris")
    known = here.ship.pipeline.targets[name]
    assert known.position is not None
    assert abs(known.position.latitude_deg - PLACE[0]) < 0.002
    first, second = decided
    assert isinstance(first, Target)
    assert first.sighting is not None
    assert (first.sighting.bearing_deg, first.sighting.range_m, first.sighting.range_is) == (-20, 35, "horizontal")
    assert second == Target(name=name, verdict="modern debris", vehicle="Lantern")


async def test_find_is_recorded_as_found_and_recorded_anew_without_losing_it(desk: Desk, hands: Hands) -> None:
    """Where a vehicle is now, to the centimetre; what is recorded later supersedes it, and both are to be read."""
    here, someone, _ = desk
    name = f"bell {type(hands).__name__}"
    async with here.decides(Find, Find) as decided:
        await hands.go("finds")
        await hands.write(someone.labelled("finds", "Name on board"), name)
        await hands.write(someone.labelled("finds", "What it is"), "ship's bell")
        await hands.press(someone.pressed("finds", "Where Lantern is"))
        await hands.write(someone.labelled("finds", "Within (95 %), m"), "4.5")
        await hands.press(someone.pressed("finds", "Record the find"))
        row = someone.part("finds").get_by_role("listitem").filter(has_text=name)
        await someone.says(row, "As found, row")
        await hands.press(someone.pressed("finds", f"Record anew: {name}"))
        assert await someone.labelled("finds", "Name on board").is_hidden()
        await hands.write(someone.labelled("finds", "What it is"), "handbell")
        await hands.press(someone.pressed("finds", "Record it, superseding"))
        await someone.says(row, "supersedes the record as found")
        await someone.says(row, ": ship's bell; ")
    known = here.ship.pipeline.finds.get(name)
    first, second = decided
    assert known is not None and isinstance(first, Find) and first.place is not None
    assert [record.find for record in known.records] == [first, second]
    assert (first.name, first.what, first.place.radius_95_m, first.depth_m) == (name, "ship's bell", 4.5, 120.0)
    assert abs(first.place.latitude_deg - PLACE[0]) < 0.002
    assert second == replace(first, what="handbell", supersedes=known.as_found.row)


async def test_leg_is_set_by_hand_and_given_back(desk: Desk, hands: Hands) -> None:
    """The leg chosen counts until the operator lets it be judged again."""
    here, someone, _ = desk
    async with here.decides(SetLeg, SetLeg) as decided:
        for words in ("ascent", "judged automatically"):
            await hands.go("legs")
            await hands.choose(someone.labelled("legs", "Leg of Moth"), words)
            await hands.press(someone.pressed("legs", "Set the leg of Moth"))
            await someone.says(someone.part("legs"), "now: ascent" if words == "ascent" else "now: bottom")
    assert [getattr(one, "leg", "") for one in decided] == ["ascent", None]


async def test_zone_hides_at_once_and_is_removed(desk: Desk, hands: Hands) -> None:
    """A zone about where a vehicle is, by one press, stands in the relay; removed, it waits out the embargo."""
    here, someone, _ = desk
    name = f"stern {type(hands).__name__}"
    async with here.decides(HideZone, LiftZone) as decided:
        await hands.go("zones")
        await hands.write(someone.labelled("zones", "Name"), name)
        await hands.press(someone.pressed("zones", "Where Moth is"))
        await hands.write(someone.labelled("zones", "Radius, m"), "80")
        await hands.choose(someone.labelled("zones", "In it, the place is"), "frozen where it was before")
        await hands.press(someone.pressed("zones", "Hide from now on"))
        await here.comes(lambda: name in [zone.zone.name for zone in here.ship.pipeline.zones])
        await hands.press(someone.pressed("zones", f"Remove the zone {name}"))
        await someone.says(someone.part("zones"), "Removed. It waits out the embargo.")
    zone = decided[0]
    assert isinstance(zone, HideZone)
    assert (zone.radius_m, zone.margin_m, zone.action) == (80, 50, "freeze")
    assert zone.centre == pytest.approx(PLACE, abs=0.002)


async def test_place_pressed_on_the_plan_is_the_centre_of_a_zone(desk: Desk) -> None:
    """A press on the exact plan opens the form of zones and fills in that place; nothing is decided by it."""
    here, someone, _ = desk
    centre = someone.labelled("zones", "Centre")
    async with here.decides():
        canvas = someone.page.locator("#plan canvas")
        await canvas.click()
        assert await centre.is_visible()
        assert [float(part) for part in (await centre.input_value()).split(",")] == pytest.approx(PLACE, abs=0.003)
        # Two presses on one drawing: the plan grows with the tracks.
        pressed = await canvas.evaluate(PRESSED_AT, [await centre.get_attribute("id"), [0.4, 0.6]])
        places = [[float(part) for part in text.split(",")] for text in pressed]
    (north, west), (south, east) = places
    assert north == pytest.approx(south, abs=1e-5)
    assert places[0] == pytest.approx(PLACE, abs=0.003)
    assert 5e-5 < east - west < 5e-3
    await centre.fill("")


async def test_autonomous_vehicle_is_expected_and_back(desk: Desk, hands: Hands) -> None:
    """What was agreed is kept with its times, and ends when it is back."""
    here, someone, _ = desk

    def expected() -> dict[str, Expected]:
        return here.ship.pipeline.expected

    async with here.decides(Expect, Back) as decided:
        await hands.go("out")
        await hands.choose(someone.labelled("out", "Vehicle"), "Moth")
        await hands.write(someone.labelled("out", "Back in"), "2 h")
        await hands.write(someone.labelled("out", "Reports every"), "30 s")
        await hands.write(someone.labelled("out", "Missing after another"), "1 min")
        await hands.press(someone.pressed("out", "Expect it back"))
        await here.comes(lambda: "Moth" in expected() and expected()["Moth"].back_us is None)
        await hands.press(someone.pressed("out", "Moth is back"))
        await here.comes(lambda: expected()["Moth"].back_us is not None)
    grace = {"return_grace_s": 900, "report_every_s": 30, "report_grace_s": 60}
    assert decided[0] == Expect(vehicle="Moth", return_in_s=7200, **grace)


async def test_release_is_held_and_resumed(desk: Desk, hands: Hands) -> None:
    """One audience, then all of them: held at once, said in words, and resumed."""
    here, someone, _ = desk
    async with here.decides(Hold, Resume, Hold, Resume):
        await hands.go("hold")
        await hands.press(someone.pressed("hold", "Hold funders"))
        await here.comes(lambda: here.held == {"funders"})
        await someone.says(someone.part("hold"), "HELD: funders.")
        assert await someone.pressed("hold", "Resume public").is_disabled()
        await hands.press(someone.pressed("hold", "Resume funders"))
        await here.comes(lambda: not here.held)
        await hands.press(someone.pressed("hold", "Hold all"))
        await here.comes(lambda: here.held == {"public", "funders"})
        await someone.says(someone.part("hold"), "ALL HELD: nothing leaves the ship.")
        await hands.press(someone.pressed("hold", "Resume all"))
        await here.comes(lambda: not here.held)
        await someone.page.locator(".held-told:empty").wait_for(state="attached")


async def test_pressed_twice_a_button_does_the_same_twice(desk: Desk) -> None:
    """Hold never resumes and End never begins, however fast or late the second press comes, where it stood before."""
    here, someone, _ = desk
    mouse = someone.page.mouse
    for place, name, kind in (("hold", "Hold public", Hold), ("dive", "End the dive", End)):
        button, before = someone.pressed(place, name), len(here.decided())
        box = await button.bounding_box()
        assert box is not None
        middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        await mouse.dblclick(*middle)
        await here.comes(lambda: "public" in here.held or not here.under_way)
        await someone.says(someone.part(place), "HELD" if place == "hold" else "No dive is under way.")
        assert await button.bounding_box() == box
        # A second press beside the first on its way to the disk may be that one; after it, it is one of its own.
        settled = len(here.decided())
        await mouse.click(*middle)
        await someone.drawn()
        if place == "hold":
            await here.comes(lambda settled=settled: len(here.decided()) > settled)
        assert {type(decision) for _, decision in here.decided()[before:]} == {kind}
        if place == "hold":
            async with here.decides(Resume):
                await someone.pressed(place, "Resume public").click()
                await here.comes(lambda: not here.held)
            await someone.page.locator(".held-told:empty").wait_for(state="attached")
    async with here.decides(Begin):
        await someone.pressed("dive", "Begin a dive").click()
        await here.comes(lambda: here.under_way)


async def test_the_last_minutes_are_cut(desk: Desk, hands: Hands) -> None:
    """The cut goes back so far as was said, up to now on the ship's own clock, and says who has it already."""
    here, someone, _ = desk
    async with here.decides(Cut) as decided:
        await hands.go("cut")
        await hands.write(someone.labelled("cut", "How much to cut, in minutes"), "3 s")
        before_us = here.ship.now_us()
        await hands.press(someone.pressed("cut", "Cut the last 3 s"))
        await someone.says(someone.part("cut"), "Cut, where it is not out yet.")
    (cut,) = decided
    assert isinstance(cut, Cut)
    assert cut.to_us - cut.from_us == 3_000_000
    assert before_us - 1_000_000 < cut.to_us <= here.ship.now_us()
    await hands.write(someone.labelled("cut", "How much to cut, in minutes"), "5")


async def test_what_is_chosen_on_the_ribbon_is_cut(desk: Desk, hands: Hands) -> None:
    """Dragged over, or chosen by arrow keys, an interval is cut by one button, or by Delete; then nothing is chosen."""
    here, someone, _ = desk
    let_go = someone.page.get_by_role("button", name="Unselect")
    async with here.decides(Cut, Cut) as decided:
        for key in (None, "Delete"):
            before = len(here.decided())
            await _chosen_on_ribbon(someone, hands)
            assert await someone.part("ribbon").get_by_role("button", name="Cut").count() == 0
            if key is None:
                await hands.press(someone.part("cut").locator("> button"))
            else:
                await someone.page.get_by_role("slider").press(key)
            await here.comes(lambda before=before: len(here.decided()) > before)
            await let_go.wait_for(state="hidden")
    for cut in decided:
        assert isinstance(cut, Cut)
        assert 0 <= cut.from_us < cut.to_us <= here.ship.now_us()


async def _chosen_on_ribbon(someone: Operator, hands: Hands) -> None:
    """Choose the last part of the ribbon."""
    ribbon = someone.page.get_by_role("slider", name="Time ribbon: choose what to cut")
    if isinstance(hands, Mouse):
        box = await ribbon.bounding_box()
        assert box is not None
        middle = box["y"] + box["height"] / 2
        await someone.page.mouse.move(box["x"] + 0.995 * box["width"], middle)
        await someone.page.mouse.down()
        await someone.page.mouse.move(box["x"] + 0.9 * box["width"], middle, steps=4)
        await someone.page.mouse.up()
        return
    await hands.go("ribbon")
    for key in ("End", "Shift+ArrowLeft", "Shift+ArrowLeft", "Shift+ArrowLeft"):
        await someone.page.keyboard.press(key)


async def test_early_release_asks_before_it_shows_anything(desk: Desk, hands: Hands) -> None:
    """No leaves all as it was; yes sends it again with the relay's own code."""
    here, someone, _ = desk
    early, before = someone.part("early"), len(here.decided())
    async with here.decides(Early) as decided:
        for yes in (False, True):
            await hands.go("early")
            await hands.choose(someone.labelled("early", "To"), "funders")
            await hands.write(someone.labelled("early", "All but the last"), "10 s")
            await hands.press(someone.pressed("early", "Release early …"))
            await someone.says(early, "all but the last 10 s. It can’t be taken back.")
            assert not any(isinstance(one, Early) for _, one in here.decided()[before:])
            await hands.press(someone.pressed("early", "Yes, show it to funders now" if yes else "No"))
            await early.locator(".asking").wait_for(state="hidden")
        await someone.says(early, "Released early.")
    (one,) = decided
    assert isinstance(one, Early)
    assert one.audience == "funders"


async def test_programme_is_put_up_and_taken_down(desk: Desk, hands: Hands) -> None:
    """A pinned message, lines of a schedule and how long until the next dive; then all of it is taken away."""
    here, someone, _ = desk
    before = len(here.decided())
    await hands.go("programme")
    await hands.write(someone.labelled("programme", "Pinned message"), "Back soon")
    await hands.write(someone.labelled("programme", "Schedule, a line each"), "Dive 4: the stern")
    await hands.write(someone.labelled("programme", "Next dive in"), "3 h")
    await hands.press(someone.pressed("programme", "Put it up"))
    await here.comes(lambda: len(here.decided()) == before + 1)
    await hands.go("programme")
    await hands.press(someone.pressed("programme", "Take it down"))
    await here.comes(lambda: len(here.decided()) == before + 2)
    up, down = (json.loads(decision.write_decision(one, who)) for who, one in here.decided()[before:])
    assert (up["do"], up["who"]) == ("programme", "Ada")
    assert (up["pinned"], up["schedule"], up["next_dive_in_s"]) == ("Back soon", ["Dive 4: the stern"], 10_800)
    assert (down["pinned"], down["schedule"], down["next_dive_in_s"]) == (None, [], None)
