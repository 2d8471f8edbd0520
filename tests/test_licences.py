"""Licences of what ships: all known, none that asks more than Offing may be asked; another program reads them alike."""

import json
import re
import subprocess
import sys
from importlib.metadata import PathDistribution
from pathlib import Path

import pytest

from run_licences import CLASSIFIED, UNKNOWN, is_allowed, licence_of, needed, shipping

ROOT = Path(__file__).resolve().parents[1]
MIT = "The MIT License (MIT)\n\nCopyright (c) 2026 Somebody\n"


def test_everything_that_ships_may_ship() -> None:
    """Not one package of unknown licence, or of one that won't do; all that the lock has for running is looked at."""
    table = shipping()
    assert {} == {name: told for name, told in table.items() if not is_allowed(told[1])}
    lock = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    builds = {"editables", "hatchling", "packaging", "pathspec", "pluggy", "tomlkit", "trove-classifiers"}
    assert set(re.findall(r"^([a-z0-9-]+)==", lock, re.MULTILINE)) - builds <= table.keys()
    assert {"pymavlink", "scipy", "nats-py", "three (pages)"} <= table.keys()


def test_another_program_reads_the_same_licences() -> None:
    """`pip-licenses` finds them as they are here; of what has no metadata it knows nothing, and the text is read."""
    ours = {name: licence for name, (_, licence) in shipping().items() if "(pages)" not in name}
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


def test_what_is_needed_is_followed_to_its_end() -> None:
    """A need's need is there, by whatever spelling; an extra's isn't (pytest), nor what isn't installed."""
    found = needed({"Prometheus_Client", "cryptography", "no-such-package-at-all"})
    assert found.keys() - {"typing-extensions"} == {"prometheus-client", "cryptography", "cffi", "pycparser"}
