"""The one door: sequence, header, rows."""

import ast
from pathlib import Path

import pytest

from dives import SECOND, plan, policy
from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Place
from relay.core.release import Kind, ReleaseLog
from relay.core.wire import BLOCK, encode

ROOT = Path(__file__).resolve().parent.parent


def test_release_log_numbers_gaplessly_and_counts_dive_time_from_its_begin() -> None:
    """Whatever the kinds, numbers follow from 0, and elapsed time is the tick's distance from the begin."""
    shown = policy()
    log = ReleaseLog(shown, plan(shown), 4, 60 * SECOND)
    silent = [Report(heard=False)] * 2
    records = [
        log.open(60 * SECOND),
        log.tick(62 * SECOND, silent),
        log.note(62 * SECOND, 1, "x"),
        log.end(64 * SECOND),
    ]
    assert [(r.seq, r.kind, r.elapsed_us // SECOND) for r in records] == [
        (0, Kind.DIVE, 0), (1, Kind.TICK, 2), (2, Kind.NOTE, 2), (3, Kind.END, 4),
    ]  # fmt: skip
    assert {(r.audience, r.dive) for r in records} == {("public", 4)}


def test_header_tells_a_step_only_where_its_field_is_shown() -> None:
    """An audience that sees no track is told no cell; the delay is told as a span, never the secret addition."""
    bare = policy(fields=frozenset({Disclosed.NOTES}))
    body = ReleaseLog(bare, plan(bare), 1, 0).open(0).body
    assert (body["cell_m"], body["depth_step_m"], body["heading_step_deg"]) == (None, None, None)
    assert body["delay_s"] == [20, 30]
    assert body["fields"] == ["notes"]


def test_rows_have_an_exact_place_for_an_exact_audience_alone() -> None:
    """Ten columns for everybody; twelve, with latitude and longitude, where the policy says exact."""
    report = Report(heard=True, position=(-29.4, -22.7))
    for place, columns in ((Place.LOCAL, 10), (Place.AREA, 10), (Place.EXACT, 12)):
        shown = policy(place=place)
        body = ReleaseLog(shown, plan(shown), 1, 0).tick(0, [report, report]).body
        assert [len(row) for row in body] == [columns] * 2
        assert (-29.4 in body[0]) is (place is Place.EXACT)


def test_head_tells_its_bytes_alone() -> None:
    """A tree head stands by itself in its record, numbered like every other, and its frame has one length all dive."""
    log = ReleaseLog(policy(), plan(policy()), 4, 0)
    heads = [log.head(at_us, bytes([fill]) * 32) for at_us, fill in ((0, 0), (60 * SECOND, 7), (86_395 * SECOND, 255))]
    assert [(r.seq, r.kind, r.body) for r in heads] == [
        (0, Kind.HEAD, [bytes(32)]), (1, Kind.HEAD, [b"\7" * 32]), (2, Kind.HEAD, [b"\xff" * 32]),
    ]  # fmt: skip
    assert {len(encode(record)) for record in heads} == {2 * BLOCK}


@pytest.mark.parametrize("octets", [0, 31, 33])
def test_head_of_another_length_is_refused(octets: int) -> None:
    """No room for a count, a minute or anything else beside a head: 32 bytes or none."""
    with pytest.raises(ValueError, match=f"32 bytes, not {octets}"):
        ReleaseLog(policy(), plan(policy()), 1, 0).head(0, bytes(octets))


def test_nobody_else_mints() -> None:
    """No other module of the relay names the class's key or calls the constructor (R1)."""
    for path in (ROOT / "relay").rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        calls = {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
        assert path.name == "release.py" or not any(call.endswith("ReleasedRecord") for call in calls)
