"""What is about to leave: it is what leaves later, and the tick that breaks a promise is found."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dives import INVENTED_SITE, SECOND, SECRETS, decided, dive_rows, in_order, plan, policy, run
from import_rows import AUDIT, CORE, SHELL
from relay.audit.attack import Dive
from relay.core.area import ZoneAction
from relay.core.decision import Cut, Decision, HideZone, Hold, Resume
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.release import Kind
from relay.core.wire import encode
from relay.shell.foresight import Coming, Measure, dives_of, foresee, judged

PLAN = plan(policy("public"), policy("slow", delay_us=60 * SECOND, tick_us=4 * SECOND))
INPUT = dive_rows(80)
ZONE = HideZone(name="bow", centre=INVENTED_SITE, radius_m=30, margin_m=15, action=ZoneAction.WITHHOLD)
DECIDED: list[tuple[int, Decision]] = [
    (31, Cut(from_us=20 * SECOND, to_us=25 * SECOND)),
    (40, Hold(audience="public")),
    (55, Resume(audience="public")),
    (70, ZONE),
    (80, Hold()),
]
JOURNAL = in_order(INPUT, [decided(second * SECOND + 1, decision) for second, decision in DECIDED])


def told(coming: list[Coming]) -> list[bytes]:
    """Return the bytes of records."""
    return [item.record.data for item in coming]


def leaving(journal: list[Row], audience: str) -> list[bytes]:
    """Return the records of dives and ticks that really leave of a journal, once nothing holds them."""
    resumed = in_order(journal, [decided(10_000 * SECOND, Resume())])
    kinds = (Kind.DIVE, Kind.TICK)
    return [
        encode(due.record)
        for due in run(Pipeline(PLAN, SECRETS), resumed)
        if due.record.audience == audience and due.record.kind in kinds
    ]


@pytest.mark.parametrize("upto_s", [5, 6, 7, 33, 47, 75, 90])
@pytest.mark.parametrize("decisions", [False, True])
def test_what_is_foreseen_is_what_leaves(upto_s: int, decisions: bool) -> None:
    """At any moment the records foreseen are, byte for byte and in order, the first of those that leave in the end."""
    journal = JOURNAL if decisions else in_order(INPUT)
    known = [row for row in journal if row.embargo_us <= upto_s * SECOND]
    found = foresee(Pipeline(PLAN, SECRETS), known, upto_s * SECOND)
    later = [row for row in journal if row.embargo_us <= upto_s * SECOND or row.source == "station"]
    for audience, coming in found.items():
        really = leaving(later, audience)
        assert told(coming) == really[: len(coming)]
        assert all(item.tick_us <= upto_s * SECOND for item in coming)
        ticks = {item.tick_us for item in coming}
        each = next(one.tick_us for one in PLAN.policies if one.audience == audience)
        assert len(ticks) == (0 if not ticks else (max(ticks) - min(ticks)) // each + 1)


def test_nothing_that_was_received_later_is_foreseen() -> None:
    """A row after the moment asked for changes nothing, though it lies in the journal already."""
    upto_us = 60 * SECOND
    known = [row for row in JOURNAL if row.embargo_us <= upto_us]
    assert foresee(Pipeline(PLAN, SECRETS), JOURNAL, upto_us) == foresee(Pipeline(PLAN, SECRETS), known, upto_us)


def test_moments_are_those_at_which_records_leave() -> None:
    """Each record is foreseen for the moment at which the relay sends it, the secret addition included."""
    found = foresee(Pipeline(PLAN, SECRETS), in_order(INPUT), 90 * SECOND)
    sent = {(due.record.audience, encode(due.record)): due.instant_us for due in run(Pipeline(PLAN, SECRETS), INPUT)}
    for audience, coming in found.items():
        assert [item.leaves_us for item in coming] == [sent[audience, item.record.data] for item in coming]
        assert len(coming) > 10


def test_hold_hides_nothing_of_what_a_resume_would_let_out() -> None:
    """A held audience is measured by what waits for it: else a resume would break the promise unseen."""
    held = in_order(INPUT, [decided(1, Hold())])
    free = foresee(Pipeline(PLAN, SECRETS), in_order(INPUT), 100 * SECOND)["public"]
    assert told(foresee(Pipeline(PLAN, SECRETS), held, 100 * SECOND)["public"]) == told(free)


COMING = foresee(Pipeline(PLAN, SECRETS), in_order(INPUT), 110 * SECOND)["public"]


class Shrinking:
    """An area that loses 1 km2 with each tick of 100."""

    def __init__(self) -> None:
        self.asked = 0

    def area_km2(self, dives: list[Dive]) -> float:
        """Return 100 less the ticks."""
        self.asked += 1
        return 100.0 - sum(record.kind == Kind.TICK for dive in dives for record in dive.records)


@settings(max_examples=40)
@given(promise=st.integers(60, 99), left=st.integers(0, 30))
def test_tick_that_breaks_a_promise_is_the_first_kept_in(promise: int, left: int) -> None:
    """The tick found is the one with which less is left than promised; the one before it leaves the promise whole."""
    coming = COMING
    areas = Shrinking()
    last = coming[left].record
    seen = judged(Measure(areas, [], coming), coming, (last.dive, last.seq), float(promise), 110 * SECOND)
    assert seen.ahead_km2 == 100.0 - (len(coming) - 1)
    if seen.breaks_us is None:
        assert (seen.kept_us, seen.ahead_km2 >= promise) == (110 * SECOND, True)
        return
    kept = [item for item in coming if item.tick_us <= seen.kept_us]
    first = next(item for item in coming if item.tick_us > seen.kept_us)
    broken_by = max(100 - promise + 1, left + 1)  # by what left already nothing can be mended
    assert (len(kept), first.leaves_us) == (broken_by, seen.breaks_us)
    assert areas.asked <= 2 + len(coming).bit_length()


def test_promise_that_what_left_has_broken_lets_nothing_more_out() -> None:
    """Where nothing waits and the promise is broken, no tick is kept."""
    coming = COMING
    last = coming[-1].record
    seen = judged(Measure(Shrinking(), [], coming), coming, (last.dive, last.seq), 99.0, 110 * SECOND)
    assert (seen.kept_us, seen.breaks_us) == (-1, 110 * SECOND)


def test_dives_are_as_an_outsider_has_them() -> None:
    """Records are gathered by dive, each with the header that began it."""
    coming = COMING
    (dive,) = dives_of(coming)
    assert (dive.audience, dive.records[0].kind, len(dive.records)) == ("public", Kind.DIVE, len(coming))


@pytest.mark.parametrize("room", ["foresight", "foresight_run"])
def test_foresight_is_loaded_by_no_room_that_sends(room: str) -> None:
    """What is worked out ahead lives in a process of its own: of all rooms only its own `foresight_run` may load it."""
    rows = {**CORE, **AUDIT, **SHELL}
    loading = {name for name, row in rows.items() if room in row.partition("|")[0].replace("shell.", "").split()}
    assert loading == ({"foresight_run"} if room == "foresight" else set())
