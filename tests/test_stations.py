"""Two mirrored stations: failures of every kind at ten reports a second, and the record has each of them once."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import pytest
from geographiclib.geodesic import Geodesic

from dives import INVENTED_SITE, SECOND, SECRETS, decided, in_order, plan, policy, run, sent
from relay.core.decision import Begin
from relay.core.fuse import Stamped
from relay.core.model import Observation, Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import Plan, SourcePlan
from relay.core.release import Kind
from relay.core.stations import AGREED_US, BACK_US, PRIMARY, STANDBY, Mirror, Stations

TENTH = SECOND // 10
SCHEDULES, LASTS_S = 200, 90
MIRRORED = (
    SourcePlan(name="main", format="station-json", vehicle="Lantern"),
    SourcePlan(name="mirror", format="station-json", vehicle="Lantern", standby_for="main"),
)


def mirrored(**changes: object) -> Plan:
    """Return a plan with two stations for Lantern."""
    return replace(plan(policy(delay_us=0, extra_us=0)), sources=MIRRORED, **changes)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Failure:
    """What is wrong with a station from a moment on, for how long."""

    station: int
    kind: str
    from_us: int
    to_us: int


def failures(chance: random.Random) -> list[Failure]:
    """Return random failures of one station at a time, the other having been well for long enough to take over."""
    out, at_us = [], 8 * SECOND
    while at_us < (LASTS_S - 25) * SECOND:
        lasts_us = chance.randint(1_200_000, 9 * SECOND)
        kind = chance.choice(["silence", "half-open", "garbage", "frozen", "clock"])
        station = chance.choice([PRIMARY, PRIMARY, STANDBY])
        out.append(Failure(station, kind, at_us, at_us + lasts_us))
        at_us += lasts_us + BACK_US + chance.randint(2 * SECOND, 9 * SECOND)
    return out


def report(number: int, clock_s: float) -> Observation:
    """Return the report of a number, which its depth tells."""
    latitude = INVENTED_SITE[0] + number * 4e-7
    return Observation(latitude_deg=latitude, longitude_deg=INVENTED_SITE[1], depth_m=float(number), clock_s=clock_s)


def reports(seed: int) -> tuple[list[Failure], list[Stamped]]:
    """Return what two stations send in ninety seconds, ten times a second: the standby earlier or later, as drawn."""
    chance = random.Random(seed)
    wrong = failures(chance)
    lag_us = chance.choice([-45_000, -20_000, 1_000, 30_000, 60_000, 95_000, 240_000])
    out = []
    for station in (PRIMARY, STANDBY):
        frozen: tuple[Failure, int] | None = None
        for number in range(5, LASTS_S * 10):
            at_us = number * TENTH + chance.randint(0, 4_000) + (lag_us if station == STANDBY else 0)
            now = next((each for each in wrong if each.station == station and each.from_us <= at_us < each.to_us), None)
            if now is not None and now.kind in ("silence", "half-open", "garbage"):
                continue
            frozen = (now, number) if now and now.kind == "frozen" and (not frozen or frozen[0] is not now) else frozen
            tells = frozen[1] if frozen and frozen[0] is now else number
            clock_s = 1.7e9 + at_us / 1e6 + (86_400 * chance.uniform(-9, 9) if now and now.kind == "clock" else 0)
            out.append(Stamped(at_us, number, 0, report(tells, clock_s), station))
    return wrong, sorted(out)


def counted(stations: Stations, sent_by_both: list[Stamped]) -> Iterator[tuple[int, Stamped]]:
    """Yield each report that counts, with the moment at which it did."""
    for stamped in sent_by_both:
        for counts in stations.sift([stamped]):
            yield stamped.embargo_us, counts


@pytest.mark.parametrize("seed", range(SCHEDULES))
def test_failover_has_every_tenth_of_a_second_once_and_within_a_second(seed: int) -> None:
    """Whatever fails, the record has each report once, in order, none later than a second, and of a healthy station."""
    wrong, both = reports(seed)
    out = list(counted(Stations(mirrored()), both))
    numbers = [counts.row for _, counts in out]
    assert numbers == list(range(numbers[0], numbers[-1] + 1))
    assert (numbers[0], numbers[-1]) == (5, LASTS_S * 10 - 1)
    assert max(late - early for (early, _), (late, _) in pairwise(out)) < SECOND
    for at_us, counts in out:
        late_us = at_us - counts.embargo_us
        assert late_us < SECOND
        for each in wrong:
            if each.kind == "frozen" and each.station == counts.source:
                assert not each.from_us + SECOND <= counts.embargo_us < each.to_us


@pytest.mark.parametrize("seed", range(0, SCHEDULES, 10))
def test_station_that_fails_is_not_shown_as_healthy(seed: int) -> None:
    """From a second after it failed until it is well again, no failed station is said to be healthy."""
    wrong, both = reports(seed)
    stations = Stations(mirrored())
    judged = 0
    for stamped in both:
        stations.sift([stamped])
        mirror = stations.mirrors[0, 0]
        for each in wrong:
            if each.kind != "clock" and each.from_us + SECOND <= stamped.embargo_us < each.to_us:
                failed, other = mirror.pulses[each.station], mirror.pulses[1 - each.station]
                assert not failed.healthy(stamped.embargo_us, other)
                assert other.healthy(stamped.embargo_us, failed)
                assert mirror.counting != each.station
                judged += 1
    assert judged > 20 or all(each.kind == "clock" for each in wrong)


def test_primary_comes_back_when_it_has_been_well_for_ten_seconds() -> None:
    """No flapping: a primary that comes and goes isn't taken back; one that stays is, once."""
    both = [Stamped(at * TENTH, at, 0, report(at, 0), PRIMARY) for at in range(400) if at < 100 or at >= 150]
    both += [Stamped(at * TENTH + 20_000, at, 0, report(at, 0), STANDBY) for at in range(400)]
    both = [each for each in both if each.source == STANDBY or not (190 <= each.row < 210)]
    out = list(counted(Stations(mirrored()), sorted(both)))
    sources = [counts.source for _, counts in out]
    assert [one for one, other in pairwise([None, *sources]) if one != other] == [None, PRIMARY, STANDBY]
    assert sources[-1] == PRIMARY
    back = next(at_us for at_us, counts in out if counts.source == PRIMARY and counts.row > 210)
    assert 210 * TENTH + BACK_US <= back < 210 * TENTH + BACK_US + SECOND
    assert [counts.row for _, counts in out] == list(range(400))


def test_station_of_one_burst_a_second_is_not_silent_between_bursts() -> None:
    """Three positions in a tenth of a second, once a second, as sentences come (common practice, no source)."""
    stations, mirror = Stations(mirrored()), None
    for second in range(60):
        for part in range(3):
            at_us = second * SECOND + part * 40_000
            for station in (PRIMARY, STANDBY):
                stations.sift([Stamped(at_us + station * 500_000, 0, 0, report(second * 3 + part, 0), station)])
            mirror = stations.mirrors[0, 0]
            assert mirror.counting == PRIMARY
    assert mirror is not None


def test_same_note_from_both_stations_counts_once_and_another_always() -> None:
    """A note from both counts once; one from the co-pilot alone counts, too; said again, a note counts again."""
    mirror = Mirror(50.0)
    told = []
    for at in range(400):
        notes = {20: ("both", "both"), 40: (None, "the standby's"), 60: ("the primary's", None), 399: ("both", "both")}
        for role, note in enumerate(notes.get(at, (None, None))):
            said = report(at, 0).but(note=note)
            told += mirror.take(Stamped(at * TENTH + role * 30_000, at, 0, said, role), role)
    texts = [stamped.said.note for stamped in told if isinstance(stamped.said, Observation) and stamped.said.note]
    assert texts == ["both", "the standby's", "the primary's", "both"]
    assert [stamped.row for stamped in told if stamped.said.depth_m is not None] == list(range(400))  # type: ignore[union-attr]


def line(at_us: int, feed: str, north_m: float, depth_m: float = 900.0) -> Row:
    """Return a station's message, placed by geographiclib so many metres north of the invented site."""
    there = Geodesic.WGS84.Direct(*INVENTED_SITE, 0.0, north_m)
    place = f'"latitude_deg": {there["lat2"]!r}, "longitude_deg": {there["lon2"]!r}'
    data = f'{{{place}, "depth_m": {depth_m!r}, "altitude_m": 3.0}}\n'.encode()
    return Row(0, at_us, at_us / 1e6, feed, RowKind.STREAM, data)


def contradicting(off_m: float) -> list[Row]:
    """Return a minute of both stations; the second is `off_m` off from the twentieth second to the fortieth."""
    main = (line(at * TENTH, "main", at * 0.03) for at in range(10, 600))
    mirror = (
        line(at * TENTH + 20_000, "mirror", at * 0.03 + (off_m if 200 <= at < 400 else 0)) for at in range(10, 600)
    )
    return in_order(main, mirror, [decided(900_000, Begin())])


@pytest.mark.parametrize(("off_m", "doubted"), [(49.0, False), (51.0, True)])
def test_contradicting_stations_stop_the_place_from_being_released(off_m: float, doubted: bool) -> None:
    """Beyond the stated 50 m no position and no heading leaves while it lasts and for five seconds; depth goes on."""
    pipeline = Pipeline(mirrored(contradict_m=50.0), SECRETS)
    due = run(pipeline, contradicting(off_m), 60 * SECOND)
    ticks = [(item.instant_us / SECOND, item.record.body[0]) for item in due if item.record.kind is Kind.TICK]
    shown = {at: row[1] is not None for at, row in ticks if 4 <= at < 60}
    assert shown == {at: not (doubted and 20 < at < 40 + AGREED_US / SECOND) for at in shown}
    assert all(row[3] is not None for at, row in ticks if 4 <= at < 60)


def test_contradiction_is_an_alarm_with_a_distance_and_no_place() -> None:
    """It is told while it lasts, by how much, measured by PROJ as geographiclib laid it."""
    pipeline = Pipeline(mirrored(), SECRETS)
    for row in contradicting(120.0):
        pipeline.receive(row)
        doubts = pipeline.doubts(row.embargo_us)
        lasting = 20.1 * SECOND < row.embargo_us < 40 * SECOND
        assert bool(doubts) == lasting or not lasting
        if lasting:
            assert doubts[0].apart_m == pytest.approx(120.0, abs=0.1)
    assert pipeline.doubts(60 * SECOND) == []


def test_standby_alone_is_taken_from_the_first_tick() -> None:
    """A primary that never was on doesn't keep a dive from being shown."""
    only = in_order(line(at * TENTH, "mirror", at * 0.03) for at in range(10, 300))
    pipeline = Pipeline(mirrored(), SECRETS)
    due = run(pipeline, only, 30 * SECOND)
    assert sum(item.record.kind is Kind.TICK and item.record.body[0][3] is not None for item in due) > 10
    assert pipeline.now.states[0].last("position") is not None, "and the desk sees it, too"


def test_failover_live_and_again_is_the_same() -> None:
    """What leaves with a failure in it is the same when the journal is run again in other steps."""
    rows = [row for row in contradicting(0.0) if row.source != "main" or not 20 * SECOND < row.embargo_us < 30 * SECOND]
    live, again = Pipeline(mirrored(), SECRETS), Pipeline(mirrored(), SECRETS)
    out = []
    for row in rows:
        out += live.advance(row.embargo_us - 1)
        out += live.receive(row)
    out += live.advance(100 * SECOND)
    assert sent(out) == sent(run(again, rows, 100 * SECOND))


def test_which_station_counts_is_decided_by_what_has_been_let_through() -> None:
    """Two runs that part at a moment send the same until that moment's delay is over, failing over or not (R2)."""
    delayed = mirrored(policies=(policy(),))
    parting_us = 30 * SECOND
    whole = contradicting(40.0)
    silent = [row for row in whole if row.source != "main" or row.embargo_us < parting_us]
    runs = [sent(run(Pipeline(delayed, SECRETS), rows, 90 * SECOND)) for rows in (whole, silent)]
    until = [[item for item in each if item[0] <= parting_us + 20 * SECOND] for each in runs]
    assert until[0] == until[1]
    assert len(until[0]) > 8
    assert runs[0] != runs[1]
