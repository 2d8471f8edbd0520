"""`offing advise` from its arguments to the changed file, on an invented chart."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from expeditions import RIGHT
from relay.__main__ import main
from relay.audit.advising.settings import settings_of
from relay.core.errors import OperatorError
from relay.shell.audit.advise_dive import read_dive
from relay.shell.audit.advise_run import chosen_policy, promised_km2
from relay.shell.plan.expedition import parse_expedition, read_expedition
from relay.shell.record.secrets_file import seeded_secrets
from relay.shell.ship.audit_result import read_results
from relay.shell.ship.rehearse import rehearse

AREA = (
    '\n[area]\nname = "The inner bank"\ncentre = [-29.4, -22.7]\nradius = "9 km"\n\n[audit]\ncharts = ["chart.csv"]\n'
)
FEW = ["--sites", "20", "--fresh", "20", "--most", "4", "--turns", "4"]


@pytest.fixture
def expedition(tmp_path: Path) -> Path:
    """Return an expedition file with a declared area, beside a chart of it: a slope with knolls."""
    latitude, longitude = -29.55 + 0.01 * np.arange(31), -22.85 + 0.01 * np.arange(31)
    up, across = np.meshgrid(np.arange(31), np.arange(31), indexing="ij")
    elevation = -(120 + 6 * up + 30 * np.sin(across / 3) + 10 * np.cos(up / 2 + across / 5))
    rows = ["lat\\lon," + ",".join(f"{value:.4f}" for value in longitude)]
    rows += [
        f"{lat:.4f}," + ",".join(f"{value:.1f}" for value in row) for lat, row in zip(latitude, elevation, strict=True)
    ]
    (tmp_path / "chart.csv").write_text("\n".join(rows) + "\n")
    path = tmp_path / "expedition.toml"
    path.write_text(RIGHT + AREA)
    return path


def _rehearsed(expedition: Path) -> Path:
    """Return the folder of a rehearsal of a short dive along a line."""
    lines = expedition.parent / "dive.jsonl"
    with lines.open("w") as file:
        for at in range(0, 1_200, 5):
            east, depth = max(0, at - 300) * 0.4, min(at * 0.5, 100.0)
            told = {"t": at, "vehicle": "Lantern", "depth_m": depth, "altitude_m": 103 - depth}
            place = {"latitude_deg": -29.4, "longitude_deg": -22.7 + east / 97_000}
            file.write(json.dumps(told | place) + "\n")
    out = expedition.parent / "out"
    rehearse(read_expedition(expedition).plan, seeded_secrets(1), [f"station={lines}"], out)
    return out


def test_advice_is_printed_drawn_and_written(expedition: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is advised is told, drawn, put into the file after a copy, and kept for `offing ship` with its audit."""
    picture = expedition.parent / "trade.png"
    before = expedition.read_text()
    words = ["advise", str(expedition), "--audience", "public", "--promise", "20 km2", *FEW, "--picture", str(picture)]
    words += ["--dive", str(_rehearsed(expedition) / "released/public/dive-001.recording")]
    assert main([*words, "--write", "--who", "Ada"]) == 0
    told = capsys.readouterr().out
    assert "These settings keep 20 km2 for public" in told and "ADVISED: " in told
    assert "Detail counts doublings" in told and "offing audit" in told
    with Image.open(picture) as image:
        assert image.size[0] > 800 and np.unique(np.asarray(image.convert("L"))).size > 20
    after = read_expedition(expedition)
    assert after.audit.promises == {"public": 20.0}
    assert (expedition.parent / "expedition.toml.before").read_text() == before
    policy = after.plan.policies[0]
    assert settings_of(policy) != settings_of(parse_expedition(before, expedition).plan.policies[0])
    for line in told.splitlines():
        if line.startswith("+") and "=" in line and not line.startswith("+++"):
            key = line[1:].partition("=")[0].strip()
            assert key in tomllib.loads(expedition.read_text())["audience"][0]
    kept = read_results(after.private)["public"]
    assert kept.who == "Ada" and kept.found.sites == 20 and kept.promise_km2 == 20
    assert oct((after.private / "audit.json").stat().st_mode)[-3:] == "600"


def test_promise_that_cannot_be_kept_changes_nothing(expedition: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It ends with 2, says the largest promise there is room for, and leaves the file as it was."""
    before = expedition.read_bytes()
    words = ["advise", str(expedition), "--audience", "public", "--promise", "5000 km2", *FEW, "--write"]
    words += ["--dive", str(_rehearsed(expedition) / "released/public/dive-001.recording")]
    assert main(words) == 2
    told = " ".join(capsys.readouterr().out.split())
    assert "No settings keep 5000 km2 for public" in told and "largest promise" in told
    assert expedition.read_bytes() == before
    assert not (expedition.parent / "expedition.toml.before").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--audience", "nobody", "--promise", "1 km2"], "--audience nobody"),
        (["--audience", "public"], '--promise "87 km2"'),
        (["--audience", "public", "--promise", "much"], "--promise: 'much' is not an area"),
        (["--promise", "1 km2"], "say whose policy: --audience, one of public, family"),
        (["--audience", "public", "--promise", "1 km2", "--sites", "3"], "--sites 3: from 20"),
        (["--audience", "public", "--promise", "1 km2", "--picture", "trade.gif"], "ends in .png or .svg"),
        (["--audience", "public", "--promise", "1 km2", "--dive", "gone.recording"], "gone.recording"),
        (["--audience", "public", "--promise", "1 km2", "--chart", "gone.csv"], "gone.csv"),
    ],
)
def test_what_is_wrong_is_said_before_anything_is_tried(
    expedition: Path, capsys: pytest.CaptureFixture[str], words: list[str], says: str
) -> None:
    """An argument that can't be meant ends with 2 and a message that names it."""
    assert main(["advise", str(expedition), *words]) == 2
    captured = capsys.readouterr()
    assert says in captured.err and captured.out == ""


def test_exact_places_have_no_advice(expedition: Path) -> None:
    """Who is told where the dive is can't be left anything to search."""
    text = expedition.read_text().replace('name = "family"', 'name = "family"\npreset = "heritage"')
    with pytest.raises(OperatorError, match="no settings leave anything to search"):
        chosen_policy(parse_expedition(text, expedition), "family")


def test_promise_of_the_file_is_the_default(expedition: Path) -> None:
    """The audience with a promise is the one that is meant, and its promise is kept."""
    text = expedition.read_text().replace('name = "public"', 'name = "public"\npromise = "30 km2"')
    read = parse_expedition(text, expedition)
    policy = chosen_policy(read, None)
    assert (policy.audience, promised_km2(read, policy, None)) == ("public", 30.0)
    assert promised_km2(read, policy, "12 km2") == 12.0


def test_dive_of_a_journal_and_of_its_recording_have_one_shape(expedition: Path, tmp_path: Path) -> None:
    """The journal of a rehearsal gives the way that its recording shows, more finely, and leaves nothing behind."""
    read, out = read_expedition(expedition), _rehearsed(expedition)
    before = set(tmp_path.iterdir())
    journal = read_dive(out / "private" / "journal.db", read)
    shown = read_dive(out / "released" / "public" / "dive-001.recording", read)
    assert set(tmp_path.iterdir()) == before
    assert journal.reach_m == pytest.approx(0.4 * 900, abs=10)
    assert shown.reach_m == pytest.approx(journal.reach_m, abs=50)
    assert len(journal.t_s) > 2 * len(shown.t_s)
