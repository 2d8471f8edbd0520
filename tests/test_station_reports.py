"""What the instruments say is well-formed NMEA 0183 and JSON, true to within the stated noise."""

import itertools
import re
from datetime import UTC, datetime
from math import hypot
from pathlib import Path
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pynmeagps import NMEAReader

from invented_dive import fix_errors, hurt, local, messages, moments, sentences, stream
from relay.core.model import Accepted, Rejected
from relay.core.policy import SourcePlan
from relay.core.sources import decoder_for
from relay.shell.demo.seabed import Point, seabed_depth_m
from relay.shell.demo.station_reports import HURT_ONE_IN, degrees_minutes, place_on_earth, sentence

KNOT_MPS = 1852 / 3600  # the international nautical mile, exactly 1,852 m


@given(st.floats(-5_000.0, 5_000.0), st.floats(-5_000.0, 5_000.0))
def test_place_on_earth_is_as_far_and_in_the_direction_geographiclib_says(east_m: float, north_m: float) -> None:
    """The direct geodesic by pyproj and by geographiclib agree to a tenth of a millimetre."""
    point = Point(east_m, north_m)
    assert point.metres_to(local(*place_on_earth(point))) < 1e-4


@given(st.floats(-90.0, 90.0), st.floats(-180.0, 180.0))
def test_degrees_minutes_are_read_back_by_pynmeagps(latitude_deg: float, longitude_deg: float) -> None:
    """Five decimals of a minute give a position back to within half a unit of the last, and never 60 minutes."""
    latitude, longitude = degrees_minutes(latitude_deg, 2, "NS"), degrees_minutes(longitude_deg, 3, "EW")
    assert re.fullmatch(r"\d\d[0-5]\d\.\d{5},[NS]", latitude)
    assert re.fullmatch(r"\d{3}[0-5]\d\.\d{5},[EW]", longitude)
    fix = NMEAReader.parse(sentence(f"GPGGA,101112.00,{latitude},{longitude},2,11,0.8,0.0,M,,M,,"))
    assert fix.lat == pytest.approx(latitude_deg, abs=1.1e-7)
    assert fix.lon == pytest.approx(longitude_deg, abs=1.1e-7)


def test_checksum_is_that_of_a_published_sentence(shared_data: Path) -> None:
    """Bodies of a recorded satellite compass (gpsd test/daemon, see the data's README) give its own sentences back."""
    lines = (shared_data / "nmea-captures" / "satellite-compass.nmea").read_bytes().split()
    assert lines
    for line in lines:
        assert sentence(line[1:-3].decode()) == line + b"\r\n"


def test_sentences_are_of_the_promised_kinds() -> None:
    """pynmeagps knows each sentence; there are no other kinds."""
    assert {parsed.identity for _, parsed in sentences()} == {
        "GPGGA", "GPVTG", "HEHDT", "YXXDR", "SDDPT", "GPZDA", "PHTN",
    }  # fmt: skip


def test_about_one_sentence_in_five_hundred_is_hurt() -> None:
    """What pynmeagps refuses is a small part, as stated (six standard deviations of a binomial about it)."""
    expected = (len(sentences()) + len(hurt())) / HURT_ONE_IN
    assert abs(len(hurt()) - expected) < 6 * expected**0.5


def test_relay_rejects_exactly_the_sentences_that_are_hurt() -> None:
    """The relay's decoder rejects what pynmeagps refuses, and nothing of a quarter of an hour that it takes."""
    decoder = decoder_for(SourcePlan(name="position", format="nmea0183", vehicle="Lantern", sounder="altitude"))
    refused = {sent.data for sent in hurt()}
    part = [sent for sent in stream()[20_000:25_000] if sent.feed == "position"]
    for sent in part + hurt():
        events = decoder.receive(sent.data) + decoder.end()
        assert any(isinstance(event, Rejected) for event in events) == (sent.data in refused)


def test_relay_accepts_every_station_message() -> None:
    """The relay's decoder takes each line whole."""
    decoder = decoder_for(SourcePlan(name="station", format="station-json"))
    for sent in stream():
        if sent.feed == "station":
            assert [type(event) for event in decoder.receive(sent.data)] == [Accepted]


def test_fixes_lie_within_metres_of_the_truth() -> None:
    """On deck within 3 m; at depth half within 4 m, 95 % within 7 m, all within 35 m, and a few are jumps.

    An acoustic fix good to about 0.2 % of the slant range: common practice, no source.
    """
    off = [(moments()[second].lantern.depth_m, hypot(*error)) for second, error in fix_errors().items()]
    deck = [metres for depth_m, metres in off if depth_m == 0.0]
    deep = sorted(metres for depth_m, metres in off if depth_m > 1_000.0)
    assert max(deck) < 3.0
    assert 1.0 < median(deep) < 4.0
    assert deep[int(0.95 * len(deep))] < 7.0
    assert 8.0 < deep[-1] < 35.0


def test_fixes_wander_rather_than_scatter() -> None:
    """The errors of two successive fixes differ far less than those of fixes five minutes apart."""
    errors = {second: error for second, error in fix_errors().items() if moments()[second].lantern.depth_m > 1_000.0}
    next_one = median(errors[second].metres_to(errors[second + 1]) for second in errors if second + 1 in errors)
    later = median(errors[second].metres_to(errors[second + 300]) for second in errors if second + 300 in errors)
    assert next_one < 0.4 * later


def test_speed_over_ground_is_said_alike_in_knots_and_kilometres() -> None:
    """VTG's two speeds agree by the definition of the knot, and with the truth to within 0.15 m/s."""
    for t_s, said in sentences():
        if said.msgID == "VTG":
            pose = moments()[int(t_s)].lantern
            assert said.sogn * KNOT_MPS == pytest.approx(said.sogk / 3.6, abs=0.006)
            assert said.sogn * KNOT_MPS == pytest.approx(hypot(pose.east_mps, pose.north_mps), abs=0.15)


def test_heading_and_attitude_are_the_truth_to_the_last_digit_or_so() -> None:
    """HDT is within a degree, pitch and roll within half a digit."""
    for t_s, said in sentences():
        pose = moments()[int(t_s)].lantern
        if said.msgID == "HDT":
            assert abs((said.headingT - pose.heading_deg + 180.0) % 360.0 - 180.0) < 1.0
        elif said.msgID == "XDR":
            assert (said.tdrid_01, said.tdrid_02) == ("PTCH", "ROLL")
            assert (said.data_01, said.data_02) == pytest.approx((pose.pitch_deg, pose.roll_deg), abs=0.051)


def test_clock_goes_with_the_stream() -> None:
    """Every ZDA is so many seconds after the first as the stream says, and GGA tells the same time of day."""
    days = [(int(t_s), datetime.combine(datetime(said.year, said.month, said.day, tzinfo=UTC), said.time, UTC))
            for t_s, said in sentences() if said.msgID == "ZDA"]  # fmt: skip
    for second, clock in days:
        assert (clock - days[0][1]).total_seconds() == second - days[0][0]
    times = {int(t_s): said.time for t_s, said in sentences() if said.msgID == "GGA"}
    assert all(times[second] == clock.time() for second, clock in days if second in times)


def test_depth_and_sounding_add_up_to_the_seabed() -> None:
    """Where both are reported, depth and altitude give the invented seabed under the vehicle to within 0.3 m."""
    soundings = {int(t_s): said.depth for t_s, said in sentences() if said.msgID == "DPT" and said.depth != ""}
    both = [(int(t_s), message["depth_m"]) for t_s, message in messages("Lantern") if int(t_s) in soundings]
    assert len(both) > 4_000
    for second, depth_m in both:
        seabed_m = seabed_depth_m(*moments()[second].lantern.place)
        assert depth_m + soundings[second] == pytest.approx(seabed_m, abs=0.3)


def test_moth_reports_add_up_to_the_seabed() -> None:
    """Moth's depth and altitude give the seabed under her, and her position is within metres of the truth."""
    reports = messages("Moth")
    assert len(reports) > 1_000
    for t_s, message in reports:
        pose = moments()[int(t_s)].moth
        assert pose is not None
        assert message["depth_m"] + message["altitude_m"] == pytest.approx(seabed_depth_m(*pose.place), abs=0.3)
        assert pose.place.metres_to(local(message["latitude_deg"], message["longitude_deg"])) < 35.0
        assert message["mode"] == "tethered"


def test_sounder_finds_no_bottom_in_mid_water_and_loses_it_now_and_then() -> None:
    """Beyond its reach a sounding is empty; near the bottom it is missing for seconds at a time, rarely."""
    soundings = [(moments()[int(t_s)].lantern, said.depth) for t_s, said in sentences() if said.msgID == "DPT"]
    assert all(depth == "" for pose, depth in soundings if pose.altitude_m > 100.0)
    near = [depth == "" for pose, depth in soundings if pose.altitude_m < 20.0]
    assert 0.002 < sum(near) / len(near) < 0.05


def test_fixes_stay_away_for_tens_of_seconds() -> None:
    """Where reports come every second there are gaps between fixes of tens of seconds, and none of minutes."""
    times = [t_s for t_s, said in sentences() if said.msgID == "GGA" and not moments()[int(t_s)].report_every_s]
    alone = [moment.t_s for moment in moments() if moment.report_every_s]
    gaps = [after - before for before, after in itertools.pairwise(times)
            if not before <= alone[0] <= after]  # fmt: skip
    long = [gap for gap in gaps if gap > 9.0]
    assert 3 <= len(long) <= 40
    assert max(gaps) < 90.0
