"""The GeoJSON of an export: by RFC 7946, and read by another hand (GDAL's reader in pyogrio)."""

import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from pyogrio.raw import read
from shapely import from_wkb, is_ccw
from shapely.geometry import shape

from exported_site import LANTERN, exported_site, lantern
from relay.__main__ import main


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the unpacked export of the site."""
    site = exported_site(tmp_path_factory.mktemp("site"))
    path = site.private / "all.zip"
    assert main(["journal", "export", str(site.expedition.path), "--format", "geojson", "--out", str(path)]) == 0
    out = tmp_path_factory.mktemp("unpacked")
    with zipfile.ZipFile(path) as packed:
        packed.extractall(out)
    return out


def collection(folder: Path, name: str) -> list[dict[str, Any]]:
    """Return the features of a file, which is a collection by RFC 7946, 3.3."""
    told = json.loads((folder / f"{name}.geojson").read_text(encoding="utf-8"))
    assert told["type"] == "FeatureCollection"
    assert all(set(feature) == {"type", "geometry", "properties"} for feature in told["features"])
    return list(told["features"])


def test_positions_come_back_bit_by_bit(folder: Path) -> None:
    """Longitude before latitude (RFC 7946, 3.1.1), the doubles that were sent, and the same as properties."""
    mine = [one for one in collection(folder, "fixes") if one["properties"]["feed"] == "main"]
    places = [[lantern(at)["longitude_deg"], lantern(at)["latitude_deg"]] for at in range(10, 10 + LANTERN)]
    assert [one["geometry"]["coordinates"] for one in mine] == places
    assert mine[0]["properties"]["counts"] is True


def test_shapes_are_cut_and_wound_as_the_rfc_says(folder: Path) -> None:
    """Nothing spans more than half the Earth (3.1.9), outer rings go against the clock (3.1.6), shapes are valid."""
    for name in ("tracks", "target_ellipses", "find_ellipses", "find_drawings"):
        for feature in collection(folder, name):
            drawn = shape(feature["geometry"])
            assert drawn.is_valid
            for part in drawn.geoms:
                assert part.bounds[2] - part.bounds[0] < 180
                assert part.geom_type == "LineString" or is_ccw(part.exterior)


def test_another_reader_has_the_same(folder: Path) -> None:
    """GDAL reads the positions within 1e-9 degrees, in EPSG:4326, and what has no place as no place."""
    meta, _, shapes, values = read(folder / "fixes.geojson")
    assert meta["crs"] == "EPSG:4326"
    feeds = list(values[list(meta["fields"]).index("feed")])
    points = [from_wkb(shapes[at]).coords[0] for at, feed in enumerate(feeds) if feed == "standby"]
    sent = [(lantern(at)["longitude_deg"], lantern(at)["latitude_deg"]) for at in range(10, 10 + LANTERN)]
    for there, place in zip(points, sent, strict=True):
        assert there == pytest.approx(place, abs=1e-9)
    assert [one["geometry"] for one in collection(folder, "dives")] == [None]
