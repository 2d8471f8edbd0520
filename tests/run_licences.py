"""The licence of everything that ships, as its own metadata has it: `make licences`; 1 where one won't do.

What ships: all that an installed Offing needs, what its extras need besides, and what goes into the pages. Names of
licences are SPDX's. A licence that isn't known here, or asks more of Offing (Apache-2.0) than it may be asked, is
refused: copyleft over whatever is linked (GPL, AGPL). One over its own files alone (MPL), or over itself as a library
that can be exchanged (LGPL), is none such for a Python package that is installed beside; which may be is a judgement of
ours, no legal advice.
"""

import json
import re
import sys
import tomllib
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
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


def needed(names: set[str]) -> dict[str, Distribution]:
    """Return packages and all that they need here, by name; extras of theirs aside."""
    found: dict[str, Distribution] = {}
    waiting = list(names)
    while waiting:
        name = re.sub(r"[-_.]+", "-", waiting.pop()).lower()
        if name in found:
            continue
        try:
            found[name] = distribution(name)
        except PackageNotFoundError:
            continue  # of another system or Python
        waiting += [_name(line) for line in found[name].requires or [] if "extra ==" not in line]
    return found


def _name(requirement: str) -> str:
    return re.split(r"[^A-Za-z0-9._-]", requirement, maxsplit=1)[0]


def shipping() -> dict[str, tuple[str, str]]:
    """Return version and licence of all that ships, by name."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    asked = [*project["dependencies"], *(line for name, lines in extras.items() if name != "dev" for line in lines)]
    table = {name: (one.version, licence_of(one)) for name, one in needed({_name(line) for line in asked}).items()}
    lock = json.loads((ROOT / "web" / "package-lock.json").read_text(encoding="utf-8"))["packages"]
    for name, told in lock.items():
        if name and "dev" not in told:
            table[f"{name.removeprefix('node_modules/')} (pages)"] = (told["version"], told.get("license", UNKNOWN))
    return table


def main() -> int:
    """Print the table."""
    table = shipping()
    refused = [name for name, (_, licence) in table.items() if not is_allowed(licence)]
    for name, (version, licence) in sorted(table.items()):
        print(f"{name:28} {version:18} {licence}{'   <- will not do' if name in refused else ''}")
    print(f"{len(table)} packages, {len(refused)} refused")
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
