"""The invented dive is the same for the same seed, moves as a vehicle can, and tells its story in harmless words."""

import csv
import gzip
import re
from itertools import islice, pairwise
from math import hypot
from pathlib import Path

import pytest

from invented_dive import messages, moments, sentences, stream
from relay.core.model import Mode
from relay.core.ranges import note_fault
from relay.shell.demo.demo import DEMO_SEED
from relay.shell.demo.seabed import BOILERS, BOW, DRUM, OUTCROP
from relay.shell.demo.simulated import SURVEY_MPS, notes_of, simulate
from relay.shell.demo.vehicle_motion import Pose

PLACING = re.compile(
    r"\b(north|south|east|west)|\b[NSEW]\b|bearing|degree|latitude|longitude|\b(port|starboard|sun|noon|moon|tide)\b"
    r"|[0-9\u00b0\u2032\u2033]",
    re.IGNORECASE,
)


def on_the_bottom() -> list[Pose]:
    """Return Lantern's poses, a second apart, from the first sight of the seabed to leaving it."""
    return [moment.lantern for moment in moments() if moment.lantern.altitude_m < 20.0]


def test_same_seed_sends_the_same_bytes() -> None:
    """The whole stream, moments and bytes, follows from the seed."""
    assert tuple(simulate(DEMO_SEED)) == stream()


def test_other_seed_sends_other_bytes() -> None:
    """Two seeds differ from the first minute on."""
    assert [sent.data for sent in islice(simulate(DEMO_SEED + 1), 300)] != [sent.data for sent in stream()[:300]]


def test_start_moves_the_moments_and_nothing_else() -> None:
    """With another start, the same bytes come that much later."""
    for moved, sent in zip(islice(simulate(DEMO_SEED, start_s=1_000.0), 300), stream(), strict=False):
        assert (moved.feed, moved.data) == (sent.feed, sent.data)
        assert moved.t_s == pytest.approx(sent.t_s + 1_000.0)


def test_moments_never_go_back() -> None:
    """The stream is in order of time, from zero on, of the two feeds alone."""
    times = [sent.t_s for sent in stream()]
    assert times == sorted(times)
    assert 0.0 <= times[0] < 1.0
    assert {sent.feed for sent in stream()} == {"position", "station"}


def test_dive_takes_about_two_and_three_quarter_hours() -> None:
    """Deck to deck, with most of it on the bottom, deeper than 3,000 ft (0.3048 m each)."""
    assert 155 * 60 < len(moments()) < 175 * 60
    assert 85 * 60 < len(on_the_bottom()) < 110 * 60
    assert min(pose.depth_m for pose in on_the_bottom()) > 3_000 * 0.3048
    assert moments()[0].lantern.depth_m == moments()[-1].lantern.depth_m == 0.0


def test_descent_and_ascent_are_at_a_believable_rate() -> None:
    """Between 100 m and 1,000 m the vehicle sinks and rises at 0.6 to 0.8 m/s (common practice, no source)."""
    passing = [moment.t_s for moment in moments() if 100.0 < moment.lantern.depth_m < 1_000.0]
    down = next(t for t, after in pairwise(passing) if after - t > 1)
    for first, last in ((passing[0], down), (passing[passing.index(down) + 1], passing[-1])):
        assert 0.6 < 900.0 / (last - first) < 0.8
        rates = [abs(moments()[t].lantern.down_mps) for t in range(first, last)]
        assert min(rates) > 0.5
        assert max(rates) < 0.9


def test_speeds_and_pushes_are_those_of_a_working_vehicle() -> None:
    """At most 0.75 m/s over the ground, 0.15 m/s in a second, 8 degrees in a second (common practice, no source)."""
    poses = [moment.lantern for moment in moments()]
    assert max(hypot(pose.east_mps, pose.north_mps) for pose in poses) < 0.75
    for before, after in pairwise(poses):
        assert hypot(after.east_mps - before.east_mps, after.north_mps - before.north_mps) < 0.15
        assert abs((after.heading_deg - before.heading_deg + 180.0) % 360.0 - 180.0) < 8.0


def test_path_is_the_sum_of_its_speeds() -> None:
    """From second to second the vehicle is where its speed takes it: no jump anywhere."""
    for before, after in zip(moments(), moments()[1:], strict=False):
        moved = before.lantern.place.metres_to(after.lantern.place)
        speeds = [hypot(moment.lantern.east_mps, moment.lantern.north_mps) for moment in (before, after)]
        assert min(speeds) - 0.1 < moved < max(speeds) + 0.1


def test_motion_is_no_rougher_than_a_real_vehicle(shared_data: Path) -> None:
    """On the bottom, depth and heading change in a second no more than on real transects, and not a tenth as little.

    Real: `rov-transects` of the shared data (Seattle-Aquarium/CCR_ROV_survey_methods, MIT), 1 Hz.
    """
    real_depth, real_heading = _changes(shared_data)
    poses = on_the_bottom()
    pairs = list(pairwise(poses))
    depth = sorted(abs(after.depth_m - before.depth_m) for before, after in pairs if before.altitude_m < 7.0)
    heading = sorted(abs((after.heading_deg - before.heading_deg + 180.0) % 360.0 - 180.0) for before, after in pairs)
    for ours, real in ((depth, real_depth), (heading, real_heading)):
        ours_99, real_99 = ours[int(0.99 * len(ours))], real[int(0.99 * len(real))]
        assert 0.1 * real_99 < ours_99 <= real_99


def _changes(shared_data: Path) -> tuple[list[float], list[float]]:
    depth, heading = [], []
    for file in sorted((shared_data / "rov-transects").glob("*.csv.gz")):
        with gzip.open(file, "rt") as text:
            rows = [row for row in csv.DictReader(text) if row["heading_deg"]]
        for before, after in pairwise(rows):
            if float(after["t_s"]) - float(before["t_s"]) == 1.0:
                depth.append(abs(float(after["depth_m"]) - float(before["depth_m"])))
                turn = float(after["heading_deg"]) - float(before["heading_deg"])
                heading.append(abs((turn + 180.0) % 360.0 - 180.0))
    return sorted(depth), sorted(heading)


def test_vehicles_never_touch_the_bottom() -> None:
    """Both stay clear of mud and wreckage, and Lantern works within a few metres of it."""
    altitudes = [pose.altitude_m for pose in on_the_bottom()]
    assert min(altitudes) > 1.0
    assert 2.0 < sorted(altitudes)[len(altitudes) // 2] < 6.0
    assert min(moment.moth.altitude_m for moment in moments() if moment.moth) > 0.8


def test_lines_are_run_at_survey_speed() -> None:
    """For 15 minutes or more the vehicle runs at about 0.4 m/s at an altitude of 3 to 6 m."""
    running = [pose for pose in on_the_bottom() if abs(hypot(pose.east_mps, pose.north_mps) - SURVEY_MPS) < 0.06]
    at_height = [pose for pose in running if 3.0 < pose.altitude_m < 6.0]
    assert len(at_height) > 15 * 60


def test_targets_are_looked_at_from_close_by() -> None:
    """Each of outcrop, drum, boilers and bow is hovered at, at about 2 m, for half a minute or more, facing it."""
    for target in (OUTCROP, DRUM, BOILERS, BOW):
        near = [pose for pose in on_the_bottom() if pose.place.metres_to(target) < 16.0 and pose.altitude_m < 2.5]
        assert sum(hypot(pose.east_mps, pose.north_mps) < 0.1 for pose in near) > 30


def test_moth_is_out_about_forty_minutes_on_her_tether() -> None:
    """She is out once, stays within 65 m of Lantern, starts and ends beside her, and moves by herself."""
    out = [moment for moment in moments() if moment.moth]
    assert 37 * 60 < len(out) < 46 * 60
    assert out[-1].t_s - out[0].t_s == len(out) - 1
    apart = [moment.moth.place.metres_to(moment.lantern.place) for moment in out if moment.moth]
    assert apart[0] < 2.0
    assert apart[-1] < 5.0
    assert max(apart) < 65.0
    assert max(apart) - min(apart) > 15.0


def test_autonomous_stretch_is_sparse_and_straight() -> None:
    """While autonomous, reports come 20 to 30 s apart, and two thirds of the way is run without a turn."""
    alone = [moment for moment in moments() if moment.mode is Mode.AUTONOMOUS]
    assert len(alone) > 10 * 60
    times = [t_s for t_s, message in messages("Lantern") if message["mode"] == "autonomous"]
    gaps = [after - before for before, after in pairwise(times)]
    assert min(gaps) >= 19.0
    assert max(gaps) <= 30.0
    straight = [abs((after.lantern.heading_deg - before.lantern.heading_deg + 180.0) % 360.0 - 180.0) < 10.0
                for before, after in zip(alone, alone[20:], strict=False)]  # fmt: skip
    assert sum(straight) > 0.66 * len(straight)


def test_sea_moves_the_vehicle_at_the_surface_alone() -> None:
    """On deck she rolls by degrees; at depth the sea is not felt."""
    deck = [abs(moment.lantern.roll_deg) for moment in moments() if moment.lantern.depth_m == 0.0]
    deep = sorted(abs(moment.lantern.roll_deg) for moment in moments() if moment.lantern.depth_m > 300.0)
    assert max(deck) > 3.0
    assert deep[len(deep) // 2] < 1.0


def test_annotations_are_sent_once_each_and_in_order() -> None:
    """The station sends every annotation of the dive, within 30 s, and no other."""
    made = notes_of(moments())
    sent = [(t_s, message["note"]) for t_s, message in messages("Lantern") if "note" in message]
    assert [text for _, text in sent] == [text for _, text in made]
    assert all(0.0 <= t_s - t <= 30.0 for (t_s, _), (t, _) in zip(sent, made, strict=True))
    assert 18 <= len(sent) <= 30


def test_annotations_give_no_place_away() -> None:
    """No figure, no degree sign, no compass word, nothing of sun or tide: each would help to place the dive."""
    for _, text in notes_of(moments()):
        assert not PLACING.search(text.replace("'s ", " "))
        assert note_fault(text) is None


def test_ordinary_second_has_the_promised_rates() -> None:
    """On the bottom under the pilot's hands: a fix nearly every second, one message of Lantern, half a one of Moth."""
    out = [moment.t_s for moment in moments() if moment.moth]
    seconds = range(out[0], out[-1])
    kinds = [said.msgID for t_s, said in sentences() if int(t_s) in seconds]
    for kind in ("GGA", "HDT", "VTG", "XDR", "DPT"):
        assert 0.85 < kinds.count(kind) / len(seconds) <= 1.0
    assert sum(int(t_s) in seconds for t_s, _ in messages("Lantern")) == len(seconds)
    assert sum(int(t_s) in seconds for t_s, _ in messages("Moth")) == pytest.approx(len(seconds) / 2, abs=1)
