"""The licence of everything that ships, as its own metadata has it: `make licences`; 1 where one won't do.

What ships: all that the locks pin for an installed Offing and for its extras, what builds it, and what goes into the
pages. What is pinned and isn't installed here, or is of another version, can't be looked at: it is named, and the end
is 1, too. The list is kept beside the bill of materials, which tells it; where it has changed, `--keep` writes it anew.

Names of licences are SPDX's. A licence that isn't known here, or asks more of Offing (Apache-2.0) than it may be
asked, is refused: copyleft over whatever is linked (GPL, AGPL). One over its own files alone (MPL), or over itself as a
library that can be exchanged (LGPL), is none such for a Python package that is installed beside; which may be is a
judgement of ours, no legal advice.
"""

import json
import re
import sys
import tomllib
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
KEPT = ROOT / "web" / "python-licences.json"
PERMISSIVE = set("0BSD Apache-2.0 BSD-2-Clause BSD-3-Clause CC0-1.0 ISC MIT MIT-0 MIT-CMU OFL-1.1 PSF-2.0 Zlib".split())
ITS_OWN_FILES = {"MPL-2.0", "LGPL-3.0-only"}
ALLOWED = PERMISSIVE | ITS_OWN_FILES
CLASSIFIED = {
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD-3-Clause",
    "GNU Lesser General Public License v3 (LGPLv3)": "LGPL-3.0-only",
    "MIT License": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Python Software Foundation License": "PSF-2.0",
}
BEGINS = {"The MIT License (MIT)": "MIT", "MIT License": "MIT"}
UNKNOWN = "unknown"


def licence_of(found: Distribution) -> str:
    """Return a distribution's licence: its expression (PEP 639), classifiers, field, or the file that comes with it."""
    told = found.metadata
    if expression := told.get("License-Expression"):
        return expression
    classified = [
        each.rpartition(" :: ")[2] for each in told.get_all("Classifier", []) if each.startswith("License ::")
    ]
    if known := [CLASSIFIED.get(each, each) for each in classified if each != "OSI Approved"]:
        return " OR ".join(known)
    if (said := (told.get("License") or "").strip()) and "\n" not in said:
        return said
    texts = [path for path in found.files or [] if path.name.upper().startswith(("LICENSE", "LICENCE", "COPYING"))]
    firsts = {path.locate().read_text(encoding="utf-8").strip().splitlines()[0] for path in texts}
    return " AND ".join(sorted(BEGINS.get(first, UNKNOWN) for first in firsts)) or UNKNOWN


def is_allowed(expression: str) -> bool:
    """Whether a licence will do: all that are joined by AND, and any that are joined by OR."""
    either = re.split(r"\s+OR\s+", re.sub(r"[()]", "", expression))
    return any(all(part.strip() in ALLOWED for part in re.split(r"\s+AND\s+", each)) for each in either)


def pinned() -> dict[str, str]:
    """Return the version of all that is pinned and ships, or builds what ships, by name."""
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    locks = ["requirements.lock", *(f"requirements-{extra}.lock" for extra in extras if extra != "dev")]
    texts = [(ROOT / lock).read_text(encoding="utf-8") for lock in locks]
    return dict(re.findall(r"^([a-z0-9-]+)==(\S+)", "\n".join(texts), re.MULTILINE))


def _plain(version: str) -> str:
    """Return a version with its numbers as PEP 440 compares them: 4.004 is 4.4."""
    return re.sub(r"(?<!\d)0+(?=\d)", "", version)


def read(versions: dict[str, str]) -> tuple[dict[str, tuple[str, str]], list[str]]:
    """Return version and licence of what is installed as it is pinned, by name, and in words what isn't."""
    table, missing = {}, []
    for name, version in versions.items():
        try:
            found = distribution(name)
        except PackageNotFoundError:
            missing.append(f"{name} {version} is pinned, and not installed here")
            continue
        if _plain(found.version) == _plain(version):
            table[name] = (version, licence_of(found))
        else:
            missing.append(f"{name} {version} is pinned, and {found.version} is installed here")
    return table, missing


def of_pages() -> dict[str, tuple[str, str]]:
    """Return version and licence of all that goes into the pages, as their lock has it."""
    lock = json.loads((ROOT / "web" / "package-lock.json").read_text(encoding="utf-8"))["packages"]
    return {
        name.removeprefix("node_modules/"): (told["version"], told.get("license", UNKNOWN))
        for name, told in lock.items()
        if name and "dev" not in told
    }


def as_kept(table: dict[str, tuple[str, str]]) -> str:
    """Return the text of the list that the bill of materials reads."""
    licences = {f"{name} {version}": licence for name, (version, licence) in sorted(table.items())}
    return json.dumps(licences, indent=1) + "\n"


def main(arguments: list[str]) -> int:
    """Print the table, and what is wrong with it."""
    table, wrong = read(pinned())
    if arguments == ["--keep"] and not wrong:
        KEPT.write_text(as_kept(table), encoding="utf-8")
    if not wrong and KEPT.read_text(encoding="utf-8") != as_kept(table):
        wrong.append(f"{KEPT.relative_to(ROOT)} is another list: ARGS=--keep writes this one")
    everything = {**table, **{f"{name} (pages)": told for name, told in of_pages().items()}}
    refused = [name for name, (_, licence) in everything.items() if not is_allowed(licence)]
    for name, (version, licence) in sorted(everything.items()):
        print(f"{name:28} {version:18} {licence}{'   <- will not do' if name in refused else ''}")
    print("\n".join([*wrong, f"{len(everything)} packages, {len(refused)} refused, {len(wrong)} faults of the list"]))
    return 1 if refused or wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
