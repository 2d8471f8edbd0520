"""The whole circle by the commands: what the ship hands to an archaeologist comes back as she received it, and proved.

Read by other hands: the encrypted files by `pyrage` (age, C2SP), the GeoPackage by pyogrio (GDAL), the geodesic from
the vehicle to the target by geographiclib (Karney).
"""

import json
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic
from pyogrio.raw import read
from pyrage import decrypt, x25519
from shapely import from_wkb

from dives import SIGNER
from relay.__main__ import main
from sealed_dives import BOILER
from sealed_site import Site, make_site

ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True, slots=True)
class Hers:
    """The archaeologist's folder ashore, and the line that she sent to the ship."""

    folder: Path
    line: str

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run a command of hers as a process of its own, in her folder, with nothing of the ship's in reach."""
        command = [sys.executable, "-P", "-c", f"import sys; sys.path.insert(0, {str(ROOT)!r})\n" + _MAIN, *words]
        return subprocess.run(command, cwd=self.folder, capture_output=True, text=True, timeout=100, check=False)


_MAIN = "from relay.__main__ import main\nsys.exit(main(sys.argv[1:]))"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """A site after a dive, as the ship has it."""
    return make_site(tmp_path_factory.mktemp("ship") / "site")


@pytest.fixture(scope="module")
def hers(site: Site, tmp_path_factory: pytest.TempPathFactory) -> Hers:
    """What reached her: a recording that anybody has, an export and a proof, both encrypted to her."""
    folder = tmp_path_factory.mktemp("ashore")
    made = Hers(folder, "").run("identity", "my.key")
    assert made.returncode == 0, made.stderr
    line = re.findall(r"^age1\S+$", made.stdout, re.MULTILINE)[0]
    shutil.copy(site.recording(), folder / "dive-001.recording")
    expedition = str(site.expedition)
    export = ["journal", "export", expedition, "--format", "gpkg", "--out", str(folder / "dive-1.gpkg.age")]
    assert main([*export, "--to", line]) == 0
    prove = ["prove", expedition, "--target", "Boiler", "--audience", "public", "--out", str(folder / "boiler.age")]
    assert main([*prove, "--to", line]) == 0
    return Hers(folder, line)


def opened(hers: Hers, name: str, to: Path) -> Path:
    """Open a file with her key; return where it is."""
    done = hers.run("open", name, "--identity", "my.key", "--out", str(to))
    assert done.returncode == 0, done.stderr
    return to


def test_position_on_her_map_is_the_one_that_the_ship_sealed(site: Site, hers: Hers, tmp_path: Path) -> None:
    """Opened, checked and laid into a GIS: target, proof and the geodesic from where it was seen are one place."""
    gpkg, proof = opened(hers, "dive-1.gpkg.age", tmp_path / "1.gpkg"), opened(hers, "boiler.age", tmp_path / "b.proof")
    checked = hers.run("verify", str(proof), "dive-001.recording", "--key", SIGNER.key.hex())
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert checked.stdout.count("PROVED") >= 2
    told = re.search(r"so the target lies at: latitude (-?[\d.]+)\D+?longitude (-?[\d.]+)", checked.stdout)
    assert told is not None, checked.stdout
    meta, _, shapes, columns = read(gpkg, layer="targets")
    table = dict(zip(meta["fields"], columns, strict=True))
    at = [at for at, shape in enumerate(shapes) if shape is not None and table["name"][at] == "Boiler"]
    assert at and meta["crs"] == "EPSG:4326"
    point = from_wkb(shapes[at[0]])
    assert BOILER.seen_from is not None and BOILER.range_m is not None
    ship = BOILER.seen_from
    true = Geodesic.WGS84.Direct(
        ship.latitude_deg, ship.longitude_deg, ship.heading_deg + BOILER.bearing_deg, BOILER.range_m
    )
    assert (point.y, point.x) == pytest.approx((true["lat2"], true["lon2"]), abs=1e-9)
    assert (float(told[1]), float(told[2])) == pytest.approx((point.y, point.x), abs=1e-7)
    proved = {record["row"] for record in json.loads(proof.read_text())["records"]}
    assert {int(table["journal_row"][which]) for which in at} <= proved


def test_nothing_of_hers_is_readable_on_the_way(site: Site, hers: Hers, tmp_path: Path) -> None:
    """What travels opens with her key alone, by another program too, and a single altered byte refuses it whole."""
    key = next(line for line in (hers.folder / "my.key").read_text().splitlines() if line.startswith("AGE-SECRET"))
    for name in ("dive-1.gpkg.age", "boiler.age"):
        sent = (hers.folder / name).read_bytes()
        assert not any(text in sent for text in (b"Boiler", b"SQLite", b"-38.6"))
        assert decrypt(sent, [x25519.Identity.from_str(key)])
        (hers.folder / "altered.age").write_bytes(sent[:-40] + bytes([sent[-40] ^ 1]) + sent[-39:])
        refused = hers.run("open", "altered.age", "--identity", "my.key", "--out", str(tmp_path / "none"))
        assert refused.returncode == 2 and not (tmp_path / "none").exists()
