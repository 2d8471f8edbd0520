"""`offing report`: one page, whole or not at all, over nothing that is there, from what can be trusted."""

import os
import stat
from pathlib import Path

import pyrage
import pytest
from pyrage import x25519

from relay.__main__ import main
from relay.core.wire import footer, read_recording
from relay.shell.report.dive_report import report_html
from relay.shell.report.released_report import released_report
from released import dive
from test_exact_dives import Site, a_dive


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """A small signed recording, in a folder of its own."""
    (tmp_path / "of").mkdir()
    path = tmp_path / "of" / "dive-001.recording"
    frames = [frame.data for frame in dive(1, 20)]
    path.write_bytes(b"".join(frames) + footer(frames))
    return path


def test_released_report_is_a_function_of_the_recording(
    tmp_path: Path, recording: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command writes the page of the recording, always the same bytes, and says where it is."""
    out = tmp_path / "dive.html"
    assert 0 == main(["report", str(recording), "--html", str(out)])
    said = capsys.readouterr()
    assert f"{out}\n" == said.out
    assert "unsigned" not in said.err
    page = out.read_text(encoding="utf-8")
    assert report_html(released_report(read_recording(recording.read_bytes()), True)) == page
    assert 0 == main(["report", str(recording), "--html", str(out), "--force"])
    assert page == out.read_text(encoding="utf-8")
    assert {"dive.html", "of"} == {path.name for path in tmp_path.iterdir()}


def test_nothing_is_written_over(tmp_path: Path, recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there stays as it is, and what to do is said; so where nothing can be written."""
    out = tmp_path / "dive.html"
    out.write_text("mine")
    assert 2 == main(["report", str(recording), "--html", str(out)])
    assert "add --force" in capsys.readouterr().err
    assert 2 == main(["report", str(recording), "--html", str(out), "--force"])
    assert "is no report, and --force writes over nothing else" in capsys.readouterr().err
    assert "mine" == out.read_text()
    assert 2 == main(["report", str(recording), "--html", str(tmp_path / "no/dive.html")])
    assert "can't be written: No such file" in capsys.readouterr().err


def test_altered_recording_has_no_report(tmp_path: Path, recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A recording that isn't as it was signed is refused by the record's number, and nothing is written."""
    data = bytearray(recording.read_bytes())
    data[data.index(b"reporting")] ^= 1
    recording.write_bytes(data)
    assert 2 == main(["report", str(recording), "--html", str(tmp_path / "dive.html")])
    assert f"{recording}: the footer" in capsys.readouterr().err
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


def exact(site: Site, *arguments: str, dive: str = "1") -> int:
    """Run the command for an exact report."""
    return main(["report", str(site.expedition.path), "--dive", dive, *arguments])


def test_exact_report_lies_in_the_private_folder_for_its_owner(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Mode 0600 (POSIX), whatever the umask; the folder of the expedition file will do to name it."""
    site = Site(tmp_path, *a_dive())
    out = site.private / "dive-1.html"
    before = os.umask(0)
    try:
        assert 0 == exact(site, "--html", str(out))
    finally:
        os.umask(before)
    assert 0o600 == stat.S_IMODE(out.stat().st_mode)
    assert f"{out}\n" == (said := capsys.readouterr()).out
    assert "for few eyes" in said.err
    page = out.read_text(encoding="utf-8")
    assert "EXACT, PRIVATE" in page
    assert "−38.6147200°" in page
    assert 0 == main(["report", str(tmp_path), "--dive", "1", "--html", str(out), "--force"])
    assert page == out.read_text(encoding="utf-8")


def test_exact_report_goes_nowhere_else_in_the_clear(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Outside the private folder, in the released one, or by way of a link into it: refused, and nothing is written."""
    site = Site(tmp_path, *a_dive())
    (tmp_path / "released" / "public").mkdir(parents=True)
    (tmp_path / "outside").mkdir()
    (site.private / "way").symlink_to(tmp_path / "outside")
    for place in ("dive.html", "outside/dive.html", "released/dive.html", "private/way/dive.html", "private/../x.html"):
        assert 2 == exact(site, "--html", str(tmp_path / place))
        assert "private" in capsys.readouterr().err
    identity = x25519.Identity.generate()
    assert 2 == exact(site, "--html", str(tmp_path / "released/public/d.age"), "--to", str(identity.to_public()))
    assert "where everything is public" in capsys.readouterr().err
    assert [] == [path for path in tmp_path.rglob("*") if path.suffix in (".html", ".age")]


def test_encrypted_report_is_the_plain_one_to_its_receiver_alone(tmp_path: Path) -> None:
    """Opened by the library that the format comes from it is the same page; no readable copy lies anywhere."""
    site = Site(tmp_path, *a_dive())
    identity, other = x25519.Identity.generate(), x25519.Identity.generate()
    out = tmp_path / "dive-1.html.age"
    assert 0 == exact(site, "--html", str(out), "--to", str(identity.to_public()))
    assert [] == [path for path in tmp_path.rglob("*") if path.is_file() and b"38.61472" in _report_of(path)]
    opened = pyrage.decrypt(out.read_bytes(), [identity])
    with pytest.raises(pyrage.DecryptError):
        pyrage.decrypt(out.read_bytes(), [other])
    assert 0 == exact(site, "--html", str(site.private / "dive-1.html"))
    assert (site.private / "dive-1.html").read_bytes() == opened
    assert 0 == exact(site, "--html", str(out), "--to", str(identity.to_public()), "--force")
    assert opened == pyrage.decrypt(out.read_bytes(), [identity])
    assert 2 == exact(site, "--html", str(tmp_path / "b.age"), "--to", "age1nobody")
    assert not (tmp_path / "b.age").exists()


def _report_of(path: Path) -> bytes:
    """Return what a file holds, unless it is the journal, whose it is to hold positions."""
    return b"" if path.name.startswith("journal.db") else path.read_bytes()


def test_dive_that_is_not_there_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Which there are; without --dive, too; and that a recording takes neither --dive nor --to."""
    site = Site(tmp_path, *a_dive())
    out = site.private / "dive.html"
    assert 2 == exact(site, "--html", str(out), dive="2")
    assert "there is no dive 2: the journal has dives 1 to 1" in capsys.readouterr().err
    assert 2 == main(["report", str(tmp_path), "--html", str(out)])
    assert "--dive: say which, from 1 to 1" in capsys.readouterr().err
    (tmp_path / "a.recording").write_bytes(b"".join(frame.data for frame in dive(1, 3)))
    assert 2 == main(["report", str(tmp_path / "a.recording"), "--dive", "1", "--html", str(tmp_path / "a.html")])
    assert "are for the exact report" in capsys.readouterr().err
    assert not out.exists()


def test_force_writes_over_reports_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not over the journal, a recording or what a link leads to; an encrypted report over an encrypted file alone."""
    site = Site(tmp_path, *a_dive())
    released = tmp_path / "released" / "public"
    released.mkdir(parents=True)
    (released / "r.html").symlink_to("../../private/r2.html")
    (site.private / "link.html").symlink_to(site.private / "journal.db")
    (tmp_path / "notes.age").write_text("mine")
    journal = (site.private / "journal.db").read_bytes()
    for place in ("private/journal.db", "private/link.html", "released/public/r.html"):
        for force in ([], ["--force"]):
            assert 2 == exact(site, "--html", str(tmp_path / place), *force)
    to = str(x25519.Identity.generate().to_public())
    assert 2 == exact(site, "--html", str(tmp_path / "notes.age"), "--to", to, "--force")
    assert "is no encrypted file" in capsys.readouterr().err
    assert "mine" == (tmp_path / "notes.age").read_text()
    assert journal == (site.private / "journal.db").read_bytes()
    assert (released / "r.html").is_symlink()
    assert not (site.private / "r2.html").exists()


def test_report_written_over_is_its_owners_alone(tmp_path: Path) -> None:
    """A report that anybody could read is replaced by one of mode 0600."""
    site = Site(tmp_path, *a_dive())
    out = site.private / "dive-1.html"
    assert 0 == exact(site, "--html", str(out))
    out.chmod(0o644)
    assert 0 == exact(site, "--html", str(out), "--force")
    assert 0o600 == stat.S_IMODE(out.stat().st_mode)
