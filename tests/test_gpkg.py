"""The GeoPackage of an export, read back by other hands: pyogrio (GDAL's reader) and Debian's GDAL, and validated.

Sources: OGC 12-128r17 as GDAL's validate_gpkg.py (MIT, Debian's python3-gdal) checks it requirement by requirement;
WKB by shapely (GEOS); geodesics by geographiclib (Karney).
"""

import re
import shutil
import sqlite3
import subprocess
from pathlib import Path
from typing import Any

import pyogrio
import pytest
from geographiclib.geodesic import Geodesic
from pyogrio.raw import read
from shapely import from_wkb, is_valid, is_valid_reason

from exported_site import AREA, FOUND, LANTERN, SIGHTED, exported_site, lantern
from record_site import Site
from relay.__main__ import main

VALIDATOR = Path("/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py")
SPATIAL = {
    "tracks": "MultiLineString", "fixes": "Point", "ship": "Point", "annotations": "Point", "targets": "Point",
    "target_ellipses": "MultiPolygon", "finds": "Point", "finds_as_found": "Point", "find_records": "Point",
    "find_ellipses": "MultiPolygon", "find_drawings": "Unknown",
}  # fmt: skip
ROWS = {"dives": 1, "tracks": 2, "fixes": 2 * LANTERN + 4, "annotations": 2, "targets": 3, "target_ellipses": 1,
        "finds": 1, "finds_as_found": 1, "find_records": 2, "find_ellipses": 1, "find_drawings": 2,
        "find_photographs": 2, "decisions": 9, "recovered_logs": 1, "feeds": 5, "ship": 1}  # fmt: skip


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Return the site, with its export in the private folder."""
    there = exported_site(tmp_path_factory.mktemp("site"))
    path = there.private / "all.gpkg"
    words = ["journal", "export", str(there.expedition.path), "--format", "gpkg", "--out", str(path)]
    assert main(words) == 0
    return there


def path_of(site: Site) -> Path:
    """Return where the export lies."""
    return site.private / "all.gpkg"


def columns(site: Site, layer: str) -> tuple[dict[str, Any], list[Any]]:
    """Return the columns of a layer by name, and its shapes."""
    meta, _, shapes, values = read(path_of(site), layer=layer)
    drawn = [] if shapes is None else [None if wkb is None else from_wkb(wkb) for wkb in shapes]
    return {name: list(column) for name, column in zip(meta["fields"], values, strict=True)}, drawn


def test_every_layer_is_read_with_its_shape_count_and_reference_system(site: Site) -> None:
    """By pyogrio: the layers there should be, each of its kind, in EPSG:4326, with as many rows as were put in."""
    kinds = dict(pyogrio.list_layers(path_of(site)))
    assert {name: kind for name, kind in kinds.items() if kind is not None} == SPATIAL
    told = {name: pyogrio.read_info(path_of(site), layer=name, force_feature_count=True) for name in kinds}
    assert {name: told[name]["features"] for name in ROWS} == ROWS
    assert {told[name]["crs"] for name in SPATIAL} == {"EPSG:4326"}


def test_coordinates_are_those_that_were_received(site: Site) -> None:
    """Each position comes back within 1e-9 degrees of the number that the station sent, as point and as columns."""
    known, shapes = columns(site, "fixes")
    mine = [at for at, feed in enumerate(known["feed"]) if feed == "main"]
    assert len(mine) == LANTERN
    for second, at in enumerate(mine, 10):
        sent = lantern(second)
        place = sent["longitude_deg"], sent["latitude_deg"]
        assert (shapes[at].x, shapes[at].y) == pytest.approx(place, abs=1e-9)
        assert (known["longitude_deg"][at], known["latitude_deg"][at]) == pytest.approx(place, abs=1e-9)
        assert (known["depth_m"][at], known["heading_deg"][at]) == (sent["depth_m"], sent["heading_deg"])
        assert known["time_unix_s"][at] == sent["t"]
        assert known["time"][at].astype("datetime64[ms]").astype(int) == sent["t"] * 1_000


def test_every_value_tells_where_it_came_from(site: Site) -> None:
    """Feed, station, journal row, both clocks; what stands of two alike; the log by its number and digest."""
    known, _ = columns(site, "fixes")
    main_at = known["feed"].index("main")
    assert known["station"][main_at] == "primary, standby standby"
    assert (known["journal_row"][main_at], known["embargo_us"][main_at]) == (11, 10_020_000)
    assert [known["stands"][at] for at, feed in enumerate(known["feed"]) if feed == "standby"] == ["none"] * LANTERN
    assert {known["counts"][at] for at, feed in enumerate(known["feed"]) if feed == "main"} == {True}
    assert [known["origin"].count(origin) for origin in ("live", "log")] == [2 * LANTERN + 2, 2]
    logs, _ = columns(site, "recovered_logs")
    digests = sqlite3.connect(site.private / "recovered.db").execute("SELECT sha256 FROM log").fetchall()
    assert [(digest,) for digest in logs["sha256"]] == digests


def test_ship_herself_is_there(site: Site) -> None:
    """What her own feed told of her is a layer of its own, with its row, and is no vehicle's."""
    told, (point,) = columns(site, "ship")
    assert (point.y, point.x) == (-30.25, 179.5)
    assert (told["feed"], told["journal_row"]) == (["bridge"], [len(site.rows) - 1])
    feeds, _ = columns(site, "feeds")
    at = feeds["feed"].index("bridge")
    assert (feeds["reports"][at], feeds["others"][at]) == (1, 0)


def test_track_is_cut_at_the_antimeridian(site: Site) -> None:
    """The line has every position of its station once, in two parts that end at 180 degrees east and west."""
    known, (track, other) = columns(site, "tracks")
    assert (known["vehicle"], known["positions"]) == (["Lantern", "Moth"], [LANTERN, 3])
    assert len(other.geoms) == 2  # a fix at 179.5 east, and the log at 179.5 west
    first, second = track.geoms
    assert (first.coords[-1][0], second.coords[0][0]) == (180.0, -180.0)
    assert first.coords[-1][1] == second.coords[0][1]
    sent = [(lantern(at)["longitude_deg"], lantern(at)["latitude_deg"]) for at in range(10, 10 + LANTERN)]
    for there, place in zip([*first.coords[:-1], *second.coords[1:]], sent, strict=True):
        assert there == pytest.approx(place, abs=1e-9)


def test_ellipse_of_a_target_lies_about_it_as_wide_as_it_is_told(site: Site) -> None:
    """By geographiclib: its corners are as far away as the semi-axes say, by the azimuth."""
    known, _ = columns(site, "targets")
    placed = known["major_95_m"].index(max(value for value in known["major_95_m"] if value == value))
    ellipses, (area,) = columns(site, "target_ellipses")
    assert is_valid(area), is_valid_reason(area)
    assert ellipses["name"] == ["Contact 1"]
    centre = known["latitude_deg"][placed], known["longitude_deg"][placed]
    assert SIGHTED.seen_from is not None
    away = Geodesic.WGS84.Direct(SIGHTED.seen_from.latitude_deg, SIGHTED.seen_from.longitude_deg, 90.0, 400.0)
    assert centre == pytest.approx((away["lat2"], away["lon2"]), abs=1e-9)
    corners = [corner for part in area.geoms for corner in part.exterior.coords if abs(corner[0]) != 180.0]
    rays = [Geodesic.WGS84.Inverse(*centre, lat, lon) for lon, lat in corners]
    far, near = max(rays, key=lambda ray: ray["s12"]), min(rays, key=lambda ray: ray["s12"])
    assert far["s12"] == pytest.approx(known["major_95_m"][placed], abs=1e-3)
    assert near["s12"] == pytest.approx(known["minor_95_m"][placed], abs=1e-3)
    off_deg = (far["azi1"] - known["major_azimuth_deg"][placed] + 90.0) % 180.0 - 90.0
    assert off_deg == pytest.approx(0.0, abs=1e-3)


def test_find_as_found_stands_beside_what_superseded_it(site: Site) -> None:
    """The first record, the current one and both together; place, drawing and photograph as they were recorded."""
    now, first, both = (columns(site, layer)[0] for layer in ("finds", "finds_as_found", "find_records"))
    assert (now["what"], first["what"]) == (["a ship's bell, bronze, with a name"], ["a bell, bronze"])
    assert (both["as_found"], both["current"]) == ([True, False], [False, True])
    place = FOUND.place
    assert place is not None
    _, (point,) = columns(site, "finds_as_found")
    assert (point.y, point.x) == pytest.approx((place.latitude_deg, place.longitude_deg), abs=1e-9)
    drawings, shapes = columns(site, "find_drawings")
    assert list(shapes[0].geoms[0].exterior.coords) == list(AREA)
    assert drawings["kind"] == ["outline", "outline"]
    photographs, _ = columns(site, "find_photographs")
    assert (photographs["file"][0], photographs["sha256"][0], photographs["octets"][0]) == (
        "IMG_1.jpg",
        "ab" * 32,
        1_234,
    )


def test_each_column_is_described_where_a_gis_program_looks(site: Site) -> None:
    """The Schema extension and the data dictionary have the same words for every column of every table."""
    database = sqlite3.connect(path_of(site))
    tables = [name for (name,) in database.execute("SELECT table_name FROM gpkg_contents")]
    described = set(database.execute("SELECT table_name, column_name, description FROM gpkg_data_columns"))
    listed = set(
        database.execute("SELECT table_name, column_name, meaning FROM data_dictionary WHERE column_name <> ''")
    )
    assert described == listed
    there = {(name, row[1]) for name in tables for row in database.execute(f'PRAGMA table_info("{name}")')}
    assert {pair for pair in there if pair[1] not in ("fid", "geom")} == {(row[0], row[1]) for row in described}
    assert database.execute("SELECT value FROM about WHERE what = 'mark'").fetchone()[0].startswith("EXACT, PRIVATE")


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="Debian's gdal-bin isn't there")
def test_debians_gdal_reads_the_same(site: Site) -> None:
    """Debian's ogrinfo, another build of another version, counts the same rows and says EPSG:4326 of each layer."""
    command = ["ogrinfo", "-ro", "-so", "-al", str(path_of(site))]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    layers = dict(re.findall(r"Layer name: (\w+)\n.*?Feature Count: (\d+)", done.stdout, re.DOTALL))
    assert {name: int(count) for name, count in layers.items() if name in ROWS} == {
        name: ROWS[name] for name in ROWS if name in layers
    }
    assert set(SPATIAL) <= set(layers)
    assert done.stdout.count('ID["EPSG",4326]]') == len(SPATIAL)
    assert done.stderr == ""


def validated(path: Path) -> subprocess.CompletedProcess[str]:
    """Run GDAL's validator on a file, by Debian's Python."""
    command = ["/usr/bin/python3", str(VALIDATOR), "--extra", str(path)]
    return subprocess.run(command, check=False, capture_output=True, text=True, env={"PATH": "/usr/bin"})


@pytest.mark.skipif(not VALIDATOR.exists(), reason="Debian's python3-gdal isn't there")
def test_validator_finds_nothing(site: Site, tmp_path: Path) -> None:
    """GDAL's validator of the standard's requirements has no error; a package with a wrong header it refuses."""
    done = validated(path_of(site))
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    assert "ERROR" not in done.stdout.upper()
    broken = tmp_path / "broken.gpkg"
    shutil.copy(path_of(site), broken)
    with sqlite3.connect(broken) as database:
        database.execute("UPDATE gpkg_geometry_columns SET srs_id = 999 WHERE table_name = 'fixes'")
    assert validated(broken).returncode != 0
