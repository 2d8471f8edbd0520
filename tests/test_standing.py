"""What is answered to an annotation with a still: whom it is for, or why it isn't taken."""

import pytest

from dives import SECRETS, decided, dive_rows, in_order, plan, policy
from relay.core.decision import Say
from relay.core.errors import OperatorError
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed
from relay.core.still import STILLS_A_DIVE
from relay.shell.standing import check_decision
from relay.shell.tell_words import say_taken
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
