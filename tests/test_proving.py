"""`offing prove`: the circle from a site to somebody who has two files and no trust, and every way it is refused."""

import stat
from dataclasses import replace
from pathlib import Path

import pytest

from dives import SECOND, SIGNER, decided, in_order
from relay.__main__ import main
from relay.core.decision import read_decision
from relay.core.find import Find
from relay.core.proof import read_proof
from relay.core.wire import is_footer, objects
from relay.shell.record.journal import JournalFile
from sealed_site import Site, copied, make_site, site_rows

KEY = SIGNER.key.hex()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """A site after a dive."""
    return make_site(tmp_path_factory.mktemp("site") / "a")


@pytest.fixture
def site(made: Site, tmp_path: Path) -> Site:
    """A copy of it."""
    return copied(made, tmp_path / "site")


def prove(site: Site, out: Path | str, *more: str, audience: str = "public") -> int:
    """Run the command; a bare name is one in the private folder."""
    path = site.folder / "private" / out if isinstance(out, str) else out
    return main(["prove", str(site.expedition), "--audience", audience, "--out", str(path), *more])


def test_rows_and_a_target_are_proved_and_checked_with_the_two_files_alone(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both audiences; read by the owner alone; by the earliest seal over each."""
    for audience in ("public", "family"):
        out = site.folder / "private" / f"{audience}.proof"
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
    assert main(["verify", str(site.folder / "private" / "public.proof"), str(tmp_path / "family.recording")]) == 2


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
    site: Site, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], words: str
) -> None:
    """By what it was called; nothing is written."""
    assert prove(site, "x.proof", *more) == 2
    assert words in capsys.readouterr().err
    assert not (site.folder / "private" / "x.proof").exists()


def test_file_that_is_there_is_not_written_over_unless_that_is_meant(
    site: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --force it is; an audience that there isn't is told."""
    out = site.folder / "private" / "x.proof"
    out.write_text("mine")
    out.chmod(0o666)
    assert prove(site, out, "--record", "5") == 2
    assert "is there already" in capsys.readouterr().err
    assert out.read_text() == "mine"
    assert prove(site, out, "--record", "5", "--force") == 2
    assert "is no proof, and --force writes over none but one" in capsys.readouterr().err
    assert out.read_text() == "mine"
    out.write_bytes(b"{")
    assert prove(site, out, "--record", "5", "--force") == 0
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
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
        assert prove(later, "x.proof", "--record", str(row)) == 2
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
    assert prove(forged, "x.proof", "--record", "6") == 2
    assert "minute 0 of the journal doesn't have the root that was noted for it" in capsys.readouterr().err
    assert not (forged.folder / "private" / "x.proof").exists()
    assert prove(forged, "x.proof", "--record", "90") == 0


def test_site_without_a_journal_or_recordings_is_told(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing was received; nothing was released."""
    empty = tmp_path / "empty"
    (empty / "private").mkdir(parents=True)
    (empty / "EXPEDITION.toml").write_text(site.expedition.read_text())
    assert prove(Site(empty, ()), "x.proof", "--record", "5") == 2
    assert "nothing was received yet" in capsys.readouterr().err
    lost = copied(site, tmp_path / "lost")
    lost.recording().unlink()
    assert prove(lost, "x.proof", "--record", "5") == 2
    assert "has no recording: a proof leads to a seal" in capsys.readouterr().err


def test_proof_leaves_the_private_folder_encrypted_alone(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Plain it lies there; to somebody's key anywhere but where released things lie; a link is no way round."""
    public, link = site.folder / "released" / "public", site.folder / "released" / "public" / "r.proof"
    link.symlink_to("../../private/y.proof")
    recording = site.recording().read_bytes()
    for out, words in (
        (tmp_path / "x.proof", "exact positions leave that only encrypted"),
        (public / "x.proof", "where everything is public, and this is exact"),
        (link, "where everything is public, and this is exact"),
        (site.recording(), "where everything is public, and this is exact"),
        (site.journal, "is the name of a file of the site's own"),
    ):
        assert prove(site, out, "--record", "5", "--force") == 2
        assert words in capsys.readouterr().err
    assert site.recording().read_bytes() == recording
    key, locked, opened = tmp_path / "my.key", tmp_path / "x.proof.age", tmp_path / "x.proof"
    assert main(["identity", str(key)]) == 0
    line = next(word for word in capsys.readouterr().out.split() if word.startswith("age1"))
    assert prove(site, public / "x.age", "--record", "5", "--to", line) == 2
    assert prove(site, locked, "--record", "5", "--to", line) == 0
    assert "offing open PROOF.age --identity KEYFILE" in capsys.readouterr().err
    assert b"offing proof" not in locked.read_bytes()
    assert main(["open", str(locked), "--identity", str(key), "--out", str(opened)]) == 0
    assert main(["verify", str(opened), str(site.recording()), "--key", KEY]) == 0
    assert "PROVED: row 5" in capsys.readouterr().out
    assert prove(site, locked, "--record", "6", "--to", line, "--force") == 0
    assert prove(site, locked, "--record", "6", "--to", "age1nobody", "--force") == 2


def test_find_is_proved_by_its_name_to_the_one_who_asks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All that was recorded of it, and of no other; what is about no find isn't taken for it."""
    finds = [Find(name="Bell", what="a bell"), Find(name="Plate", what="a plate"), Find(name="Bell", depth_m=1120.5)]
    told = [decided(at * SECOND, find) for at, find in zip((75, 80, 135), finds, strict=True)]
    site = make_site(tmp_path / "found", tuple(in_order(site_rows(), told)))
    assert prove(site, "bell.proof", "--find", "Bell") == 0
    proof = site.folder / "private" / "bell.proof"
    names = [read_decision(proved.row.data) for proved in read_proof(proof.read_bytes()).records]
    assert [isinstance(find, Find) and find.name for find in names] == ["Bell", "Bell"]
    capsys.readouterr()
    assert main(["verify", str(proof), str(site.recording()), "--key", KEY]) == 0
    said = capsys.readouterr().out
    assert (said.count("PROVED: row"), "what: a bell" in said, "depth: 1120.5 m" in said) == (2, True, True)
    assert "Plate" not in said
    assert prove(site, "x.proof", "--find", "Boiler") == 2  # a target


def test_recording_with_its_end_goes_before_one_of_a_dive_under_way(
    site: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where only one under way seals all, the command that is printed takes it as it is."""
    whole = site.recording().read_bytes()
    ends = [end for value, _, end in objects(whole) if not is_footer(value)]
    site.recording().write_bytes(whole[: ends[-2]])
    assert prove(site, "x.proof", "--record", "5") == 0
    assert "dive-001.recording --key KEY --unfinished" in capsys.readouterr().err
    argument = [str(site.folder / "private" / "x.proof"), str(site.recording()), "--key", KEY]
    assert main(["verify", *argument]) == 2
    assert main(["verify", *argument, "--unfinished"]) == 0
    site.recording().write_bytes(whole)
    assert prove(site, "y.proof", "--record", "5") == 0
    assert "--unfinished" not in capsys.readouterr().err
