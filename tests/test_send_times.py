"""What moments and lengths tell: found in builds that leak by them, absent from what Offing really releases."""

import math
from dataclasses import replace

import numpy as np
import pytest

from audited import apart, case_of, chart_about, journal, on_earth
from dives import INVENTED_SITE, SECOND, decided, in_order, plan, policy
from relay.audit.attacks.attack import Dive, ShipTrack
from relay.audit.attacks.send_times import SendTimes
from relay.audit.matching.posterior import Posterior
from relay.core import channel, wire
from relay.core.area import Area
from relay.core.channel import Channel
from relay.core.decision import Resume
from relay.core.policy import Plan
from relay.core.release import Kind
from relay.core.wire import BLOCK, WireRecord
from told_besides import lane, released, survey, surveyed

NOON_S = 1_900_000_000.0  # a wall clock, Unix time
STATIONS = [on_earth(east, north) for east, north in ((4_000, 2_000), (-3_000, 5_000), (0, 30), (6_000, -5_000))]


def watch(hours: float = 1.0) -> ShipTrack:
    """Return a track on which the ship stays at each station for an hour, one fix a minute; the third is the dive's."""
    fixes = int(60 * hours)
    t_s = NOON_S - 2 * 3_600 * hours + 60.0 * np.arange(4 * fixes)
    places = np.repeat(np.array(STATIONS), fixes, axis=0)
    return ShipTrack(t_s, places[:, 0], places[:, 1])


def quick(**changes: object) -> Plan:
    """Return the plan of a build whose embargo is none: its live page tells when the dive is."""
    return plan(policy(delay_us=0, extra_us=0, **changes))


def test_live_sends_without_an_embargo_tell_the_place_by_the_ships_track() -> None:
    """Positive control: sends that come at once say at which of the ship's stations the dive was, to 50 m."""
    live = released(journal(survey(1_200), 4), quick(), started_s=NOON_S)["public"]
    case = case_of(live, ship=watch())
    finding = SendTimes().play(case)
    assert finding.place is not None and apart(finding.place, INVENTED_SITE) < 50
    assert finding.log_likelihood is not None
    posterior = Posterior.of(case.chart, finding.log_likelihood)
    assert case.chart.index(*posterior.best) == case.chart.index(*STATIONS[2])
    assert finding.facts["ship_moved_m"] < 1 and "no setting of a policy" in finding.words


def test_recording_alone_tells_no_time_and_no_place() -> None:
    """Counter-test: what Offing keeps in a recording has no moment of the wall clock, so the track is of no use."""
    dive = released(journal(survey(1_200), 4))["public"]
    for known in (replace(dive, sent_s=None), dive):  # also with times since the ship's start, as `rehearse` has them
        finding = SendTimes().play(case_of(known, ship=watch()))
        assert (finding.place, finding.log_likelihood, finding.leaks) == (None, None, ())
        assert "Nothing in them depends on what isn't shown" in finding.words


def test_ship_that_lay_elsewhere_at_the_time_is_followed_there() -> None:
    """The attack reads the clock, not the chart: an hour later it is the next station."""
    live = released(journal(survey(1_200), 4), quick(), started_s=NOON_S + 3_600)["public"]
    finding = SendTimes().play(case_of(live, ship=watch()))
    assert finding.place is not None and apart(finding.place, STATIONS[3]) < 50


def test_sends_without_a_track_of_the_ship_tell_when_the_dive_was() -> None:
    """Without AIS the hour is known all the same, to the header's delays and a tick."""
    live = released(journal(survey(600), 4), started_s=NOON_S)["public"]
    finding = SendTimes().play(case_of(live))
    delay = live.header["delay_s"]
    assert finding.facts["dive_known_to_s"] == delay[1] - delay[0] + live.header["tick_s"]
    assert finding.log_likelihood is None and "AIS" in finding.words


def test_build_that_sends_as_reports_come_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: a lag that differs from record to record is told, with how many and by how much."""
    lag = Channel._tick_due_us

    def as_they_come(self: Channel) -> int | None:
        due = lag(self)
        return None if due is None else due + (hash((due, "air")) % 7) * SECOND

    monkeypatch.setattr(Channel, "_tick_due_us", as_they_come)
    finding = SendTimes().play(case_of(surveyed(seconds=600)))
    assert any("a delay of their own" in leak for leak in finding.leaks)


def test_build_without_padding_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: lengths that go with the content tell it through encryption."""
    monkeypatch.setattr(wire, "_blocks", lambda length: length)
    monkeypatch.setattr(wire, "_TICK_EACH", 0)
    finding = SendTimes().play(case_of(surveyed(seconds=600)))
    assert any("lengths" in leak for leak in finding.leaks) and any("padded" in leak for leak in finding.leaks)


def test_build_that_is_silent_while_it_hides_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: where nothing is sent while the track is withheld, the silence tells how long that was."""
    under_way = Channel._under_way

    def silent(self: Channel, dive: object, arrived: list, at_us: int) -> list:  # type: ignore[type-arg]
        made = under_way(self, dive, arrived, at_us)  # type: ignore[arg-type]
        hidden = 300 * SECOND < at_us < 420 * SECOND
        return [] if hidden else made

    monkeypatch.setattr(channel.Channel, "_under_way", silent)
    finding = SendTimes().play(case_of(surveyed(seconds=600)))
    assert any("silence itself" in leak for leak in finding.leaks)
    assert finding.facts["left_out_s"] == pytest.approx(118, abs=4)


def test_operators_hold_and_what_catches_up_is_no_leak() -> None:
    """What left together after a stop says that there was one, and nothing of the dive."""
    dive = surveyed(seconds=600)
    assert dive.sent_s is not None
    held = tuple(max(sent, 200.0) if sent < 260.0 else sent for sent in dive.sent_s)
    assert SendTimes().play(case_of(replace(dive, sent_s=held))).leaks == ()


def sealed_at(*when: float, tick_s: float = 2.0, ticks: int = 300, gap: range = range(0)) -> Dive:
    """Return the records of a dive whose tree heads came at these dive times, but for the ticks of a gap."""
    elapsed = [tick_s * at for at in range(ticks) if at not in gap]
    records = [WireRecord(1, 0, Kind.TICK, at_s, [], bytes(BLOCK)) for at_s in elapsed]
    records += [WireRecord(1, 0, Kind.HEAD, at_s, [bytes(32)], bytes(2 * BLOCK)) for at_s in when]
    return Dive("by hand", {"tick_s": tick_s}, tuple(sorted(records, key=lambda record: record.elapsed_s)))


def untimely(dive: Dive) -> list[str]:
    """Return what is told of when the heads of a dive came."""
    return [leak for leak in SendTimes().play(case_of(dive)).leaks if "head" in leak]


@pytest.mark.parametrize("tick_s", [0.5, 2.0, 7.0, 15.0, 59.0, 60.0, 90.0])
def test_heads_that_come_with_the_minutes_are_no_leak(tick_s: float) -> None:
    """Counter-test: whatever the tick, and with or without one behind ticks that were left out."""
    ticks = int(1_200 / tick_s)
    first = {tick_s * math.ceil(60 * minute / tick_s) for minute in range(20)}
    gap = range(int(130 / tick_s), int(200 / tick_s))
    shown = [at_s for at_s in first if at_s < tick_s * ticks]
    around = [at_s for at_s in shown if at_s / tick_s not in gap]
    for heads, without in ((shown, range(0)), (around, gap), ([*around, tick_s * gap.stop], gap)):
        assert untimely(sealed_at(*heads, tick_s=tick_s, ticks=ticks, gap=without)) == []


def test_heads_of_a_real_dive_come_with_the_minutes() -> None:
    """Counter-test: twenty minutes, twenty heads."""
    dive = surveyed(seconds=1_200)
    assert untimely(dive) == []
    assert sum(record.kind == Kind.HEAD for record in dive.records) in (20, 21)


UNTIMELY: dict[str, tuple[float, ...]] = {
    "one more, as something came in": (0, 60, 74, 120, 180, 240, 300, 360, 420, 480, 540),
    "one left out, as nothing had come in": (0, 60, 120, 240, 300, 360, 420, 480, 540),
    "one that is early": (0, 60, 118, 180, 240, 300, 360, 420, 480, 540),
    "one in its own time": (0, 60, 121.5, 180, 240, 300, 360, 420, 480, 540),
}


@pytest.mark.parametrize("when", UNTIMELY.values(), ids=UNTIMELY)
def test_heads_that_come_with_something_else_are_found(when: tuple[float, ...]) -> None:
    """Positive control: a cadence that anything hidden has changed, by a single head."""
    assert len(untimely(sealed_at(*when))) >= 1


def left_and_came_back() -> Dive:
    """Return a dive that left the declared area for a while after 1,200 m to the east, and the operator's resume."""
    area = Area("Southern Ocean", (on_earth(-3_800, 0),), 5_000.0)  # its edge lies 1,200 m east of the first fix
    shown = replace(plan(), area=area)
    out_and_back = [*lane(1_400, 90.0), *lane(1_400, 90.0)[::-1]]
    steps = journal(out_and_back, 4)
    over = next(row.embargo_us for row, step in zip(steps, out_and_back, strict=True) if step["east"] > 1_200)
    resumed = decided(over + 60 * SECOND, Resume(audience="public", outside=True))
    return released(in_order(steps, [resumed]), shown)["public"]


def test_ticks_left_out_outside_the_declared_area_tell_where_its_edge_was() -> None:
    """What a sound release can't help is found and said: the dive was by the edge of the declared area just before."""
    dive = left_and_came_back()
    chart = chart_about(on_earth(-3_800, 0), cells=61, step_deg=1 / 300)
    middle = on_earth(-3_800, 0)
    prior = np.array([[apart(middle, (lat, lon)) < 5_000 for lon in chart.longitude_deg] for lat in chart.latitude_deg])
    case = case_of(dive, chart=chart, prior=prior)
    finding = SendTimes().play(case)
    assert finding.leaks == () and finding.facts["left_out_s"] > 60 and "by its edge" in finding.words
    assert finding.log_likelihood is not None
    posterior = Posterior.of(chart, finding.log_likelihood, prior)
    first = chart.index(*INVENTED_SITE)
    assert first is not None and posterior.region()[first]
    assert posterior.area_km2() < 0.75 * posterior.prior_km2


def test_case_without_records_says_why() -> None:
    """Nothing to look at is said, not raised."""
    assert not SendTimes().play(case_of()).worked
