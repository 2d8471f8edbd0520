"""The files of finds handed over with an export: byte for byte by their digest, and what lacks is said."""

import zipfile
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest

from day_on_board import EXPEDITION
from exported_site import FOUND
from record_site import Site
from relay.core.find import FileReference
from relay.shell.finds.find_files import keep_file
from test_exporting import export


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
