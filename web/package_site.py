"""Carry the built pages, the demo's recording and the bill of materials in the wheel.

So nobody who installs it needs Node, and who audits it finds what it is made of beside its metadata (PEP 770).

A hatchling build hook (hatch.pypa.io, "Custom build hook"). From a checkout it builds the followers' page and the
desk's first; from an sdist it takes those that came with it. An editable install is left alone: it reads the checkout.
"""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

PAGES = {"web/dist": "relay/site", "web/dist-desk": "relay/desk_site"}  # where each is built, where the wheel has it
RECORDINGS_IN_WHEEL = "relay/recordings"
BILL = "build/offing.cdx.json"


class PackagedSite(BuildHookInterface[Any]):
    """Puts the built pages where `relay.shell.site.site_files` looks first."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Add the built pages to what is being built; raises when they can't be built."""
        if version == "editable":
            return
        root = Path(self.root)
        came_in_sdist = (root / "PKG-INFO").is_file()
        if not came_in_sdist:
            build_site(root / "web")
        for built, in_wheel in PAGES.items():
            if not (root / built / "index.html").is_file():
                raise FileNotFoundError(f"{built}/index.html is missing: build the pages with `make site`")
            build_data["force_include"][str(root / built)] = in_wheel if self.target_name == "wheel" else built
        if self.target_name == "wheel":
            build_data["force_include"][str(root / "recordings")] = RECORDINGS_IN_WHEEL
            subprocess.run([sys.executable, "web/bill_of_materials.py", BILL], cwd=root, check=True)
            build_data["sbom_files"].append(BILL)


def build_site(web: Path) -> None:
    """Build the pages, fetching its locked packages first where they are missing."""
    commands = [["npm", "run", "--silent", "build", "--", "--logLevel", "warn"]]
    if not (web / "node_modules").is_dir():
        commands.insert(0, ["npm", "ci", "--no-audit", "--no-fund", "--loglevel=error"])
    for command in commands:
        subprocess.run(command, cwd=web, check=True, stdin=subprocess.DEVNULL, env={**os.environ, "CI": "1"})
