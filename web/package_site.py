"""Carry the built page and the demo's recording in the wheel, so that nobody who installs it needs Node.

A hatchling build hook (hatch.pypa.io, "Custom build hook"). From a checkout it builds `web/dist` first; from an
sdist it takes the page that came with it. An editable install is left alone: it reads the checkout.
"""

import os
import subprocess
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

SITE_IN_WHEEL, SITE_IN_SDIST = "relay/site", "web/dist"
RECORDINGS_IN_WHEEL = "relay/recordings"


class PackagedSite(BuildHookInterface[Any]):
    """Puts `web/dist` where `relay.shell.site_files` looks first."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Add the built page to what is being built; raises when it can't be built."""
        if version == "editable":
            return
        root = Path(self.root)
        came_in_sdist = (root / "PKG-INFO").is_file()
        if not came_in_sdist:
            build_site(root / "web")
        folder = root / "web" / "dist"
        if not (folder / "index.html").is_file():
            raise FileNotFoundError("web/dist/index.html is missing: build the page with `make site`")
        inside = SITE_IN_WHEEL if self.target_name == "wheel" else SITE_IN_SDIST
        build_data["force_include"][str(folder)] = inside
        if self.target_name == "wheel":
            build_data["force_include"][str(root / "recordings")] = RECORDINGS_IN_WHEEL


def build_site(web: Path) -> None:
    """Build the page, fetching its locked packages first where they are missing."""
    commands = [["npm", "run", "--silent", "build", "--", "--logLevel", "warn"]]
    if not (web / "node_modules").is_dir():
        commands.insert(0, ["npm", "ci", "--no-audit", "--no-fund", "--loglevel=error"])
    for command in commands:
        subprocess.run(command, cwd=web, check=True, stdin=subprocess.DEVNULL, env={**os.environ, "CI": "1"})
