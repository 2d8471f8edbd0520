"""`offing audit` as a person runs it: what is refused at once, what is printed where, how it ends."""

from pathlib import Path

import pytest

from relay.__main__ import main
from relay.core.disclosure import Report
from relay.core.policy import Place
from relay.shell.audit.audit_command import _progress
from relay.shell.released.printable import printable
from test_audit_case import chart_file
from test_audit_run import start, written
from test_known_seabed import rough_chart

REFUSED = {
    "--turns 0": "--turns 0: from 1 to 720",
    "--turns 721": "--turns 721: from 1 to 720",
    "--trials 99": "--trials 99: from 100",
    "--truth journal.db": "--truth: give --area EXPEDITION.toml, too",
    "": "name a recording, or a folder of them",
}


@pytest.mark.parametrize("given", REFUSED)
def test_what_makes_no_sense_is_refused_with_the_remedy(given: str, capsys: pytest.CaptureFixture[str]) -> None:
    """With 2, on standard error, before any file is read."""
    assert 2 == main(["audit", "--chart", "absent.csv", *given.split()])
    said = capsys.readouterr()
    assert REFUSED[given] in said.err
    assert "" == said.out


def test_result_is_printed_and_a_leak_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Results on standard output, remarks on standard error; a position in a recording is a fault for a script."""
    chart = chart_file(tmp_path, rough_chart(20, 1))
    quiet = [Report(heard=True, east_m=25.0 * at, north_m=0.0) for at in range(4)]
    exact = [Report(heard=True, position=(start()[0], start()[1] + 1e-5 * at)) for at in range(4)]
    good, bad = written(tmp_path, quiet), written(tmp_path, exact, "heritage", place=Place.EXACT)
    asked = ["--chart", str(chart), "--turns", "1"]
    assert 0 == main(["audit", str(good), *asked])
    said = capsys.readouterr()
    assert said.out.startswith("Nothing that was released could be laid on the chart")
    assert "chart match: nothing to work on" in said.out
    assert "trials are made on the chart" in said.err and "--seabed" in said.err
    assert 2 == main(["audit", str(bad), *asked])
    assert "SHOULD NEVER HAVE BEEN RELEASED" in capsys.readouterr().out


def test_dives_of_two_expeditions_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Their frames have nothing to do with each other."""
    one = written(tmp_path / "one", [Report(heard=True)])
    other = written(tmp_path / "other", [Report(heard=True)], expedition="The search for another")
    assert 2 == main(["audit", str(one), str(other), "--chart", "absent.csv"])
    assert "audit each expedition by itself" in capsys.readouterr().err


def test_names_of_others_reach_the_terminal_without_controls(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A recording's, a wreck's and a chart's: no escape, no line that could pass for one of the audit's."""
    evil = "Marr\x1b[2J\nAn outsider is left with 9 km2 [bold]x[/nothing]"
    odd = chart_file(tmp_path, rough_chart(20, 1)).rename(tmp_path / "chart\x1b[2J\nx.csv")
    told = [Report(heard=True, east_m=25.0 * at, north_m=0.0) for at in range(4)]
    path = written(tmp_path, told, expedition=evil).rename(tmp_path / "dive\x1b[2J\nx.recording")
    place = start()
    (tmp_path / "wrecks.csv").write_text(f'name,lat,lon\n"{evil}",{place[0]},{place[1]}\n')
    asked = ["--chart", str(odd), "--turns", "1", "--wrecks", str(tmp_path / "wrecks.csv")]
    main(["audit", str(path), *asked])
    said = capsys.readouterr()
    assert "dive\N{REPLACEMENT CHARACTER}[2J\N{REPLACEMENT CHARACTER}x.recording" in said.out
    assert "\x1b" not in said.out and "\x1b[2J" not in said.err
    assert not [line for line in said.out.splitlines() if line.startswith("An outsider is left with 9 km2")]


@pytest.mark.parametrize("doing", ["Marr\x1b[2J\r", "laying [/nothing] on [bold]Marr"])
def test_progress_takes_any_name(
    doing: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither a control nor what rich takes for markup in the name of a chart does anything."""
    monkeypatch.setenv("FORCE_COLOR", "1")
    with _progress() as progress:
        progress(doing, 0.5)
    said = capsys.readouterr().err
    assert printable(doing)[:4] in said
    assert "Marr\x1b[2J" not in said
