"""`offing prove`: the circle from a site to somebody who has two files and no trust, and every way it is refused."""

import stat
from dataclasses import replace
from pathlib import Path

import pytest

from dives import SIGNER
from relay.__main__ import main
from relay.core.proof import read_proof
from relay.shell.record.journal import JournalFile
from sealed_site import Site, copied, make_site

KEY = SIGNER.key.hex()


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """A site after a dive."""
    return make_site(tmp_path_factory.mktemp("site") / "a")


def prove(site: Site, out: Path, *more: str, audience: str = "public") -> int:
    """Run the command."""
    return main(["prove", str(site.expedition), "--audience", audience, "--out", str(out), *more])


def test_rows_and_a_target_are_proved_and_checked_with_the_two_files_alone(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both audiences; read by the owner alone; by the earliest seal over each."""
    for audience in ("public", "family"):
        out = tmp_path / f"{audience}.proof"
        assert prove(site, out, "--record", "5", "--record", "5", "--target", "Boiler", audience=audience) == 0
        assert "nothing of another" in capsys.readouterr().err
        assert stat.S_IMODE(out.stat().st_mode) == 0o600
        proof = read_proof(out.read_bytes())
        assert (proof.audience, proof.dive) == (audience, 1)
        assert [proved.row for proved in proof.records] == [site.rows[4], site.rows[39], site.rows[100]]
        assert [proved.sealed_by for proved in proof.records] == [21, 41, 59]
        ashore = tmp_path / f"{audience}.recording"
        ashore.write_bytes(site.recording(audience).read_bytes())
        assert main(["verify", str(out), str(ashore), "--key", KEY]) == 0
        said = capsys.readouterr().out
        assert said.count("PROVED: row") == 3
        assert "so the target lies at: latitude -38.61477" in said
    assert main(["verify", str(tmp_path / "public.proof"), str(tmp_path / "family.recording")]) == 2


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ((), "name what is to be proved: --record, --target or --find"),
        (("--record", "0"), "the journal has no row 0"),
        (("--record", "5", "--record", "900"), "the journal has no row 900: `offing journal export` tells"),
        (("--target", "boiler"), "the journal has no target 'boiler'"),
        (("--find", "Boiler"), "the journal has no find 'Boiler'"),
        (("--record", "5", "--dive", "7"), "has no recording of dive 7"),
    ],
)
def test_what_is_not_there_is_said(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], words: str
) -> None:
    """By what it was called; nothing is written."""
    assert prove(site, tmp_path / "x.proof", *more) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "x.proof").exists()


def test_file_that_is_there_is_not_written_over_unless_that_is_meant(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --force it is; an audience that there isn't is told."""
    out = tmp_path / "x.proof"
    out.write_text("mine")
    assert prove(site, out, "--record", "5") == 2
    assert "is there already" in capsys.readouterr().err
    assert out.read_text() == "mine"
    assert prove(site, out, "--record", "5", "--force") == 0
    assert prove(site, out, "--record", "5", audience="press") == 2
    assert "has no audience 'press'" in capsys.readouterr().err


def test_row_that_no_recording_seals_yet_is_told_with_its_minute(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One that came after the dive's last seal, and one of a minute that isn't over."""
    later = copied(site, tmp_path / "later")
    file = JournalFile(later.folder / "private")
    last = later.rows[-1]
    moments = enumerate((430_000_000, 490_000_000), last.seq + 1)
    file.commit([replace(last, seq=seq, embargo_us=moment_us) for seq, moment_us in moments], {})
    file._db.execute("DELETE FROM minute WHERE minute >= 7")
    file.close()
    for row, words in (
        (203, "row 203 is of minute 7 of the journal's clock"),
        (204, "row 204 is of a minute that isn't over"),
    ):
        assert prove(later, tmp_path / "x.proof", "--record", str(row)) == 2
        told = capsys.readouterr().err
        assert words in told
        assert "its seals reach up to the begin of minute 4" in told


def test_journal_that_was_altered_proves_nothing(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A row that was changed after it was sealed doesn't lead to the seal: no proof of it is written."""
    forged = copied(site, tmp_path / "forged")
    file = JournalFile(forged.folder / "private")
    file._db.execute("UPDATE row SET data = ? WHERE seq = 5", (b'{"vehicle": "Lantern"}\n',))
    file.close()
    assert prove(forged, tmp_path / "x.proof", "--record", "6") == 2
    assert "minute 0 of the journal doesn't have the root that was noted for it" in capsys.readouterr().err
    assert not (tmp_path / "x.proof").exists()
    assert prove(forged, tmp_path / "x.proof", "--record", "90") == 0


def test_site_without_a_journal_or_recordings_is_told(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing was received; nothing was released."""
    empty = tmp_path / "empty"
    empty.mkdir()
    (empty / "EXPEDITION.toml").write_text(site.expedition.read_text())
    assert prove(Site(empty, ()), tmp_path / "x.proof", "--record", "5") == 2
    assert "nothing was received yet" in capsys.readouterr().err
    lost = copied(site, tmp_path / "lost")
    lost.recording().unlink()
    assert prove(lost, tmp_path / "x.proof", "--record", "5") == 2
    assert "has no recording: a proof leads to a seal" in capsys.readouterr().err
