"""What a stranger hands on is read in the form that a relay writes, or refused in words."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.__main__ import main
from relay.core.errors import RecordingError
from relay.core.figures import figures
from relay.core.recording_form import DEEPEST, check_form
from relay.core.wire import footer, read_recording
from relay.shell.released.export import as_csv, geojson
from relay.shell.report.released_report import released_report
from relay.shell.report.reporting import report_html
from released import dive, dive_with_everything
from spoilt_recordings import EVIL, evil, nested, spoilt, values, written
from test_attacks_on_odd_recordings import VALUES

DEMO = Path(__file__).resolve().parents[1] / "recordings/demo-dive.recording"
SPOILT = spoilt()


def test_what_a_relay_writes_is_of_the_form() -> None:
    """A whole dive of the demo, a closed and an open one, and one with every kind of record."""
    whole = [DEMO.read_bytes(), evil()]
    for frames in (dive(1, 4), dive(2, 3, closed=False), dive_with_everything(3)):
        data = [frame.data for frame in frames]
        whole.append(b"".join(data) + footer(data))
    for data in whole:
        check_form(read_recording(data))


@pytest.mark.parametrize("name", SPOILT)
def test_what_no_relay_writes_is_refused(name: str) -> None:
    """Each value that isn't what stands there, with the number of its record."""
    with pytest.raises(RecordingError, match=r"record \d isn't as a relay writes it|not (a recording|MessagePack)"):
        check_form(read_recording(SPOILT[name]))


EXACT = [[None] * 2, [-38.6, -12.5], [90.0, 180.0]]
NO_PLACE = [[None, 1.0], ["-38.6", 1.0], [-91.0, 1.0], [1.0, 181.0], [True, 1.0], [1.0]]


@pytest.mark.parametrize("told", [*EXACT, *NO_PLACE])
def test_exact_place_is_two_degrees_or_nothing(told: list[Any]) -> None:
    """As it stands in a trusted audience's recording: half a place, a text or more than 180° is none."""
    records = values()
    records[1][4][0] = records[1][4][0][:10] + told
    if told in EXACT:
        check_form(read_recording(written(records)))
        return
    with pytest.raises(RecordingError, match="record 1 isn't as a relay writes it: a vehicle's exact place is none"):
        check_form(read_recording(written(records)))


@pytest.mark.parametrize(("name", "value"), [("place", "everywhere"), ("depth", "deep"), ("place", None)])
def test_header_says_what_place_and_depth_are(name: str, value: object) -> None:
    """In a word that a relay has for it: whoever reads the figures goes by it."""
    with pytest.raises(RecordingError, match=rf"record 0 isn't as a relay writes it: its {name} is none"):
        check_form(read_recording(written(values(), **{name: value})))


def test_older_and_newer_recordings_are_of_the_form() -> None:
    """A name that may say nothing may be missing, as before there was one; what is more is left alone."""
    older = read_recording(written(values()))
    for name in ("area", "swath_m", "cell_m", "depth_step_m", "heading_step_deg"):
        del older.header[name]
    check_form(older)
    newer = values()
    newer[1][4][0] = [*newer[1][4][0][:10], None, None, "later"]
    newer[6][2] = 99
    check_form(read_recording(written(newer, later=7)))


def test_depth_is_taken_up_to_its_bound() -> None:
    """At the bound, and one past it; the header itself is the first."""
    check_form(read_recording(written(values(), more=nested(DEEPEST - 2))))
    with pytest.raises(RecordingError, match="nested too deep"):
        check_form(read_recording(written(values(), more=nested(DEEPEST - 1))))


@settings(max_examples=25)
@given(st.lists(st.tuples(st.integers(1, 6), st.integers(0, 9), VALUES), max_size=3), st.integers(0, 9), VALUES)
def test_what_is_of_the_form_can_be_worked_with(cells: list[tuple[int, int, Any]], kind: int, body: Any) -> None:
    """Whatever is let through becomes figures, tables, a drawing and a report; nothing else is ever raised."""
    records = values()
    for number, column, value in cells:
        row = records[number][4][0] if records[number][2] == 1 else records[number][4]
        if column < len(row):
            row[column] = value
    if not 0 < kind < 6:
        records[2][2], records[2][4] = kind, body
    try:
        recording = read_recording(written(records))
        check_form(recording)
    except RecordingError:
        return
    figures(recording.records)
    assert as_csv(recording) and geojson(recording) and report_html(released_report(recording, True))


@pytest.mark.parametrize("command", ["show", "figures", "brief", "csv", "geojson", "report", "publish"])
def test_commands_refuse_it_in_words(command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """None ends with a traceback, and none leaves a file behind."""
    path, out = tmp_path / "dive-001.recording", tmp_path / "out"
    told = {
        "show": ["show"], "figures": ["show", "--figures"], "brief": ["brief", "-o", f"{out}"],
        "csv": ["export", "-o", f"{out}.csv"], "geojson": ["export", "-o", f"{out}.geojson"],
        "report": ["report", "--html", f"{out}.html"], "publish": ["publish", "--out", f"{out}"],
    }[command]  # fmt: skip
    for name in list(SPOILT)[::7]:
        path.write_bytes(SPOILT[name])
        assert main([*told, str(path)]) == 2, name
        assert "dive-001.recording" in capsys.readouterr().err
        assert list(tmp_path.iterdir()) == [path]


def test_show_tells_hostile_texts_without_letting_them_act(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """JSON that another reader turns into the very texts (RFC 8259), of printable letters alone."""
    path = tmp_path / "evil.recording"
    path.write_bytes(evil())
    assert main(["show", str(path)]) == 0
    said = capsys.readouterr().out
    assert all(letter.isprintable() or letter == "\n" for letter in said)
    lines = [json.loads(line) for line in said.splitlines()]
    assert (lines[0]["body"]["expedition"], lines[3]["body"][1]) == (EVIL, EVIL)
    assert main(["show", "--figures", str(path)]) == 0
    assert all(letter.isprintable() or letter == "\n" for letter in capsys.readouterr().out)
