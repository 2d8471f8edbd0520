"""What `offing tell` prints: plain words that say what a decision does, from answers of a real pipeline."""

import json
from typing import Any

import pytest

from dives import SECRETS, decided, in_order, message, plan, policy, rows
from link_ends import SIGNER
from relay.core.decision import Hold, read_decision
from relay.core.errors import OperatorError
from relay.core.pipeline import Pipeline
from relay.shell.desk.standing import check_decision, ship_status
from relay.shell.desk.tell import _cut
from relay.shell.desk.tell_words import say_status, say_taken
from relay.shell.plan.uplink_plan import UplinkPlan
from relay.shell.uplink.uplink import Uplink

MINUTE = 60_000_000
NOW_US = 90 * MINUTE


def site(*, dives: bool = True, held: bool = False, out: bool = False) -> Pipeline:
    """Return a site of two audiences: one perhaps held, or shown all it may be of a dive at 90 minutes."""
    pipeline = Pipeline(SITE, SECRETS)
    step = {"east": 0.0, "north": 0.0, "depth": 30.0, "altitude": 50.0, "heading": 0.0}
    if dives:
        journal = in_order(rows((at * MINUTE // 2, message(step, (-38.6, -21.9))) for at in range(150, 180)))
        hold = [decided(160 * MINUTE // 2, Hold(audience="public"))] if held else []
        for row in in_order(journal, hold):
            pipeline.receive(row)
    if out:
        pipeline.advance(NOW_US)
    return pipeline


def answer(words: dict[str, Any], pipeline: Pipeline | None = None) -> str:
    """Return what is said of a decision that a site takes at 90 minutes."""
    decision = read_decision(json.dumps(words).encode())
    return say_taken(words, check_decision(decision, pipeline or site(), NOW_US), NOW_US)


SITE = plan(policy("public"), policy("family", delay_us=20 * MINUTE))
VEHICLE = SITE.vehicles[0]
LATER = "It goes out as late as everything else."


HELD = (
    "Held: nothing more goes to anybody. What falls due meanwhile is kept: `resume` sends it all at once, and `cut` "
    "before that removes what must never go out."
)
CUT = (
    "Cut: what was received and told from 12 min to 3 min ago, where it is not out yet.\n"
    "  public ALREADY HAS all of it, which can't be taken back\n"
    "  family: none of it was out"
)
LEG = {"do": "leg", "vehicle": VEHICLE}
SAY: dict[str, Any] = {"do": "say", "text": "the boiler", "vehicle": None, "audiences": []}


@pytest.mark.parametrize(("message", "said"), [
    ({"do": "hold", "audience": None}, HELD),
    ({"do": "hold", "audience": "family"}, "Held: nothing more goes to family. "),
    ({"do": "resume", "audience": "public"}, "Resumed: what fell due meanwhile goes to public now"),
    ({"do": "resume", "audience": None}, "Resumed: what fell due meanwhile goes to everybody now"),
    ({"do": "cut", "from_us": 78 * MINUTE, "to_us": 87 * MINUTE}, CUT),
    ({"do": "early", "audience": "public", "upto_us": 80 * MINUTE},
     "public has already what was received until 10 min ago."),
    ({"do": "early", "audience": "family", "upto_us": 89 * MINUTE},
     "Released early: family gets what was received until 1 min ago with its next update."),
    (LEG | {"leg": "bottom"}, f"From now on {VEHICLE} counts as in the leg: bottom. {LATER}"),
    (LEG | {"leg": None}, f"From now on {VEHICLE}'s leg is judged by depth and height again."),
    (SAY, f"Said, to all who get annotations. {LATER}"),
    (SAY | {"audiences": ["family"]}, f"Said, to family. {LATER}"),
    ({"do": "target", "name": "the boiler", "verdict": "of interest", "vehicle": None},
     f'Target "the boiler": of interest. {LATER}'),
    ({"do": "end"}, f"The dive ends now, for every audience. {LATER}"),
])  # fmt: skip
def test_decision_is_answered_in_words_that_say_what_it_does(message: dict[str, Any], said: str) -> None:
    """Each decision there is, as the real site answers it."""
    assert answer(message).startswith(said)


def test_begin_is_answered_where_no_dive_is_under_way() -> None:
    """And refused where one is; what belongs to a dive is refused where there is none, for it would be lost."""
    assert answer({"do": "begin"}, site(dives=False)) == f"A dive begins now, for every audience. {LATER}"
    with pytest.raises(OperatorError, match="a dive is under way already"):
        answer({"do": "begin"})
    leg, target = LEG | {"leg": "bottom"}, {"do": "target", "name": "the boiler", "verdict": "rock", "vehicle": None}
    for lost in ({"do": "end"}, SAY, target, leg):
        with pytest.raises(
            OperatorError, match="no dive is under way now, and this belongs to one: say it when it has"
        ):
            answer(lost, site(dives=False))


def test_what_is_released_early_to_a_held_audience_waits_for_resume() -> None:
    """Early does not undo a hold."""
    words = answer({"do": "early", "audience": "public", "upto_us": 89 * MINUTE}, site(held=True))
    assert words == "public is HELD: what was received until 1 min ago goes out when you resume it."


def test_cut_says_how_much_of_it_is_out() -> None:
    """All, a part, or nothing of it."""
    words = answer({"do": "cut", "from_us": 78 * MINUTE, "to_us": 90 * MINUTE}, site(out=True))
    assert "\n  public ALREADY HAS the first 11 min" in words
    assert words.endswith("\n  family: none of it was out")


def test_decision_that_is_not_on_the_disk_is_said_to_be_none_yet() -> None:
    """What is missing comes last, in capitals."""
    words = say_taken({"do": "end"}, {"taken": "end", "but": "it is not on the disk yet"}, None)
    assert words.splitlines()[-1] == "BUT it is not on the disk yet."


def test_status_is_told_with_what_is_wrong_first() -> None:
    """A held audience, how far the release is, what each feed brought, and a note that was kept back."""
    status = ship_status(site(dives=False), NOW_US, None, ["a vehicle is outside the declared area"])
    status["audiences"]["family"] |= {"state": "held", "edge_us": 40 * MINUTE}
    feed = next(iter(status["feeds"]))
    status["feeds"][feed] = {"accepted": 7, "passed_over": 2, "rejected": {"bad checksum": 3}, "bytes": 900}
    kept = {"at_us": 85 * MINUTE, "text": "off the head", "from": ["public", "family"], "why": ["It names a place."]}
    status["kept_back"] = [kept]
    assert say_status(status).splitlines()[:4] == [
        "ALARM: a vehicle is outside the declared area",
        "No dive is under way now.",
        "public: no dive is being shown; nothing is out yet",
        "family: HELD; out is what was received until 50 min ago",
    ]
    assert f"feed {feed}: nothing received yet" in say_status(ship_status(site(dives=False), NOW_US, None, []))
    assert (
        f"feed {feed}: 7 messages taken, and 2 that hold nothing that is used; rejected: 3 bad checksum"
    ) in say_status(status)
    assert say_status(status).endswith('kept from public, family, 5 min ago: "off the head": It names a place.')


def test_status_tells_of_the_link_to_the_shore() -> None:
    """Up, down and why, never dialled, and what isn't ashore; nothing where there is no link to have."""
    uplink = Uplink(UplinkPlan("shore.example", 8_444, None, ("public", "family")), SIGNER, clock_s=lambda: 90.0)
    uplink._since_s = 30.0
    facts = uplink.facts()
    status = ship_status(site(dives=False), NOW_US, None, [])
    assert "link to the shore" not in say_status(status | {"uplink": None})
    unknown = "what of public is ashore isn't known; what of family is ashore isn't known"
    assert f"link to the shore: NONE for 1 min: not dialled yet; {unknown}\n" in say_status(status | {"uplink": facts})
    here = {"behind_records": 0, "behind_s": 0.0}
    facts |= {"state": "up", "up_since_s": 20.0, "audiences": {"public": here}}
    assert "link to the shore: up for 20 s; all ashore\n" in say_status(status | {"uplink": facts})
    facts["audiences"] = {"public": here, "family": {"behind_records": 3, "behind_s": 120.0}}
    said = "link to the shore: up for 20 s; of family 3 records are not ashore, the oldest for 2 min\n"
    assert said in say_status(status | {"uplink": facts})


@pytest.mark.parametrize(("since", "until", "why"), [
    (3 * MINUTE, 12 * MINUTE, 'a cut goes from longer ago to less long ago, such as: cut "12 min" "3 min"'),
    (MINUTE, MINUTE, "a cut goes from longer ago to less long ago"),
    (200 * MINUTE, 91 * MINUTE, "nothing was recorded that long ago: the record begins 1 h 30 min ago"),
    (200 * MINUTE, 90 * MINUTE, "nothing was recorded that long ago"),
])  # fmt: skip
def test_cut_of_nothing_is_refused_with_what_would_be_right(since: int, until: int, why: str) -> None:
    """The wrong way round, of no length, or from before the record began."""
    with pytest.raises(OperatorError, match=why.replace(".", r"\.")):
        _cut(since, until, NOW_US)


def test_cut_that_begins_before_the_record_is_a_cut_from_its_beginning() -> None:
    """All there is up to a moment may be cut without knowing when it began."""
    assert _cut(200 * MINUTE, 3 * MINUTE, NOW_US) == {"do": "cut", "from_us": 0, "to_us": 87 * MINUTE}
