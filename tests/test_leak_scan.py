"""The direct leak scan: places that stand in recordings, in whatever way, and that none stands in Offing's own.

Encodings are those of `canary_spellings` (msgpack, struct, utm, pyproj and others); distances are geographiclib's.
"""

import random
from dataclasses import replace
from typing import Any

import pytest

from audited import apart, case_of, journal, lay_public_grid, on_earth
from canary_spellings import encodings, planes, whole_positions
from dives import INVENTED_SITE, plan, policy
from nmea_sentences import sentence
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.leak_scan import LeakScan, spelled
from relay.audit.matching.posterior import Posterior
from relay.core.policy import Place
from relay.core.release import ReleaseLog
from relay.core.wire import decode
from told_besides import beyond_the_row, exact_place, noted, released, survey, surveyed, unchecked, with_pad

METRES = planes(INVENTED_SITE)
LATITUDE, LONGITUDE = INVENTED_SITE


def scan(dive: Dive) -> Any:
    """Return what the scan makes of a recording."""
    return LeakScan().play(case_of(dive))


def test_exact_positions_behind_the_columns_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: a build that sends the exact place along is broken to 50 m, and to the cell."""
    beyond_the_row(monkeypatch, exact_place)
    dive = surveyed(seconds=200)
    case = case_of(dive)
    finding = LeakScan().play(case)
    assert finding.outright and finding.leaks and finding.place is not None and apart(finding.place, INVENTED_SITE) < 50
    assert finding.log_likelihood is not None
    best = Posterior.of(case.chart, finding.log_likelihood).best
    assert case.chart.index(*best) == case.chart.index(*INVENTED_SITE)


def test_metres_of_a_public_grid_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: a build whose frame is the UTM zone's is broken to 50 m."""
    lay_public_grid(monkeypatch)
    finding = scan(surveyed(seconds=200))
    assert finding.outright and finding.place is not None and apart(finding.place, INVENTED_SITE) < 50
    assert any("on the Earth" in leak for leak in finding.leaks)


HEADERS: dict[str, object] = {
    "degrees": {"latitude": LATITUDE, "longitude": LONGITUDE},
    "longitude first": [LONGITUDE, LATITUDE],
    "radians": [-0.673_953_9, -0.382_804_1],
    "1e-7 degrees": [round(LATITUDE * 1e7), round(LONGITUDE * 1e7)],
    "milliseconds of arc": {"lat": round(LATITUDE * 3.6e6), "lon": round(LONGITUDE * 3.6e6)},
    "UTM metres": [METRES["UTM east"], METRES["UTM north"]],
    "world-map metres": [METRES["Mercator x"], METRES["Mercator y"]],
}


@pytest.mark.parametrize("what", HEADERS)
def test_datum_in_the_header_is_found(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: a build that tells its datum is broken to 50 m, however the numbers are written."""
    header = ReleaseLog._header
    monkeypatch.setattr(ReleaseLog, "_header", lambda log: {**header(log), "origin": HEADERS[what]})
    finding = scan(surveyed(seconds=40))
    assert any("“origin”" in leak for leak in finding.leaks)
    assert finding.outright and finding.place is not None and apart(finding.place, INVENTED_SITE) < 50


BOTH = ("degrees as f64", "degrees as f32", "1e-7 degrees as i32", "milliseconds of arc as i32")


@pytest.mark.parametrize("what", BOTH)
def test_position_in_the_padding_is_found(what: str) -> None:
    """Positive control: both axes as binary numbers in a record's padding are read, in either order of bytes."""
    told = encodings(INVENTED_SITE)[what]
    for content in told if len(told[0]) == 8 and "f64" not in what else (told[0] + told[2], told[1] + told[3]):
        dive = surveyed(seconds=40)
        records = list(dive.records)
        records[1] = decode(with_pad(records[1].data, content))
        finding = scan(replace(dive, records=tuple(records)))
        assert any("padding" in leak for leak in finding.leaks)
        if len(content) in (8, 16):
            assert finding.outright and finding.place is not None and apart(finding.place, INVENTED_SITE) < 50, content


def test_raw_sentence_in_an_annotation_is_found() -> None:
    """Positive control: a feed's own sentence that was let through is read, to 50 m."""
    raw = sentence("GPGGA,120000,3836.8832,S,02155.9836,W,1,08,0.9,0.0,M,0.0,M,,").decode().strip()
    finding = scan(noted(["bow", raw], unchecked()))
    assert any("raw sentence" in leak for leak in finding.leaks)
    assert finding.outright and finding.place is not None and apart(finding.place, INVENTED_SITE) < 50


def test_what_offing_releases_holds_nothing() -> None:
    """Counter-test: real signed recordings of audiences without an exact place have no leak and no place."""
    shown = plan(policy(), policy("family", cell_m=12.5, depth_step_m=1.0), policy("press", place=Place.AREA))
    for dive in released(journal(survey(800), 4), shown).values():
        finding = scan(dive)
        assert (finding.leaks, finding.place, finding.log_likelihood) == ((), None, None)
        assert finding.facts["bytes_scanned"] > 10_000 and finding.worked
        assert spelled([dive], fixes()) == ()


def test_exact_audience_is_told_its_place_and_it_is_said() -> None:
    """Who is given exact places has them: the scan says so, since such a recording must not get about."""
    finding = scan(surveyed(plan(policy(place=Place.EXACT)), seconds=80))
    assert finding.outright and finding.place is not None and apart(finding.place, INVENTED_SITE) < 50


def fixes() -> list[tuple[float, float]]:
    """Return some true places of the survey."""
    return [on_earth(step["east"], step["north"]) for step in survey(800)[::40]]


def stuck_in(content: bytes) -> Dive:
    """Return a recording with bytes in an annotation's frame."""
    dive = noted(["a bottle"])
    at = next(at for at, record in enumerate(dive.records) if record.kind == 2)
    records = list(dive.records)
    records[at] = records[at]._replace(data=records[at].data + content)
    return replace(dive, records=tuple(records))


def test_spellings_of_the_true_place_in_texts_are_found() -> None:
    """With the true place in hand every notation of it in an annotation is found."""
    told = {what: texts[0] for what, texts in whole_positions(INVENTED_SITE).items()}
    dive = noted(told.values(), unchecked())
    found = " ".join(spelled([dive], [INVENTED_SITE]))
    assert len(told) > 50 and [what for what, text in told.items() if f"“{text}”" not in found] == []


def test_spellings_of_the_true_place_in_bytes_are_found() -> None:
    """With the true place in hand binary numbers of either axis, or of both together, are found wherever they stand."""
    told = {what: contents[0] for what, contents in encodings(INVENTED_SITE).items()}
    halves = (
        "metres as",
        "metres in",
        "whole, in",
        "MessagePack as f32",
        "radians as f32",
    )  # plane metres as text alone
    plain = {what: content for what, content in told.items() if not any(half in what for half in halves)}
    missed = [what for what, content in plain.items() if not spelled([stuck_in(content)], [INVENTED_SITE])]
    assert len(plain) > 12 and missed == []


def test_spellings_of_another_place_are_not_found() -> None:
    """Random places are not found by chance, in text or in signatures."""
    chance = random.Random(5)
    places = [(chance.uniform(-60, 60), chance.uniform(-170, 170)) for _ in range(60)]
    near_nothing = [(0.0, 0.0), (0.0004, -0.0001), (51.4779, 0.0), (-0.01, -78.4529), (60.0, 5.0)]
    assert spelled([surveyed(seconds=800)], places + near_nothing) == ()


def test_case_without_records_says_why() -> None:
    """Nothing to scan is said, not raised."""
    assert not LeakScan().play(case_of()).worked
