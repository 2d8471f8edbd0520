"""What is answered to an annotation with a still, and to a programme: whom it is for, or why it isn't taken."""

import pytest

from dives import SECRETS, decided, dive_rows, in_order, plan, policy
from relay.core.decision import Cut, Programme, Say
from relay.core.errors import OperatorError
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed
from relay.core.still import STILLS_A_DIVE
from relay.shell.desk.standing import check_decision, programme_section, release_alarms
from relay.shell.desk.tell_words import say_taken
from test_still import STILL

SECOND = 1_000_000
HOUR_US = 3_600 * SECOND
NOW_US = 60 * SECOND
WORDS = frozenset(Disclosed) - {Disclosed.STILLS}


def site(waiting: int = 0) -> Pipeline:
    """Return a site in a dive: one audience is shown stills, one words alone; so many stills wait for the first."""
    pipeline = Pipeline(plan(policy("public", delay_us=HOUR_US), policy("family", fields=WORDS)), SECRETS)
    told = [decided(40 * SECOND, Say(text=f"number {at}", still=STILL)) for at in range(waiting)]
    for row in in_order(dive_rows(60), told):
        pipeline.receive(row)
    return pipeline


def test_still_is_answered_with_whom_it_is_for() -> None:
    """Everybody reads the words; the still goes where the fields name stills."""
    taken = check_decision(Say(text="the bell", still=STILL), site(), NOW_US)
    assert taken == {"taken": "say", "still_for": ["public"]}
    told = {"width": 64, "height": 48, "octets": 1_234, "original": STILL.original}
    said = say_taken({"do": "say", "audiences": []}, {**taken, "still": told}, None)
    start = "Said, to all who get annotations, with a still (64 × 48 pixels, 1,234 bytes) for public."
    assert said == f"{start} It goes out as late as everything else."


def test_still_that_nobody_would_see_is_refused() -> None:
    """It says who doesn't get it and what to do."""
    with pytest.raises(OperatorError, match=r'none of family is shown stills: leave --still away, or name "stills"'):
        check_decision(Say(text="the bell", audiences=("family",), still=STILL), site(), NOW_US)


def test_still_past_the_most_of_a_dive_is_refused() -> None:
    """Those that wait count: the last one that has room is taken, one more is not."""
    say = Say(text="the bell", still=STILL)
    assert check_decision(say, site(STILLS_A_DIVE - 1), NOW_US)["still_for"] == ["public"]
    with pytest.raises(OperatorError, match="at most 60 stills"):
        check_decision(say, site(STILLS_A_DIVE), NOW_US)


def test_still_with_words_that_tell_a_place_is_refused() -> None:
    """As without one."""
    with pytest.raises(OperatorError, match="please rewrite"):
        check_decision(Say(text="the bell at 38 36.9 S 021 55.9 W", still=STILL), site(), NOW_US)


def test_programme_is_answered_with_how_coarsely_each_audience_is_told() -> None:
    """Without a dive, too; a wide secret addition makes wide steps; who gets none isn't named."""
    policies = policy("public"), policy("wide", extra_us=HOUR_US), policy("mute", fields=frozenset({Disclosed.DEPTH}))
    idle = Pipeline(plan(*policies), SECRETS)
    programme = Programme(pinned="The boiler is next.", next_dive_in_s=2_500)
    taken = check_decision(programme, idle, NOW_US)
    assert taken == {"taken": "programme", "told_as": {"public": 2_400, "wide": 0}}
    said = say_taken({"do": "programme", "pinned": "x", "schedule": [], "next_dive_in_s": 2_500}, taken, None)
    assert "public: the next dive in about 40 min, counted down" in said
    assert "wide: the next dive soon" in said
    assert "It goes out as late as everything else." in said
    with pytest.raises(OperatorError, match="no audience is shown annotations"):
        check_decision(programme, Pipeline(plan(policies[2]), SECRETS), NOW_US)


@pytest.mark.parametrize(("text", "why"), [("at 38 36.9 S 021 55.9 W", "position"), ("at noon", "time of day"),
                                           ("on Monday", "date"), ("at slack water", "tide")])  # fmt: skip
def test_programme_with_words_that_tell_a_place_or_a_time_is_refused(text: str, why: str) -> None:
    """In the pinned message or in any line; where nobody's texts are checked it is taken."""
    for programme in (Programme(pinned=text), Programme(schedule=("the bow", text))):
        with pytest.raises(OperatorError, match=f"please rewrite: .*{why}"):
            check_decision(programme, site(), NOW_US)
        free = Pipeline(plan(policy("trusted", check_text=False)), SECRETS)
        assert check_decision(programme, free, NOW_US)["taken"] == "programme"


def test_desk_sees_the_last_programme_as_it_was_decided() -> None:
    """Exact, with its moment; none before any, and not one that was cut."""
    pipeline = site()
    assert programme_section(pipeline) is None
    first = decided(70 * SECOND, Programme(pinned="first", next_dive_in_s=10_001))
    later = decided(80 * SECOND, Programme(schedule=("the bow",)))
    shown = []
    for row in in_order([first, later, decided(90 * SECOND, Cut(from_us=75 * SECOND, to_us=85 * SECOND))]):
        pipeline.receive(row)
        shown.append(programme_section(pipeline))
    told = {"pinned": "first", "schedule": [], "next_dive_in_s": 10_001, "told_us": 70 * SECOND}
    assert shown[0] == shown[2] == told
    assert shown[1] == {"pinned": None, "schedule": ["the bow"], "next_dive_in_s": None, "told_us": 80 * SECOND}


def test_release_alarms_say_that_the_embargo_is_full() -> None:
    """At its limit nothing is said; one report past it how many are in the journal and won't be released."""
    fields = plan(policy("public", delay_us=HOUR_US))
    for reports, alarms in ((6, []), (7, ["the embargo is full: 1 reports are in the journal but won't be released"])):
        pipeline = Pipeline(fields, SECRETS, limit=6)
        for row in dive_rows(reports):
            pipeline.receive(row)
        assert release_alarms(pipeline, NOW_US) == alarms
