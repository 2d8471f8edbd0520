"""`offing journal export`, as a command: where a file may lie, to whom it is encrypted, what is chosen and refused."""

import json
import os
import sqlite3
import stat
import tracemalloc
import zipfile
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest
from pyrage import decrypt, x25519

from day_on_board import EXPEDITION
from exported_site import AGAIN, FOUND, LANTERN, SIGHTED, exported_site
from nmea_sentences import sentence
from record_site import FIX, Site, Told, moth
from relay.__main__ import main
from relay.core.decision import Begin, Decision, End, Target
from relay.core.find import FileReference
from relay.shell.exact.exporting import Format, export_record
from relay.shell.exact.tables import Choice
from relay.shell.exact.telling import Telling
from relay.shell.finds.find_files import keep_file
from relay.shell.record.whole_file import IN_THE_MAKING, left_behind


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Return the site."""
    return exported_site(tmp_path)


def export(site: Site, out: Path, *words: str, kind: str = "gpkg") -> int:
    """Export; return the command's code."""
    return main(["journal", "export", str(site.expedition.path), "--format", kind, "--out", str(out), *words])


def fixes(path: Path, where: str = "1") -> int:
    """Return how many reports an export has."""
    return int(sqlite3.connect(path).execute(f"SELECT count(*) FROM fixes WHERE {where}").fetchone()[0])


def test_plain_export_is_its_owners_alone(site: Site) -> None:
    """In the private folder it is written, whole, with mode 0600, whatever the mask says; and nothing else is left."""
    before = os.umask(0)
    try:
        assert export(site, site.private / "all.gpkg") == 0
    finally:
        os.umask(before)
    assert stat.S_IMODE((site.private / "all.gpkg").stat().st_mode) == 0o600
    assert left_behind(site.private) == []
    assert fixes(site.private / "all.gpkg") == 2 * LANTERN + 4


def test_plain_export_stays_in_the_private_folder(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Elsewhere it is refused, through a link or a path that climbs, too, with what to do; and nothing is written."""
    (site.private / "way").symlink_to(tmp_path)
    for out in (tmp_path / "all.gpkg", site.private / "way" / "all.gpkg", site.private / ".." / "all.gpkg"):
        assert export(site, out) == 2
        said = capsys.readouterr().err
        assert "only encrypted" in said and "--to" in said
    assert not (tmp_path / "all.gpkg").exists()


def test_encrypted_export_opens_for_whom_it_is(site: Site, tmp_path: Path) -> None:
    """Anywhere, encrypted: the plain bytes are nowhere on the way; the recipient's key gives a GeoPackage back."""
    reader = x25519.Identity.generate()
    out = tmp_path / "all.gpkg.age"
    assert export(site, out, "--to", str(reader.to_public())) == 0
    assert out.read_bytes().startswith(b"age-encryption.org/v1\n")
    assert b"SQLite" not in out.read_bytes() and b"Lantern" not in out.read_bytes()
    (tmp_path / "opened.gpkg").write_bytes(decrypt(out.read_bytes(), [reader]))
    assert fixes(tmp_path / "opened.gpkg") == 2 * LANTERN + 4
    assert left_behind(site.private) == []


def test_encrypted_export_says_so_by_its_name(site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An encrypted file under the name of a GeoPackage would be opened in vain: the name to give is told."""
    reader = x25519.Identity.generate()
    assert export(site, tmp_path / "all.gpkg", "--to", str(reader.to_public())) == 2
    assert f"--out {tmp_path / 'all.gpkg.age'}" in capsys.readouterr().err


def test_what_a_killed_command_left_is_told(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """An exact file that nobody finished is named, and stays: it may be another command's at work."""
    left = site.private / f"{IN_THE_MAKING}ab"
    left.write_bytes(b"exact")
    assert export(site, site.private / "all.gpkg") == 0
    assert f"{left}: left by a command" in capsys.readouterr().err
    assert left.read_bytes() == b"exact"


def test_nobody_is_no_recipient(site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line that is none is refused before anything is read, and nothing is written."""
    assert export(site, tmp_path / "x.age", "--to", "age1nobody") == 2
    assert "is nobody's line" in capsys.readouterr().err
    assert not (tmp_path / "x.age").exists()


def test_nothing_is_written_over(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """What is there stays as it is, and the message names it; a folder that isn't there is told."""
    there = site.private / "all.gpkg"
    there.write_bytes(b"mine")
    assert export(site, there) == 2
    assert "is there already" in capsys.readouterr().err
    assert there.read_bytes() == b"mine"
    assert export(site, site.private / "none" / "all.gpkg") == 2
    assert "is no folder" in capsys.readouterr().err


def test_dive_and_vehicle_are_chosen(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """Only what is of them is written, and what is of neither goes along; the answer counts it."""
    assert export(site, site.private / "moth.gpkg", "--vehicle", "Moth", "--dive", "1", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["rows"]["fixes"], told["rows"]["annotations"], told["encrypted"]) == (4, 1, False)
    assert fixes(site.private / "moth.gpkg", "vehicle = 'Moth' AND dive = 1") == 4
    assert export(site, site.private / "no.gpkg", "--dive", "2") == 2
    assert "the journal has dives 1 to 1" in capsys.readouterr().err
    assert export(site, site.private / "no.gpkg", "--vehicle", "Nobody") == 2
    assert "knows Lantern, Moth" in capsys.readouterr().err


def test_one_vehicle_takes_nothing_of_anothers_along(site: Site) -> None:
    """Of decisions only those on this vehicle go along, and those that begin and end dives; nor where the ship was."""
    assert export(site, site.private / "moth.gpkg", "--vehicle", "Moth") == 0
    database = sqlite3.connect(site.private / "moth.gpkg")
    assert database.execute("SELECT what FROM decisions").fetchall() == [("begin",), ("say",), ("target",), ("end",)]
    assert database.execute("SELECT name FROM targets").fetchall() == [("Contact 2",)]
    for table in ("finds", "ship"):
        assert database.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)


def test_position_has_the_newest_depth_beside_it(tmp_path: Path) -> None:
    """Positions and depths come in sentences of their own: each position is told with the depth before it.

    The deepest of the track is that of all its depths; and the export says how far the vehicle's clock was behind.
    """
    fix = "GPGGA,0123{:05.2f},3015.5000,S,17930.2500,E,1,09,0.9,0.0,M,0.0,M,,"
    sentences = [fix.format(1.0), "SDDPT,12.5,0.0", fix.format(2.0), fix.format(3.5), "SDDPT,80.0,0.0"]
    told = [(float(at), ("cable", sentence(one))) for at, one in enumerate(sentences, 1)]
    dived = [(at_s + 9.0, one) for at_s, one in told]
    site = Site(tmp_path, *told, (5.5, Begin()), *dived, text=EXPEDITION)
    assert export(site, site.private / "all.gpkg") == 0
    database = sqlite3.connect(site.private / "all.gpkg")
    columns = "latitude_deg, depth_m, newest_depth_m, newest_depth_age_s, newest_depth_row"
    rows = database.execute(f"SELECT {columns} FROM fixes WHERE journal_row BETWEEN 2 AND 4 ORDER BY journal_row")
    latitude_deg = -(30 + 15.5 / 60)
    assert [row[1:] for row in rows] == [(12.5, 12.5, 0.0, 2), (None, 12.5, 1.0, 2), (None, 12.5, 2.5, 2)]
    ((third,),) = database.execute("SELECT latitude_deg FROM fixes WHERE journal_row = 3")
    assert third == pytest.approx(latitude_deg, abs=1e-9)
    assert database.execute("SELECT deepest_m FROM tracks").fetchall() == [(80.0,)]
    ((behind,),) = database.execute("SELECT value FROM about WHERE what = 'clock of Moth in dive 1'")
    assert behind.endswith("s behind the ship's wall clock (median)")


def test_find_of_two_dives_is_whole_in_each(tmp_path: Path) -> None:
    """Recorded in the first dive, superseded in the second: both have it as found, as known now, and its target."""
    assert FOUND.place is not None
    first = Target(name="Contact 1", verdict="unchecked", vehicle="Lantern", sighting=SIGHTED)
    found = replace(FOUND, place=replace(FOUND.place, target="Contact 1", target_row=2))
    told: list[tuple[float, Told | Decision]] = [
        (1.0, Begin()),
        (2.0, first),
        (3.0, found),
        (9.0, End()),
        (20.0, Begin()),
        (21.0, replace(AGAIN, supersedes=3)),
        (30.0, End()),
    ]
    site = Site(tmp_path, *told, text=EXPEDITION)
    for dive in ("1", "2"):
        out = site.private / f"{dive}.gpkg"
        assert export(site, out, "--dive", dive) == 0
        database = sqlite3.connect(out)
        rows = {table: database.execute(f"SELECT journal_row FROM {table}").fetchall() for table in
                ("finds", "finds_as_found", "find_records", "targets")}  # fmt: skip
        assert rows == {"finds": [(6,)], "finds_as_found": [(3,)], "find_records": [(3,), (6,)], "targets": [(2,)]}


def test_files_of_finds_go_along(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A photograph that was kept is in the .zip by its digest, byte for byte; one that lacks is said."""
    (tmp_path / "IMG_2.jpg").write_bytes(b"a photograph")
    lacking = FOUND.photographs[0] if FOUND.photographs else None
    assert lacking is not None
    kept = FileReference("IMG_2.jpg", sha256(b"a photograph").hexdigest(), 12)
    (tmp_path / "site").mkdir()
    site = Site(tmp_path / "site", (1.0, replace(FOUND, photographs=(kept, lacking))), text=EXPEDITION)
    assert keep_file(site.private, tmp_path / "IMG_2.jpg") == kept
    assert export(site, site.private / "all.zip", "--with-files", kind="csv") == 0
    assert f"{lacking.name} isn't there" in capsys.readouterr().err
    with zipfile.ZipFile(site.private / "all.zip") as packed:
        there = [name for name in packed.namelist() if name.startswith("files/")]
        assert there == [f"files/{kept.sha256}.jpg"]
        assert packed.read(there[0]) == b"a photograph"
    assert export(site, site.private / "all.gpkg", "--with-files") == 2
    assert "take --format csv or geojson" in capsys.readouterr().err


def test_what_is_said_holds_no_position(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """The answer counts rows, and standard error says the stages and that the file is exact; neither tells a place."""
    assert export(site, site.private / "all.zip", kind="csv") == 0
    said = capsys.readouterr()
    assert "EXACT, PRIVATE" in said.err and "writing: Reports" in said.err
    assert not any(text in said.out + said.err for text in ("179", "-30", "30.2"))


def test_export_that_would_fill_the_disk_leaves_nothing(
    site: Site, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The journal's room is left to it: the export ends with a word and without a file."""
    monkeypatch.setattr("relay.shell.exact.exact_store.KEEP_FREE_BYTES", 1 << 62)
    assert export(site, site.private / "all.gpkg") == 2
    assert "Make room" in capsys.readouterr().err
    assert [path.name for path in site.private.iterdir() if path.name.endswith("gpkg")] == []
    assert left_behind(site.private) == []


def most_of(folder: Path, reports: int) -> int:
    """Return the most bytes that an export of so many reports has in Python's hands at once, less its track's."""
    folder.mkdir()
    told = [(10.0 + at / 10, moth(20.0, **FIX, t=4_000.0 + at / 10)) for at in range(reports)]
    site = Site(folder, *told)
    del told
    site.rows.clear()
    tracemalloc.start()
    try:
        counts = export_record(site.expedition, Format.GPKG, site.private / "all.gpkg", Choice(), [], Telling(None))
        return tracemalloc.get_traced_memory()[1] - 32 * reports
    finally:
        tracemalloc.stop()
        assert counts["fixes"] == reports


def test_memory_stays_where_it_is_however_long_the_journal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three times the reports take no more memory, but for the positions of the line that they make."""
    monkeypatch.setattr("relay.shell.exact.exact_store.GROUP", 100)
    monkeypatch.setattr("relay.shell.exact.gpkg.GROUP", 100)
    most_of(tmp_path / "first", 150)  # whatever is loaded and kept once
    short, long = most_of(tmp_path / "short", 600), most_of(tmp_path / "long", 1_800)
    assert long - short < 100_000  # a report in memory takes some 700 bytes: 1,200 would be 840,000
