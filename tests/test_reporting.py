"""`offing report`: one page, whole or not at all, over nothing that is there, from what can be trusted."""

from pathlib import Path

import pytest

from relay.__main__ import main
from relay.core.wire import read_recording
from relay.shell.record.dive_report import report_html
from relay.shell.record.released_report import released_report
from released import dive

DEMO = Path(__file__).resolve().parents[1] / "recordings/demo-dive.recording"


def test_released_report_is_a_function_of_the_recording(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes the page of the recording, always the same bytes, and says where it is."""
    out = tmp_path / "dive.html"
    assert 0 == main(["report", str(DEMO), "--html", str(out)])
    said = capsys.readouterr()
    assert f"{out}\n" == said.out
    assert "unsigned" not in said.err
    page = out.read_text(encoding="utf-8")
    assert report_html(released_report(read_recording(DEMO.read_bytes()), True)) == page
    assert 0 == main(["report", str(DEMO), "--html", str(out), "--force"])
    assert page == out.read_text(encoding="utf-8")
    assert ["dive.html"] == [path.name for path in tmp_path.iterdir()]


def test_nothing_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there stays as it is, and what to do is said; so where nothing can be written."""
    out = tmp_path / "dive.html"
    out.write_text("mine")
    assert 2 == main(["report", str(DEMO), "--html", str(out)])
    assert "add --force" in capsys.readouterr().err
    assert "mine" == out.read_text()
    assert 2 == main(["report", str(DEMO), "--html", str(tmp_path / "no/dive.html")])
    assert "can't be written: No such file" in capsys.readouterr().err


def test_altered_recording_has_no_report(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A recording that isn't as it was signed is refused by the record's number, and nothing is written."""
    data = bytearray(DEMO.read_bytes())
    data[data.index(b"Marine snow")] ^= 1
    (tmp_path / "dive-001.recording").write_bytes(data)
    assert 2 == main(["report", str(tmp_path / "dive-001.recording"), "--html", str(tmp_path / "dive.html")])
    assert "dive-001.recording" in capsys.readouterr().err
    assert not (tmp_path / "dive.html").exists()
    assert 2 == main(["report", str(tmp_path / "none.recording"), "--html", str(tmp_path / "dive.html")])
    assert "none.recording: No such file" in capsys.readouterr().err


def test_unfinished_recording_is_reported_as_that(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What there is so far is written, and both the command and the page say that it isn't all."""
    (tmp_path / "dive-001.recording").write_bytes(b"".join(frame.data for frame in dive(1, 3, closed=False)))
    out = tmp_path / "dive.html"
    assert 0 == main(["report", str(tmp_path / "dive-001.recording"), "--html", str(out)])
    assert "not closed: what there is so far is reported" in capsys.readouterr().err
    assert "The dive goes on, or the end of the recording is missing" in out.read_text(encoding="utf-8")
