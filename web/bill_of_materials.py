"""Write what Offing is made of, as a CycloneDX 1.6 document: `bill_of_materials.py OUT.json`.

Rules: everything in it comes from the locks, and from the list of licences that `make licences` holds against what is
installed, so that the same files give the same bytes: no moment, no number drawn. What only an extra needs is marked
`optional`, what only builds the wheel `excluded`; of the pages' packages only those that go into the pages are told.
Fields are those of ECMA-424; package URLs those of the purl specification (types `pypi` and `npm`).
"""

import base64
import json
import re
import sys
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
LICENCES = "web/python-licences.json"


@dataclass
class Locked:
    """A package as a lock has it: `via` are those that need it."""

    name: str
    version: str
    hashes: list[str] = field(default_factory=list)
    via: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        hashes = "".join(f" \\\n    --hash=sha256:{digest}" for digest in self.hashes)
        return f"{self.name}=={self.version}{hashes}\n    # via {', '.join(self.via)}\n"


def python_packages(text: str) -> dict[str, Locked]:
    """Return what a lock of pip-compile pins, by name."""
    found: dict[str, Locked] = {}
    now: Locked | None = None
    for line in text.splitlines():
        if match := re.match(r"([a-z0-9-]+)==(\S+)", line):
            now = found[match[1]] = Locked(match[1], match[2])
        elif now is not None and (match := re.match(r"    --hash=sha256:([0-9a-f]{64})", line)):
            now.hashes.append(match[1])
        elif now is not None and (match := re.match(r"    #(?: via)? +(\S.*)", line)):
            now.via.append(match[1])
    return found


def closure(names: set[str], packages: dict[str, Locked]) -> set[str]:
    """Return packages, and all that they need."""
    needed = set(names)
    while more := {name for name, package in packages.items() if needed & set(package.via)} - needed:
        needed |= more
    return needed


def asked_for(root: Path) -> dict[str, set[str]]:
    """Return what Offing itself asks for, under "", and what each extra that ships does, by its name."""
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lists = {"": project["dependencies"], **project["optional-dependencies"]}
    return {
        extra: {re.split(r"[^A-Za-z0-9._-]", line)[0] for line in lines}
        for extra, lines in lists.items()
        if extra != "dev"
    }


def scopes(root: Path = ROOT) -> dict[str, tuple[Locked, str]]:
    """Return all that ships or builds what ships, each with its scope."""
    base = python_packages((root / "requirements.lock").read_text(encoding="utf-8"))
    tested = python_packages((root / "requirements-dev.lock").read_text(encoding="utf-8"))
    asked = asked_for(root)
    required = closure(asked[""], base)
    optional = closure(set().union(*asked.values()), tested) - required
    found = {**{name: tested[name] for name in optional}, **base}
    for name, package in found.items():
        package.via = tested[name].via  # it knows of the extras, too
    words = {**dict.fromkeys(optional, "optional"), **dict.fromkeys(required, "required")}
    return {name: (package, words.get(name, "excluded")) for name, package in sorted(found.items())}


def bill(root: Path = ROOT) -> dict[str, Any]:
    """Return the document of a checkout."""
    packages = scopes(root)
    lock = json.loads((root / "web" / "package-lock.json").read_text(encoding="utf-8"))["packages"]
    pages = {name.removeprefix("node_modules/"): told for name, told in lock.items() if name and "dev" not in told}
    ourselves = {**_ourselves(root), "licenses": _licences("Apache-2.0")}
    licences = json.loads((root / LICENCES).read_text(encoding="utf-8"))
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": ourselves},
        "components": [
            *(_of_python(package, scope, licences) for package, scope in packages.values()),
            *(_of_pages(name, told) for name, told in sorted(pages.items())),
        ],
        "dependencies": _edges(ourselves["bom-ref"], packages, pages, set().union(*asked_for(root).values())),
    }


def _ourselves(root: Path) -> dict[str, Any]:
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    said = re.search(r'__version__ = "([^"]+)"', (root / "relay" / "__init__.py").read_text(encoding="utf-8"))
    assert said is not None
    reference = f"pkg:pypi/{project['name']}@{said[1]}"
    return {
        "type": "application",
        "bom-ref": reference,
        "name": project["name"],
        "version": said[1],
        "purl": reference,
        "description": project["description"],
    }


def _reference(package: Locked) -> str:
    return f"pkg:pypi/{package.name}@{package.version}"


def _licences(expression: str) -> list[dict[str, Any]]:
    return [{"expression": expression} if " " in expression else {"license": {"id": expression}}]


def _of_python(package: Locked, scope: str, licences: dict[str, str]) -> dict[str, Any]:
    licence = licences.get(f"{package.name} {package.version}")
    if licence is None:
        sys.exit(f"{LICENCES} has no licence of {package.name} {package.version}: run make licences ARGS=--keep")
    return {
        "type": "library",
        "bom-ref": _reference(package),
        "name": package.name,
        "version": package.version,
        "scope": scope,
        "hashes": [{"alg": "SHA-256", "content": digest} for digest in package.hashes],
        "licenses": _licences(licence),
        "purl": _reference(package),
    }


def _page_reference(name: str, version: str) -> str:
    return f"pkg:npm/{name.replace('@', '%40')}@{version}"


def _of_pages(name: str, told: dict[str, Any]) -> dict[str, Any]:
    """Return a package of the pages; its digest is written in base64 there (Subresource Integrity, section 3.5)."""
    reference = _page_reference(name, told["version"])
    digest = base64.b64decode(told["integrity"].removeprefix("sha512-")).hex()
    return {
        "type": "library",
        "bom-ref": reference,
        "name": name,
        "version": told["version"],
        "scope": "required",
        "hashes": [{"alg": "SHA-512", "content": digest}],
        "licenses": _licences(told["license"]),
        "purl": reference,
    }


def _edges(
    ourselves: str, packages: dict[str, tuple[Locked, str]], pages: dict[str, Any], asked: set[str]
) -> list[dict[str, Any]]:
    """Return who needs whom; what builds Offing isn't needed by it."""
    needs: dict[str, list[str]] = {ourselves: [_page_reference(name, told["version"]) for name, told in pages.items()]}
    for name, (package, _) in packages.items():
        by = [_reference(packages[via][0]) for via in package.via if via in packages]
        for whose in [ourselves, *by] if name in asked else by:
            needs.setdefault(whose, []).append(_reference(package))
    return [{"ref": reference, "dependsOn": sorted(set(needed))} for reference, needed in sorted(needs.items())]


def written(root: Path = ROOT) -> str:
    """Return the document as text."""
    return json.dumps(bill(root), indent=1, sort_keys=True) + "\n"


if __name__ == "__main__":
    out = Path(sys.argv[1])
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(written(), encoding="utf-8")
