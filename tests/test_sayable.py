"""Whether a text may be told: what tells a place is for nobody who is checked, what tells a time for no programme."""

import pytest

from dives import INVENTED_SITE, plan, policy
from relay.core.programme import Programme
from relay.core.sayable import may_post, may_say

PLAN = plan(policy())
PLACE = f"at {abs(INVENTED_SITE[0])}S {abs(INVENTED_SITE[1])}W"


@pytest.mark.parametrize(
    ("text", "may"), [("a lantern, upright", True), (PLACE, False), ("38 36.9 S 021 55.9 W", False), ("", True)]
)
def test_annotation_with_a_place_is_kept_from_those_who_are_checked(text: str, may: bool) -> None:
    """Blocked as it is, or told as it is; who isn't checked is told all."""
    assert may_say(policy(), PLAN, text) is may
    assert may_say(policy(check_text=False), PLAN, text)


@pytest.mark.parametrize(
    ("programme", "may"),
    [
        (Programme(pinned="The boiler is next.", schedule=("the bow",)), True),
        (Programme(pinned="fine", schedule=("fine", "at 14:30")), False),
        (Programme(pinned="after sunset"), False),
        (Programme(pinned=PLACE), False),
        (Programme(), True),
    ],
)
def test_programme_with_a_place_or_a_time_in_any_of_its_texts_is_kept_back_whole(
    programme: Programme, may: bool
) -> None:
    """One text is enough; who isn't checked is told all."""
    assert may_post(policy(), PLAN, programme) is may
    assert may_post(policy(check_text=False), PLAN, programme)


def test_time_in_an_annotation_is_no_fault() -> None:
    """Annotations are told with the dive's own time: a time in their words tells what is told anyway."""
    assert may_say(policy(), PLAN, "the second lantern at 14:30")
