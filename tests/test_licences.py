"""Licences of what ships: all known, none that asks more than Offing may be asked; another program reads them alike."""

import json
import re
import subprocess
import sys
from importlib.metadata import PathDistribution, version
from pathlib import Path

import pytest

from run_licences import CLASSIFIED, UNKNOWN, is_allowed, licence_of, main, of_pages, pinned, read

ROOT = Path(__file__).resolve().parents[1]
MIT = "The MIT License (MIT)\n\nCopyright (c) 2026 Somebody\n"


def test_everything_that_ships_may_ship() -> None:
    """Not one package of unknown licence, or of one that won't do; all that is pinned for running is looked at."""
    table, missing = read(pinned())
    assert missing == []
    assert {} == {name: told for name, told in {**table, **of_pages()}.items() if not is_allowed(told[1])}
    lock = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    assert set(re.findall(r"^([a-z0-9-]+)==", lock, re.MULTILINE)) <= table.keys()
    assert {"pymavlink", "scipy", "h5py", "nats-py"} <= table.keys()
    assert "three" in of_pages()


def test_list_that_the_bill_tells_is_what_is_installed(capsys: pytest.CaptureFixture[str]) -> None:
    """The kept list is the one that would be kept now, and the program ends with 0."""
    assert main([]) == 0
    assert capsys.readouterr().out.endswith(" 0 refused, 0 faults of the list\n")


def test_what_is_not_installed_is_named_and_fails(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A package that is missing, or there in another version, is said in words; the end is 1, and nothing is kept."""
    monkeypatch.setattr("run_licences.pinned", lambda: {"no-such-package-at-all": "1.0", "idna": "0.1"})
    kept = tmp_path / "kept.json"
    monkeypatch.setattr("run_licences.KEPT", kept)
    assert main(["--keep"]) == 1
    told = capsys.readouterr().out
    assert "no-such-package-at-all 1.0 is pinned, and not installed here" in told
    assert re.search(r"idna 0\.1 is pinned, and [\d.]+ is installed here", told)
    assert not kept.exists()


def test_list_that_has_changed_fails_until_it_is_kept(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Another list than the kept one ends with 1 and says how to keep it; kept, it ends with 0."""
    monkeypatch.setattr("run_licences.ROOT", tmp_path)
    monkeypatch.setattr("run_licences.KEPT", tmp_path / "kept.json")
    monkeypatch.setattr("run_licences.of_pages", dict)
    monkeypatch.setattr("run_licences.pinned", lambda: {"idna": version("idna")})
    (tmp_path / "kept.json").write_text("{}\n")
    assert [main([]), main(["--keep"]), main([])] == [1, 0, 0]
    assert "kept.json is another list: ARGS=--keep writes this one" in capsys.readouterr().out


def test_another_program_reads_the_same_licences() -> None:
    """`pip-licenses` finds them as they are here; of what has no metadata it knows nothing, and the text is read."""
    ours = {name: licence for name, (_, licence) in read(pinned())[0].items()}
    command = [sys.executable, "-m", "piplicenses", "--from=mixed", "--format=json", "--packages", *ours]
    told = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    theirs = {re.sub(r"[-_.]+", "-", one["Name"]).lower(): one["License"] for one in told}
    known = {name: {CLASSIFIED.get(part, part) for part in said.split("; ")} for name, said in theirs.items()}
    assert theirs.keys() == ours.keys()
    assert {name for name, said in known.items() if said != set(ours[name].split(" OR ")) and said != {ours[name]}} <= {
        "pyrage"
    }


@pytest.mark.parametrize(
    ("licence", "may"),
    [
        ("MIT", True),
        ("Apache-2.0 AND MIT", True),
        ("(MIT OR GPL-2.0-only)", True),
        ("MPL-2.0", True),
        ("GPL-3.0-or-later", False),
        ("AGPL-3.0-only", False),
        ("MIT AND GPL-2.0-only", False),
        ("MIT AND GPL-2.0-only OR AGPL-3.0-only", False),
        ("Proprietary", False),
        ("", False),
        (UNKNOWN, False),
    ],
)
def test_licence_that_will_do(licence: str, may: bool) -> None:
    """One of several by choice is enough; of several at once each must do; what isn't known won't."""
    assert is_allowed(licence) == may


@pytest.mark.parametrize(
    ("metadata", "text", "licence"),
    [
        ("License-Expression: ISC", MIT, "ISC"),
        ("Classifier: License :: OSI Approved :: MIT License\nLicense: see file", "", "MIT"),
        ("Classifier: License :: OSI Approved :: GNU General Public License v3 (GPLv3)", "", ""),
        ("License: Zlib", "", "Zlib"),
        ("License-File: LICENSE", MIT, "MIT"),
        ("License-File: LICENSE", "You may not use this.\n", UNKNOWN),
        ("", "", UNKNOWN),
    ],
)
def test_licence_is_read_from_what_a_package_says(metadata: str, text: str, licence: str, tmp_path: Path) -> None:
    """Expression first, then classifiers, the field, the text; a classifier that isn't known stands as it is."""
    folder = tmp_path / "invented-1.dist-info"
    folder.mkdir()
    (folder / "METADATA").write_text(f"Metadata-Version: 2.4\nName: invented\nVersion: 1\n{metadata}\n")
    if text:
        (folder / "LICENSE").write_text(text)
        (folder / "RECORD").write_text("invented-1.dist-info/LICENSE,,\n")
    found = licence_of(PathDistribution(folder))
    assert found == (licence or "GNU General Public License v3 (GPLv3)")
    assert is_allowed(found) == (licence not in ("", UNKNOWN))


def test_versions_are_compared_as_numbers() -> None:
    """What calls itself 4.004 is the 4.4 that is pinned (PEP 440), so its licence is read."""
    table, missing = read({"fontpkg-source-serif-4": pinned()["fontpkg-source-serif-4"]})
    assert (table.keys(), missing) == ({"fontpkg-source-serif-4"}, [])
