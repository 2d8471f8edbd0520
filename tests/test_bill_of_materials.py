"""The bill of materials: a CycloneDX document by the schema itself, of what two other programs read from the locks."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
EXTRAS = ("requirements-audit.lock", "requirements-mavlink.lock", "requirements-scale.lock")


def bill(out: Path, root: Path = ROOT) -> str:
    """Return the bill that a checkout writes."""
    subprocess.run([sys.executable, root / "web" / "bill_of_materials.py", out], check=True)
    return out.read_text(encoding="utf-8")


def copied(folder: Path) -> Path:
    """Return a folder that holds what the bill is made of, and its program."""
    sources = "pyproject.toml relay/__init__.py web/package-lock.json web/python-licences.json web/bill_of_materials.py"
    for name in ("requirements.lock", "requirements-dev.lock", *sources.split()):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, folder / name)
    return folder


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Return the bill of this checkout."""
    document: dict[str, Any] = json.loads(bill(tmp_path_factory.mktemp("bill") / "offing.cdx.json"))
    return document


def versions(document: dict[str, Any], kind: str) -> dict[str, tuple[str, set[str]]]:
    """Return version and digests of each component whose package URL is of a kind."""
    found = [each for each in document["components"] if each["purl"].startswith(f"pkg:{kind}/")]
    return {each["name"]: (each["version"], digests(each)) for each in found}


def digests(component: dict[str, Any]) -> set[str]:
    """Return all digests that are told of a component, wherever."""
    return set(re.findall(r'"content": "([0-9a-f]{64,})"', json.dumps(component)))


def test_bill_is_what_its_schema_says(told: dict[str, Any]) -> None:
    """CycloneDX's own library finds nothing wrong with it; and something in one without a version."""
    from cyclonedx.schema import SchemaVersion  # heavy imports, for those alone that need them
    from cyclonedx.validation.json import JsonStrictValidator

    validator = JsonStrictValidator(SchemaVersion.V1_6)
    assert validator.validate_str(json.dumps(told)) is None
    assert validator.validate_str(json.dumps({**told, "components": [{"type": "library"}]})) is not None


def test_python_packages_are_those_that_cyclonedx_reads(told: dict[str, Any]) -> None:
    """CycloneDX's own reader of requirements finds the same packages, versions and digests in the locks that ship.

    What it writes of them is told to nobody, and so not held to its schema: that takes most of its time.
    """
    read = {}
    for lock in ("requirements.lock", *EXTRAS):
        command = [sys.executable, "-m", "cyclonedx_py", "requirements", lock, "--output-reproducible", "--no-validate"]
        out = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
        read.update(versions(json.loads(out), "pypi"))
    assert read == versions(told, "pypi")
    assert len(read) > 50


@pytest.mark.skipif(shutil.which("npm") is None, reason="there is no npm here")
def test_packages_of_the_pages_are_those_that_npm_reads(told: dict[str, Any]) -> None:
    """Npm's own bill of the lock, without what only develops, has the same packages, versions and digests."""
    command = "npm sbom --omit dev --package-lock-only --sbom-format cyclonedx".split()
    read = subprocess.run(command, cwd=ROOT / "web", check=True, capture_output=True, text=True).stdout
    assert versions(json.loads(read), "npm") == versions(told, "npm")


def test_what_only_builds_is_told_apart(told: dict[str, Any]) -> None:
    """Hatchling and what it needs are excluded, what only an extra needs is optional, the rest is required.

    All that isn't excluded is reached from Offing, and nothing else.
    """
    scopes = {each["name"]: each["scope"] for each in told["components"]}
    assert {scopes[name] for name in ("hatchling", "editables", "pathspec")} == {"excluded"}
    assert {scopes[name] for name in ("aiohttp", "pycparser", "certifi", "numpy", "three")} == {"required"}
    optional = ("scipy", "h5py", "h5netcdf", "matplotlib", "packaging", "pymavlink", "lxml", "nats-py")
    assert {scopes[name] for name in optional} == {"optional"}
    needs = {edge["ref"]: edge["dependsOn"] for edge in told["dependencies"]}
    reached, new = set[str](), {told["metadata"]["component"]["bom-ref"]}
    while new:
        reached |= new
        new = {need for one in new for need in needs.get(one, [])} - reached
    running = {each["bom-ref"] for each in told["components"] if each["scope"] != "excluded"}
    assert reached - {told["metadata"]["component"]["bom-ref"]} == running


def test_each_component_tells_its_licence(told: dict[str, Any]) -> None:
    """One name of SPDX, or an expression of several, as the package's own metadata has it."""
    licences = {each["name"]: each["licenses"] for each in told["components"]}
    assert [{"license": {"id": "Apache-2.0"}}] == licences["nats-py"]
    assert [{"expression": "Apache-2.0 AND MIT"}] == licences["aiohttp"]
    assert all(len(said) == 1 for said in licences.values())


def test_package_without_a_licence_makes_no_bill(tmp_path: Path) -> None:
    """A lock that was chosen anew asks for its licences first."""
    copy = copied(tmp_path / "elsewhere")
    lock = copy / "requirements.lock"
    lock.write_text(re.sub(r"aiohttp==\S+", "aiohttp==0.0.1", lock.read_text()))
    command = [sys.executable, copy / "web" / "bill_of_materials.py", tmp_path / "bill.json"]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    assert (done.returncode, (tmp_path / "bill.json").exists()) == (1, False)
    assert "no licence of aiohttp 0.0.1: run make licences ARGS=--keep" in done.stderr


def test_bill_is_the_same_wherever_and_whenever(tmp_path: Path) -> None:
    """A copy of the locks in another folder gives the same bytes; another lock gives others."""
    copy = copied(tmp_path / "elsewhere")
    here = bill(tmp_path / "here.json")
    assert bill(tmp_path / "there.json", copy) == here
    lock = copy / "requirements.lock"
    lock.write_text(lock.read_text().replace("sha256:0", "sha256:1", 1))
    assert bill(tmp_path / "other.json", copy) != here
