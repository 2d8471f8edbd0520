"""What audits found is kept beside the journal, and counts for the very policy, area and charts alone."""

import json
import os
import stat
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest

from audit_settings import AREA
from promising import PASSED, audited, promising
from relay.audit.matching import calibration
from relay.core.area import Zone, ZoneAction
from relay.core.errors import OperatorError
from relay.core.policy import Disclosed, Leg, LegLimits, Place, Policy
from relay.shell.plan.expedition import Expedition
from relay.shell.ship.audit_result import (
    LEAST_COVERED,
    MOST_COVERED,
    MOST_LEVEL,
    NAME,
    Audited,
    chart_digest,
    digests_of,
    level_of,
    passed_words,
    policy_digest,
    read_results,
    say_area,
    why_not,
    write_passed,
)

OTHER = {
    "audience": "family", "delay_us": 1, "extra_us": 1, "tick_us": 1, "fields": frozenset({Disclosed.NOTES}),
    "cell_m": 1.0, "depth_step_m": 1.0, "heading_step_deg": 1.0, "tilt_step_deg": 1.0, "stale_us": 1,
    "place": Place.AREA, "track_legs": frozenset({Leg.ASCENT}), "track_start_m": 1.0, "track_start_us": 1,
    "radius_m": 1.0, "descent_step_m": 1.0, "depth_relative": True, "check_text": False,
}  # fmt: skip


def standing(expedition: Expedition) -> str | None:
    """Return why the promised audience may not start."""
    return why_not(expedition)["public"]


def test_passed_audit_lets_the_audience_start(tmp_path: Path) -> None:
    """An audit that has passed, for what the file says now, is enough; what it found can be read again."""
    expedition = promising(tmp_path)
    assert "it was never audited: run `offing audit --for " in (standing(expedition) or "")
    told = write_passed(expedition, [PASSED], audited=digests_of(expedition), who="Ines", wall_s=1.9e9)
    assert told == ["public: passed"]
    assert standing(expedition) is None
    assert read_results(expedition.private)["public"].found == PASSED
    assert level_of(expedition, "public") == 0.97
    assert "audited on 2030-03-17 by Ines: 120 km2 or more at 19 places in 20" in passed_words(
        expedition, "public", None
    )


def test_names_of_the_audits_user_and_dive_do_nothing_to_a_terminal(tmp_path: Path) -> None:
    """A user's or a file's name may hold bytes that are no text, or escapes: it is kept, and said so that it's fit."""
    expedition = promising(tmp_path)
    odd = replace(PASSED, dive="dive \udcff\x1b[2J")
    write_passed(expedition, [odd], audited=digests_of(expedition), who="\x1b[2J\udcff", wall_s=1.9e9)
    assert read_results(expedition.private)["public"].who == "\x1b[2J\udcff"
    assert passed_words(expedition, "public", None).isprintable()
    changed = replace(expedition, plan=replace(expedition.plan, site_radius_m=1.0))
    why = standing(changed)
    assert why is not None and "2030-03-17 by" in why and why.isprintable()


def test_result_is_the_operators_alone(tmp_path: Path) -> None:
    """The file has mode 0600, and one that others may read isn't taken."""
    path = audited(promising(tmp_path)).private / NAME
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [one.name for one in path.parent.iterdir()] == [NAME]
    path.chmod(0o640)
    with pytest.raises(OperatorError, match="chmod 600"):
        read_results(path.parent)


def test_digest_of_a_chart_is_that_of_its_bytes(tmp_path: Path) -> None:
    """SHA-256 of the bytes "abc" as FIPS 180-2 (appendix B.1) publishes it."""
    (tmp_path / "chart.csv").write_bytes(b"abc")
    published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert chart_digest(tmp_path / "chart.csv") == published == sha256(b"abc").hexdigest()


@pytest.mark.parametrize("name", list(Policy.__dataclass_fields__))
def test_any_change_of_the_policy_needs_another_audit(name: str, tmp_path: Path) -> None:
    """No field of a policy can be changed without its digest changing."""
    plan = promising(tmp_path).plan
    policy = plan.policies[0]
    changed = replace(policy, **{name: OTHER[name]})
    assert policy_digest(policy, plan) != policy_digest(changed, plan)
    assert policy_digest(policy, plan) == policy_digest(replace(policy), replace(plan))


def test_change_of_what_else_decides_needs_another_audit(tmp_path: Path) -> None:
    """Area, zones, the site's radius and a leg's limits are part of what was audited; names of ships aren't."""
    plan = promising(tmp_path).plan
    policy = plan.policies[0]
    zone = Zone(
        name="bow", latitude_deg=-41.0, longitude_deg=17.4, radius_m=9.0, margin_m=9.0, action=ZoneAction.WITHHOLD
    )
    others = [
        replace(plan, area=None), replace(plan, zones=(zone,)), replace(plan, site_radius_m=1.0),
        replace(plan, legs=LegLimits(level_m=1.0)),
    ]  # fmt: skip
    assert len({policy_digest(policy, one) for one in [plan, *others]}) == 5
    assert policy_digest(policy, replace(plan, expedition="Another")) == policy_digest(policy, plan)


def test_changed_file_shuts_the_gate(tmp_path: Path) -> None:
    """A policy, an area or a chart that is another now needs a new audit, and the words say which."""
    audited(promising(tmp_path))
    coarser = replace(promising(tmp_path), plan=replace(promising(tmp_path).plan, area=None))
    assert "its policy, the area or a zone was changed since it was audited" in (standing(coarser) or "")
    (tmp_path / "chart.csv").write_text("lon_deg,lat_deg,depth_m\n")
    expedition = replace(promising(tmp_path))
    assert standing(expedition) is None  # `promising` has written the same chart again
    (tmp_path / "chart.csv").write_text("lon_deg,lat_deg,depth_m\n")
    assert "the charts are others than those" in (standing(expedition) or "")
    (tmp_path / "chart.csv").unlink()
    assert "chart.csv can't be read (No such file or directory)" in (standing(expedition) or "")


@pytest.mark.parametrize(
    ("found", "why"),
    [
        (replace(PASSED, low_km2=87.0), None),
        (replace(PASSED, low_km2=86.999), "it leaves 87 km2 or less, and 87 km2 are promised"),
        (replace(PASSED, covered=0.93), None),
        (replace(PASSED, covered=0.97), None),
        (replace(PASSED, covered=0.929), "held the true place in 93 % of trials"),
        (replace(PASSED, covered=0.971), "are no measure"),
        (replace(PASSED, sites=199), "too few to tell"),
        (replace(PASSED, level=0.985), None),
        (replace(PASSED, level=0.9999998), "the chart misleads the outsider that is modelled"),
        (replace(PASSED, turns=71), "it tried 71 turns of the dive"),
        (replace(PASSED, floor_km2=87.0), None),
        (replace(PASSED, floor_km2=1.0), "the ship's track alone leaves 1 km2, and 87 km2 are promised"),
    ],
)
def test_audit_passes_at_its_limits_and_not_one_past_them(found: Audited, why: str | None, tmp_path: Path) -> None:
    """The promise, the coverage of 93 to 97 % (DESIGN.md section 6), the level, turns, places and the ship's
    floor are each the last that will do."""
    expedition = promising(tmp_path)
    told = write_passed(expedition, [found], audited=digests_of(expedition), who="Ines", wall_s=0.0)
    said = standing(expedition)
    if why is None:
        assert (said, told) == (None, ["public: passed"])
    else:
        assert why in (said or "")
        assert told[0].startswith("public: NOT passed: ")


def test_failed_audit_takes_the_place_of_a_passed_one(tmp_path: Path) -> None:
    """Whoever audits again and fails has no earlier result to start on."""
    expedition = audited(promising(tmp_path))
    audited(expedition, replace(PASSED, low_km2=1.0))
    assert "was not passed" in (standing(expedition) or "")


def test_higher_promise_is_judged_by_what_was_found(tmp_path: Path) -> None:
    """An audit that left 120 km2 lets 120 be promised, and not 121: promising less needs no new audit."""
    audited(promising(tmp_path))
    assert standing(promising(tmp_path, "120 km2")) is None
    assert standing(promising(tmp_path, "10 km2")) is None
    assert "121 km2 are promised" in (standing(promising(tmp_path, "121 km2")) or "")


@pytest.mark.parametrize("damage", ["", "[]", "{}", '{"audiences": []}', '{"audiences": {"public": {}}}', "text"])
def test_damaged_result_is_none(damage: str, tmp_path: Path) -> None:
    """A file that isn't a result stops the start with words, whatever is in it."""
    expedition = audited(promising(tmp_path))
    (expedition.private / NAME).write_text(damage)
    with pytest.raises(OperatorError, match="audit again"):
        why_not(expedition)


def test_number_that_is_none_is_refused(tmp_path: Path) -> None:
    """A result whose area is a text passes nothing."""
    path = audited(promising(tmp_path)).private / NAME
    value = json.loads(path.read_text())
    value["audiences"]["public"]["found"]["low_km2"] = "200"
    path.write_text(json.dumps(value))
    with pytest.raises(OperatorError, match="is no audit's result"):
        read_results(path.parent)


@pytest.mark.parametrize(
    ("part", "key", "value"),
    [
        ("found", "low_km2", float("inf")), ("found", "low_km2", float("nan")), ("found", "low_km2", -1.0),
        ("found", "level", float("nan")), ("found", "level", -5.0), ("found", "level", 7.0), ("found", "level", True),
        ("found", "covered", 1.01), ("found", "sites", 200.5), ("found", "turns", "72"), ("found", "seed", None),
        ("found", "floor_km2", float("inf")), ("found", "dive", 5), ("found", "audience", "family"),
        ("", "wall_s", 1e300), ("", "wall_s", -1.0), ("", "who", 5), ("", "charts", [5]), ("", "ship_track", None),
        ("", "promise_km2", float("inf")), ("", "policy", None),
    ],
)  # fmt: skip
def test_result_out_of_range_passes_nothing(part: str, key: str, value: object, tmp_path: Path) -> None:
    """Numbers that no audit finds, and texts that are none, stop the start with words."""
    expedition = audited(promising(tmp_path))
    path = expedition.private / NAME
    whole = json.loads(path.read_text())
    kept = whole["audiences"]["public"]
    (kept[part] if part else kept)[key] = value
    path.write_text(json.dumps(whole))
    with pytest.raises(OperatorError, match="is no audit's result"):
        why_not(expedition)


def test_result_is_this_users_own_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A link, a folder, nesting without end, and a file of somebody else's are refused with words."""
    expedition = audited(promising(tmp_path))
    path = expedition.private / NAME
    mine = os.geteuid()
    monkeypatch.setattr("relay.shell.ship.audit_result.os.geteuid", lambda: mine + 1)
    with pytest.raises(OperatorError, match="isn't this user's own file"):
        why_not(expedition)
    monkeypatch.undo()
    assert standing(expedition) is None
    path.rename(tmp_path / "elsewhere.json")
    path.symlink_to(tmp_path / "elsewhere.json")
    with pytest.raises(OperatorError, match="can't be read"):
        why_not(expedition)
    path.unlink()
    path.mkdir()
    with pytest.raises(OperatorError, match="take it away"):
        why_not(expedition)
    path.rmdir()
    path.write_text("[" * 200_000)
    path.chmod(0o600)
    with pytest.raises(OperatorError, match="audit again"):
        why_not(expedition)


def test_chart_changed_during_its_audit_keeps_nothing(tmp_path: Path) -> None:
    """What was read is what counts: a file that is another when the result is kept has not been audited."""
    expedition = promising(tmp_path)
    before = digests_of(expedition)
    (tmp_path / "chart.csv").write_text("lon_deg,lat_deg,depth_m\n")
    with pytest.raises(OperatorError, match="was changed while it was audited"):
        write_passed(expedition, [PASSED], audited=before, who="Ines", wall_s=0.0)
    assert read_results(expedition.private) == {}


def test_ships_track_is_part_of_what_was_audited(tmp_path: Path) -> None:
    """Another track, or none any more, needs another audit."""
    track = tmp_path / "ais.csv"
    track.write_text("time,lat,lon\n")
    bare = promising(tmp_path)
    expedition = audited(replace(bare, audit=replace(bare.audit, ship_track=track)))
    assert standing(expedition) is None
    assert "the ship's track is another than that" in (standing(bare) or "")
    track.write_text("time,lat,lon\n0,1,2\n")
    assert "the ship's track is another than that" in (standing(expedition) or "")
    track.unlink()
    assert "the ship's track" in (standing(expedition) or "") and "can't be read" in (standing(expedition) or "")


def test_limits_are_those_of_the_audit() -> None:
    """What the gate asks is what the calibration asks: 93 to 97 % (DESIGN.md section 6)."""
    assert (LEAST_COVERED, MOST_COVERED) == (calibration.LEAST, calibration.MOST)
    assert MOST_LEVEL == getattr(calibration, "MISLED", MOST_LEVEL)


def test_audience_without_a_promise_has_no_result(tmp_path: Path) -> None:
    """There is nothing to pass where nothing is promised."""
    with pytest.raises(OperatorError, match='audience "family" has no promise'):
        audited(promising(tmp_path), replace(PASSED, audience="family"))


def test_areas_are_told_to_three_figures() -> None:
    """What is told of an area is no finer than what is known of it."""
    assert [say_area(km2) for km2 in (87.0, 0.354321, 1234.5, 183.49)] == ["87 km2", "0.354 km2", "1230 km2", "183 km2"]
    assert "radius" in AREA
