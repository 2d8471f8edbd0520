"""What the file says of the audit: files from its own folder, promises in km2, areas as a library has them."""

from pathlib import Path

import pytest
from pyproj import Geod

from audit_settings import AREA, CHARTS, PROMISING, promised
from expeditions import RIGHT, changed
from relay.core.area import Area
from relay.core.errors import ExpeditionError
from relay.shell.plan.audit_plan import NO_AUDIT, AuditPlan, expanse_km2
from relay.shell.plan.expedition import parse_expedition

PATH = Path("/somewhere/EXPEDITION.toml")


def test_audit_is_read_whole() -> None:
    """Promises are in km2 by audience, and paths are from the file's own folder."""
    text = changed(*promised('promise = "8700 ha"', CHARTS + 'ship_track = "ais.csv"\nwrecks = "lists/wrecks.csv"\n'))
    folder = PATH.resolve().parent
    assert parse_expedition(text, PATH).audit == AuditPlan(
        {"public": 87.0}, (folder / "chart.csv",), folder / "ais.csv", folder / "lists/wrecks.csv"
    )


def test_file_without_a_promise_has_no_audit() -> None:
    """Nobody who promises nothing has to have charts."""
    assert parse_expedition(RIGHT, PATH).audit == NO_AUDIT


@pytest.mark.parametrize(("delay", "right"), [("20 min", True), ("1199 s", False)])
def test_promise_needs_the_time_to_look_ahead(delay: str, right: bool) -> None:
    """Twenty minutes of delay are enough for a promise, and a second less is refused with what to write."""
    text = PROMISING.replace('delay = "45 min"', f'delay = "{delay}"')
    if right:
        assert parse_expedition(text, PATH).audit.promises == {"public": 87.0}
        return
    with pytest.raises(ExpeditionError, match=r'audience "public": delay: .* set delay = "20 min" or more'):
        parse_expedition(text, PATH)


def test_exact_place_promises_nothing() -> None:
    """Whoever is told the place can be promised no area."""
    text = changed(*promised('promise = "9 km2"\nplace = "exact"')).replace("open = true\n", "")
    with pytest.raises(ExpeditionError, match='place = "exact" tells the place, so no area is left'):
        parse_expedition(text, PATH)


def test_promise_within_the_declared_area_is_right() -> None:
    """A promise that the declared area can keep is taken."""
    assert parse_expedition(changed(*promised(more=CHARTS + AREA)), PATH).audit.promises == {"public": 87.0}


@pytest.mark.parametrize(
    "corners",
    [((-41.0, 17.0), (-41.0, 17.4), (-41.3, 17.4)), ((60.0, 179.9), (60.0, -179.8), (60.1, -179.8), (60.1, 179.9))],
)
def test_area_of_a_polygon_is_the_librarys(corners: tuple[tuple[float, float], ...]) -> None:
    """A polygon's area agrees with that of pyproj (Karney 2013) to a thousandth, also across 180."""
    latitudes, longitudes = zip(*corners, strict=True)
    exact_m2, _ = Geod(ellps="WGS84").polygon_area_perimeter(longitudes, latitudes)
    assert expanse_km2(Area("bank", corners)) == pytest.approx(abs(exact_m2) / 1e6, rel=1e-3)
