"""What is about to leave: it is what leaves later, and the tick that breaks a promise is found."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dives import INVENTED_SITE, SECOND, SECRETS, decided, dive_rows, in_order, message, plan, policy, rows, run
from import_rows import AUDIT, CORE, SHELL
from relay.audit.attacks.attack import Dive
from relay.core.area import Area, ZoneAction
from relay.core.decision import Cut, Decision, HideZone, Hold, Resume
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.release import Kind
from relay.core.wire import encode
from relay.shell.ship.foresight import Coming, Measure, dives_of, foresee, judged

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


MEANWHILE = [Cut(from_us=20 * SECOND, to_us=30 * SECOND), ZONE]


@pytest.mark.parametrize("decision", MEANWHILE)
@pytest.mark.parametrize("resumed_s", [None, 70])
def test_what_is_cut_or_hidden_behind_a_hold_is_foreseen(decision: Decision, resumed_s: int | None) -> None:
    """What a hold kept in, though it was due, is judged as a resume lets it out: with what was removed meanwhile."""
    decisions = [decided(40 * SECOND + 1, Hold(audience="public")), decided(65 * SECOND, decision)]
    if resumed_s is not None:
        decisions.append(decided(resumed_s * SECOND, Resume(audience="public")))
    journal = in_order(INPUT, decisions)
    upto_us = 75 * SECOND
    known = [row for row in journal if row.embargo_us <= upto_us]
    found = told(foresee(Pipeline(PLAN, SECRETS), known, upto_us)["public"])
    unheard = told(foresee(Pipeline(PLAN, SECRETS), in_order(INPUT), upto_us)["public"])
    assert len(found) > 20
    assert found == leaving(journal, "public")[: len(found)] != unheard[: len(found)]


def test_stop_outside_hides_nothing_of_what_a_resume_would_let_out() -> None:
    """Ticks behind one outside the declared area are foreseen, and are those that leave once it is resumed."""
    bounded = replace(PLAN, area=Area("the invented bank", (INVENTED_SITE,), 1_000.0))
    steps = [{"east": 1_500.0 if 30 <= at < 40 else 1.0 * at, "north": 0.0, "depth": 50.0, "altitude": 90.0,
              "heading": 90.0} for at in range(80)]  # fmt: skip
    excursion = rows((at * SECOND, message(step, INVENTED_SITE)) for at, step in enumerate(steps, 1))
    found = foresee(Pipeline(bounded, SECRETS), excursion, 80 * SECOND)["public"]
    resumed = in_order(excursion, [decided(200 * SECOND, Resume(outside=True))])
    really = [encode(due.record) for due in run(Pipeline(bounded, SECRETS), resumed)
              if due.record.audience == "public" and due.record.kind in (Kind.DIVE, Kind.TICK)]  # fmt: skip
    assert told(found) == really[: len(found)]
    assert found[-1].tick_us == 80 * SECOND
    shown = {item.tick_us // SECOND for item in found}
    assert {28, 44} < shown and not shown & set(range(32, 40))


COMING = foresee(Pipeline(PLAN, SECRETS), in_order(INPUT), 110 * SECOND)["public"]


class Shrinking:
    """An area that loses 1 km2 with each tick of 100."""

    def __init__(self) -> None:
        self.asked = 0

    def area_km2(self, dives: list[Dive]) -> float:
        """Return 100 less the ticks."""
        self.asked += 1
        return 100.0 - sum(record.kind == Kind.TICK for dive in dives for record in dive.records)


NOTHING = (0, -1)


@settings(max_examples=40)
@given(promise=st.integers(60, 99), left=st.integers(0, 30))
def test_tick_that_breaks_a_promise_is_the_first_kept_in(promise: int, left: int) -> None:
    """The tick found is the one with which less is left than promised; the one before it leaves the promise whole."""
    coming = COMING
    areas = Shrinking()
    last = coming[left].record
    seen = judged(Measure(areas, [], coming), coming, (last.dive, last.seq), NOTHING, float(promise), 110 * SECOND)
    assert seen.ahead_km2 == 100.0 - (len(coming) - 1)
    if seen.breaks_us is None:
        assert (seen.kept_us, seen.ahead_km2 >= promise) == (110 * SECOND, True)
        return
    kept = [item for item in coming if item.tick_us <= seen.kept_us]
    first = next(item for item in coming if item.tick_us > seen.kept_us)
    broken_by = max(100 - promise + 1, left + 1)  # by what left already nothing can be mended
    assert (len(kept), first.leaves_us) == (broken_by, seen.breaks_us)


class Uneven:
    """An area of its own for each number of ticks, which may grow again."""

    def __init__(self, areas_km2: list[float]) -> None:
        self._areas_km2 = areas_km2

    def area_km2(self, dives: list[Dive]) -> float:
        """Return the area for so many ticks."""
        return self._areas_km2[sum(record.kind == Kind.TICK for dive in dives for record in dive.records)]


DIPPING = st.lists(st.sampled_from([10.0, 200.0, 200.0, 200.0, 200.0]), min_size=130, max_size=130)


def kept_in_rounds(areas_km2: list[float], counts: list[int]) -> tuple[int, int | None]:
    """Return up to which tick it is kept, and when it breaks, after rounds that each see so many records."""
    since, kept_us, breaks_us = NOTHING, -1, None
    for count in counts:
        coming = COMING[:count]
        measure = Measure(Uneven(areas_km2), [], coming)
        seen = judged(measure, coming, NOTHING, since, 87.0, coming[-1].tick_us)
        since, kept_us, breaks_us = (seen.judged_dive, seen.judged_seq), seen.kept_us, seen.breaks_us
    return kept_us, breaks_us


@settings(max_examples=60)
@given(rest=DIPPING, rounds=st.lists(st.integers(2, len(COMING)), min_size=1, max_size=6))
def test_area_that_dips_and_grows_again_is_broken_where_it_dips(rest: list[float], rounds: list[int]) -> None:
    """Whatever follows and however rounds fall, a tick is kept if and only if no area up to it is below the promise."""
    areas_km2, counts = [200.0, *rest], sorted(rounds)
    ticks = [item.tick_us for item in COMING if item.record.kind == Kind.TICK]
    seen_us = COMING[counts[-1] - 1].tick_us
    expected = next((tick_us for at, tick_us in enumerate(ticks, 1) if areas_km2[at] < 87.0), None)
    kept_us, breaks_us = kept_in_rounds(areas_km2, counts)
    if expected is None or expected > seen_us:
        assert (kept_us, breaks_us) == (seen_us, None)
    else:
        leaves_us = next(item.leaves_us for item in COMING if item.tick_us == expected)
        assert (kept_us, breaks_us) == (expected - 1, leaves_us)


def test_round_that_has_no_time_left_goes_on_where_it_stopped() -> None:
    """Each round judges a tick at least, lets no tick out that it hasn't judged, and the next begins after it."""
    since, kept = NOTHING, []
    for _ in range(4):
        measure = Measure(Uneven([200.0] * 130), [], COMING)
        seen = judged(measure, COMING, NOTHING, since, 87.0, 110 * SECOND, lambda: True)
        since = (seen.judged_dive, seen.judged_seq)
        kept.append(sum(item.tick_us <= seen.kept_us for item in COMING))
        assert not seen.whole
        assert (seen.judged_seq, seen.breaks_us) == (COMING[kept[-1] - 1].record.seq, None)
    assert kept == [2, 3, 4, 5]  # the record that begins the dive leaves with the first tick


def test_what_an_open_audience_is_told_counts_up_to_the_same_tick() -> None:
    """Whoever is promised an area is measured with what everybody reads besides, and never with later ticks of it."""
    told: list[tuple[int, int]] = []

    class Both:
        def area_km2(self, dives: list[Dive]) -> float:
            counts = [sum(record.kind == Kind.TICK for record in dive.records) for dive in dives]
            told.append((counts[0], sum(counts[1:])) if counts else (0, 0))
            return 200.0

    found = foresee(Pipeline(PLAN, SECRETS), in_order(INPUT), 110 * SECOND)
    public, slow = found["public"], found["slow"]
    judged(Measure(Both(), [], slow, [public]), slow, NOTHING, NOTHING, 87.0, 110 * SECOND)
    for ticks, beside in told[2:]:
        upto_us = slow[ticks].tick_us
        assert beside == sum(item.record.kind == Kind.TICK and item.tick_us <= upto_us for item in public)
    assert told[-1][1] > told[-1][0] > 5


def test_promise_that_what_left_has_broken_lets_nothing_more_out() -> None:
    """Where nothing waits and the promise is broken, no tick is kept."""
    coming = COMING
    last = coming[-1].record
    seen = judged(Measure(Shrinking(), [], coming), coming, (last.dive, last.seq), NOTHING, 99.0, 110 * SECOND)
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
