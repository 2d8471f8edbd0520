"""What `offing tell` prints: plain words that say what a decision does, from answers of a real pipeline."""

import json
from typing import Any

import pytest

from dives import SECRETS, plan, policy
from relay.core.decision import read_decision
from relay.core.errors import OperatorError
from relay.core.pipeline import Pipeline
from relay.shell.standing import check_decision, ship_status
from relay.shell.tell import _cut
from relay.shell.tell_words import say_status, say_taken

MINUTE = 60_000_000
NOW_US = 90 * MINUTE


def answer(message: dict[str, Any]) -> str:
    """Return what is said of a decision that a fresh site of two audiences takes at 90 minutes."""
    decision = read_decision(json.dumps(message).encode())
    return say_taken(message, check_decision(decision, Pipeline(SITE, SECRETS), NOW_US), NOW_US)


SITE = plan(policy("public"), policy("family"))
VEHICLE = SITE.vehicles[0]
LATER = "It goes out as late as everything else."


HELD = (
    "Held: nothing more goes to everybody. What falls due meanwhile is kept: `resume` sends it all at once, and `cut` "
    "before that removes what must never go out."
)
CUT = (
    "Cut: what was received from 12 min to 3 min ago is never released.\n"
    "  already out to public: none of it\n"
    "  already out to family: none of it"
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
     "Released early: public gets now what was received until 10 min ago."),
    (LEG | {"leg": "bottom"}, f"From now on {VEHICLE} counts as in the leg: bottom. {LATER}"),
    (LEG | {"leg": None}, f"From now on {VEHICLE}'s leg is judged by depth and height again."),
    (SAY, f"Said, to all who get annotations. {LATER}"),
    (SAY | {"audiences": ["family"]}, f"Said, to family. {LATER}"),
    ({"do": "target", "name": "the boiler", "verdict": "of interest", "vehicle": None},
     f'Target "the boiler": of interest. {LATER}'),
    ({"do": "begin"}, f"A dive begins now, for every audience. {LATER}"),
    ({"do": "end"}, f"The dive ends now, for every audience. {LATER}"),
])  # fmt: skip
def test_decision_is_answered_in_words_that_say_what_it_does(message: dict[str, Any], said: str) -> None:
    """Each decision there is, as the real site answers it."""
    assert answer(message).startswith(said)


def test_decision_that_is_not_on_the_disk_is_said_to_be_none_yet() -> None:
    """What is missing comes last, in capitals."""
    words = say_taken({"do": "end"}, {"taken": "end", "but": "it is not on the disk yet"}, None)
    assert words.splitlines()[-1] == "BUT it is not on the disk yet."


def test_status_is_told_with_what_is_wrong_first() -> None:
    """A held audience, how far the release is, what each feed brought, and a note that was kept back."""
    status = ship_status(Pipeline(SITE, SECRETS), NOW_US, None, ["a vehicle is outside the declared area"])
    status["audiences"]["family"] |= {"state": "held", "edge_us": 40 * MINUTE}
    feed = next(iter(status["feeds"]))
    status["feeds"][feed] = {"accepted": 7, "passed_over": 2, "rejected": {"bad checksum": 3}, "bytes": 900}
    status["kept_back"] = [{"at_us": 85 * MINUTE, "text": "off the head", "why": ["It names a place."]}]
    assert say_status(status).splitlines()[:3] == [
        "ALARM: a vehicle is outside the declared area",
        "public: between dives; nothing is out yet",
        "family: HELD; out is what was received until 50 min ago",
    ]
    assert (
        f"feed {feed}: 7 messages taken, of which 2 hold nothing that is used; 900 bytes; rejected: 3 bad checksum"
    ) in say_status(status)
    assert say_status(status).endswith('kept back, 5 min ago: "off the head": It names a place.')


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
