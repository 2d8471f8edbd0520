"""Outside the declared area: the release stops, goes on when the operator says so, and never shows what was outside."""

from collections.abc import Sequence
from dataclasses import replace

from dives import INVENTED_SITE, SECOND, SECRETS, decided, in_order, message, plan, policy, rows, run, sent
from relay.core.area import Area
from relay.core.channel import Due
from relay.core.decision import Begin, End, Hold, Resume, Say, SetLeg
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import DiveLimits, Leg, Plan, Policy
from relay.core.release import Kind

PUBLIC = policy("public", extra_us=0, stale_us=10 * SECOND)
AREA = Area("the invented bank", (INVENTED_SITE,), 1_000.0)
OUT, IN = 1_500.0, 100.0


def bounded(*policies: Policy, dive: DiveLimits | None = None) -> Plan:
    """Return a plan with a declared area of a kilometre about the site."""
    return replace(plan(*(policies or (PUBLIC,)), dive=dive), area=AREA)


def at_ranges(*parts: tuple[int, int, float], depth_m: float = 50.0, vehicle: str = "Lantern") -> list[Row]:
    """Return reports, one a second at the half, from a second to another at a range east of the site, in metres."""
    step = {"north": 0.0, "depth": depth_m, "altitude": 90.0, "heading": 90.0}
    return rows(
        (second * SECOND + 500_000, message({**step, "east": east_m}, INVENTED_SITE, vehicle))
        for from_s, to_s, east_m in parts
        for second in range(from_s, to_s)
    )


def out_of(expedition: Plan, *parts: Sequence[Row]) -> list[Due]:
    """Return what leaves of a journal, to its end or until the release stops."""
    return run(Pipeline(expedition, SECRETS), in_order(*parts))


def resumed(*seconds: int) -> list[Row]:
    """Return rows that let the release go on at moments."""
    return [decided(second * SECOND, Resume(outside=True)) for second in seconds]


def ticks(due: list[Due], audience: str = "public") -> list[int]:
    """Return the moments (seconds of the embargo clock) that the tick records of an audience tell of."""
    begun_s = next(item.instant_us for item in due if item.record.audience == audience) // SECOND - 20
    records = [item.record for item in due if item.record.audience == audience and item.record.kind is Kind.TICK]
    return [begun_s + record.elapsed_us // SECOND for record in records]


EXCURSION = at_ranges((10, 30, IN), (30, 50, OUT), (50, 70, IN))


def test_one_resume_goes_on_and_what_was_outside_is_never_shown() -> None:
    """Every tick inside is shown, before and after, and none outside; one word of the operator is enough."""
    due = out_of(bounded(), EXCURSION, resumed(80))
    shown = ticks(due)
    assert [tick for tick in shown if tick <= 70] == [*range(12, 32, 2), *range(52, 72, 2)]
    late = [item for item in due if item.record.kind is Kind.TICK and item.record.elapsed_us >= 40 * SECOND]
    assert {item.instant_us for item in late[:3]} == {80 * SECOND}
    places = {item.record.body[0][1] for item in due if item.record.kind is Kind.TICK} - {None}
    assert len(places) == 1
    assert [item.record.seq for item in due] == list(range(len(due)))


def placed(due: list[Due]) -> int:
    """Return how many ticks show a place."""
    return sum(item.record.body[0][1] is not None for item in due if item.record.kind is Kind.TICK)


def test_without_a_resume_nothing_more_leaves_ever() -> None:
    """Back inside is not enough: the operator sees to it."""
    assert ticks(out_of(bounded(), EXCURSION)) == list(range(12, 32, 2))


def test_resume_of_all_that_means_no_excursion_leaves_it_stopped() -> None:
    """To resume all excuses nobody outside (R4); naming the audience does, or saying so."""
    hold, lifted = decided(60 * SECOND, Hold()), decided(80 * SECOND, Resume())
    assert ticks(out_of(bounded(), EXCURSION, [hold, lifted])) == list(range(12, 32, 2))
    reference = out_of(bounded(), EXCURSION, resumed(90))
    for meant in (Resume(audience="public"), Resume(outside=True)):
        due = out_of(bounded(), EXCURSION, [hold, lifted, decided(90 * SECOND, meant)])
        assert sent(due) == sent(reference)
    both = bounded(PUBLIC, policy("funders", extra_us=0, delay_us=10 * SECOND, stale_us=10 * SECOND))
    due = out_of(both, EXCURSION, [decided(80 * SECOND, Resume(audience="funders")), decided(90 * SECOND, Resume())])
    assert ticks(due)[-1] == 30


def test_another_excursion_stops_again() -> None:
    """The operator's word was for the one he knew of."""
    again = at_ranges((70, 80, OUT), (80, 90, IN))
    due = out_of(bounded(), EXCURSION, again, resumed(60))
    assert ticks(due)[-1] == 70
    due = out_of(bounded(), EXCURSION, again, resumed(60, 95))
    assert [tick for tick in ticks(due) if tick <= 90][-5:] == [82, 84, 86, 88, 90]


def test_fix_that_has_grown_old_outside_is_no_return() -> None:
    """A vehicle that is silent out there and then reports from there again has not come back: nothing stops anew."""
    silent = at_ranges((10, 20, IN), (20, 25, OUT), (45, 50, OUT), (50, 60, IN))
    due = out_of(bounded(), silent, resumed(60))
    assert [tick for tick in ticks(due) if tick <= 60] == [*range(12, 22, 2), 36, 38, 40, 42, 44, *range(52, 62, 2)]
    places = [item.record.body[0][1] for item in due if item.record.kind is Kind.TICK]
    assert places[5:10] == [None] * 5


def test_one_vehicle_outside_hides_the_tick_of_all() -> None:
    """What the other one does meanwhile is not shown either."""
    other = at_ranges((10, 70, IN), vehicle="Moth")
    due = out_of(bounded(), EXCURSION, other, resumed(80))
    assert [tick for tick in ticks(due) if tick <= 70] == [*range(12, 32, 2), *range(52, 72, 2)]


def test_leg_set_while_it_was_outside_counts_and_what_was_said_then_does_not() -> None:
    """The operator's word that hides must not be lost with the tick it came in; an annotation of it tells of it."""
    steps = [
        decided(35 * SECOND, SetLeg(vehicle="Lantern", leg=Leg.ASCENT)),
        decided(36 * SECOND, Say(text="turning back")),
        decided(55 * SECOND, Say(text="back again")),
    ]
    bottom = replace(PUBLIC, track_legs=frozenset({Leg.BOTTOM}))
    near = [replace(row, data=row.data.replace(b'"altitude_m": 90.0', b'"altitude_m": 5.0')) for row in EXCURSION]
    due = out_of(bounded(bottom), near, steps, resumed(80))
    bodies = [item.record.body[0] for item in due if item.record.kind is Kind.TICK]
    assert [body[1] is not None for body in bodies[1:10]] == [True] * 9  # the first tick is of the descent
    assert {body[7] for body in bodies[10:] if body[0] == "reporting"} == {"ascent"}
    assert {body[1] for body in bodies[10:]} == {None}
    assert [item.record.body[1] for item in due if item.record.kind is Kind.NOTE] == ["back again"]


def test_end_while_it_is_outside_is_the_end() -> None:
    """A dive ended out there is over when the release goes on, and shows nothing of what came after the end."""
    due = out_of(bounded(), EXCURSION, [decided(40 * SECOND, End())], resumed(80))
    assert [item.record.kind for item in due][-1] is Kind.END
    assert {item.record.dive for item in due} == {1}
    assert placed(due) == 10


def test_no_dive_begins_outside_by_hand_or_by_itself() -> None:
    """The release stops instead; what begins is begun at the first tick inside."""
    journal = at_ranges((10, 30, OUT), (30, 50, IN))
    assert out_of(bounded(), journal) == []
    by_itself = out_of(bounded(), journal, resumed(60))
    deep = DiveLimits(begin_depth_m=80.0, quiet_us=60 * SECOND)
    by_hand = out_of(bounded(dive=deep), journal, [decided(20 * SECOND, Begin())], resumed(60))
    for due in (by_itself, by_hand):
        assert [item.record.kind for item in due[:2]] == [Kind.DIVE, Kind.TICK]
        assert due[0].instant_us == 60 * SECOND
        # Ticks 32 to 58: the last fix, of 49.5 s, is shown for ten seconds.
        assert (placed(due), {item.record.dive for item in due}) == (14, {1})


def test_transit_outside_stops_nothing() -> None:
    """A ship that comes from elsewhere, vehicle on deck, needs no word before the dive: nothing is being released."""
    by_depth = DiveLimits(begin_depth_m=5.0, quiet_us=60 * SECOND)
    transit = at_ranges((10, 40, OUT), depth_m=0.2)
    due = out_of(bounded(dive=by_depth), transit, at_ranges((60, 80, IN)))
    assert ticks(due)[0] == 62


def test_audiences_stop_and_go_on_each_for_itself() -> None:
    """A resume for one is none for the other; both stop at their own time."""
    both = bounded(PUBLIC, policy("funders", extra_us=0, delay_us=10 * SECOND, stale_us=10 * SECOND))
    due = out_of(both, EXCURSION, [decided(80 * SECOND, Resume(audience="funders"))])
    assert ticks(due)[-1] == 30
    alone = out_of(bounded(both.policies[1]), EXCURSION, resumed(80))
    assert sent(alone) == [item for item in sent(due) if item[1] == "funders"]


def test_word_of_the_operator_is_for_one_dive() -> None:
    """A dive that was ended out there takes his word with it: the next one stops outside as the first did."""
    journal = at_ranges((10, 20, IN), (20, 30, OUT), (120, 130, OUT), (130, 140, IN))
    due = out_of(bounded(), journal, [decided(24 * SECOND, End())], resumed(60))
    assert {item.record.dive for item in due} == {1}
    due = out_of(bounded(), journal, [decided(24 * SECOND, End())], resumed(60, 160))
    assert {item.record.dive for item in due} == {1, 2}


def test_restart_waits_until_an_excursion_before_the_dive_is_over() -> None:
    """Between the operator's word and the first tick inside there is no checkpoint: it would forget the word."""
    pipeline, journal = Pipeline(bounded(), SECRETS), in_order(at_ranges((10, 30, OUT), (30, 40, IN)), resumed(36))
    reference = sent(out_of(bounded(), journal))
    for row in journal:
        pipeline.receive(row)
        pipeline.advance(row.embargo_us)
        if (checkpoint := pipeline.checkpoint()) is not None:
            again = run(Pipeline(bounded(), SECRETS, checkpoint), journal[checkpoint.row - 1 :])
            assert sent(again) == reference[-len(again) :]
            assert again


def test_edge_of_the_area_is_inside() -> None:
    """At the radius the dive is shown, a metre beyond it is not."""
    assert ticks(out_of(bounded(), at_ranges((10, 20, 999.5))))[:3] == [12, 14, 16]
    assert out_of(bounded(), at_ranges((10, 20, 1_000.5))) == []
