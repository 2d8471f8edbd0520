"""Charts in text: matrices and nodes in any order of columns, their signs and units, and each fault with its line."""

import io

import numpy as np
import pytest

from charts_written import LATITUDES, LONGITUDES, seabed
from relay.audit.charts import chart_csv
from relay.audit.charts.chart import Chart
from relay.audit.charts.chart_csv import read_text
from relay.core.errors import ChartError


def read(*lines: str) -> Chart:
    """Return the chart in some lines."""
    return read_text("c.csv", io.StringIO("\n".join(lines)))


def matrix(corner: str = "lat\\lon", sign: float = 1.0) -> list[str]:
    """Return the invented seabed as the lines of a matrix, rows from the north."""
    head = [corner, *(f"{longitude:.6f}" for longitude in LONGITUDES)]
    rows = [[f"{latitude:.6f}", *row] for latitude, row in zip(LATITUDES[::-1], sign * seabed()[::-1], strict=True)]
    return [",".join(map(str, line)) for line in [head, *rows]]


def nodes(head: str, turn: float = 1.0, mark: str = ",") -> list[str]:
    """Return the invented seabed as single nodes: a number, latitude, longitude, value."""
    lines = [head.replace(",", mark)]
    for row, latitude in enumerate(LATITUDES):
        for column, longitude in enumerate(LONGITUDES):
            lines.append(mark.join(map(str, (row, latitude, longitude, seabed()[row, column] * turn))))
    return lines


def assert_invented(chart: Chart) -> None:
    """Assert that a chart is that of the invented seabed."""
    assert chart.latitude_deg == pytest.approx(LATITUDES)
    assert chart.longitude_deg == pytest.approx(LONGITUDES)
    assert chart.depth_m == pytest.approx(-seabed(), abs=1e-9)


@pytest.mark.parametrize(
    ("corner", "sign"), [("lat\\lon", 1.0), ("latitude/longitude", 1.0), ("depth_m lat\\lon", -1.0)]
)
def test_a_matrix_is_read_by_its_corner(corner: str, sign: float) -> None:
    """Elevations, or depths where the corner says so, on the axes of the first line and column."""
    assert_invented(read(*matrix(corner, sign)))


@pytest.mark.parametrize(
    ("head", "turn"),
    [
        ("n,lat_deg,lon_deg,depth_m", -1.0),
        ("n,latitude,longitude,elevation_m", 1.0),
        ("n,Lat,Long,Depth (m)", -1.0),
        ("n,LATITUDE,LONGITUDE,Elevation [ft]", 1 / 0.3048),
        ("n,lat,lng,depth_fathoms", -1 / 1.8288),
        ("n,lat,lon,height", 1.0),
    ],
)
def test_columns_are_found_by_name_sign_and_unit(head: str, turn: float) -> None:
    """Other columns are ignored; feet and fathoms (international: 0.3048 and 1.8288 m) become metres down."""
    assert_invented(read(*nodes(head, turn)))


@pytest.mark.parametrize("mark", [",", ";", "\t", " "])
def test_whatever_splits_the_columns(mark: str) -> None:
    """Commas, semicolons, tabs or blanks; comments and empty lines between."""
    lines = nodes("n,lat,lon,depth_m", -1.0, mark)
    assert_invented(read("# invented", "", lines[0], *lines[1:50], "# more", *lines[50:]))


def test_order_of_columns_and_nodes_does_not_matter() -> None:
    """Nodes in any order, columns in any order, are the same chart."""
    head, *lines = nodes("n,lat,lon,depth_m", -1.0)
    mixed = [line for at, line in enumerate(lines) if (len(lines) - 1 - at) % 7]
    swapped = [",".join(np.array(line.split(","))[[3, 2, 0, 1]]) for line in [head, *lines[::-7], *mixed]]
    assert_invented(read(*swapped))


def test_empty_cells_are_unknown() -> None:
    """A node without a depth, by any of its spellings, is a hole in the chart and no error."""
    lines = nodes("n,lat,lon,depth_m", -1.0)
    for at, blank in enumerate(("", "nan", "NA", "-9999", "-32768"), start=100):
        lines[at] = ",".join([*lines[at].split(",")[:3], blank])
    assert np.isnan(read(*lines).depth_m).sum() == 5


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({5: "1,54,-31.5,deep"}, r"line 6: `deep` is no depth"),
        ({5: "1,54,-31.5,12001"}, r"line 6: `12001` is no depth"),
        ({5: "1,94,-31.5,12"}, r"line 6: `94` is no latitude"),
        ({5: "1,54,-391.5,12"}, r"line 6: `-391.5` is no longitude"),
        ({5: "1,54,inf,12"}, r"line 6: `inf` is no longitude"),
        ({5: "1,54,-31.5"}, r"line 6 has 3 columns"),
        ({0: "n,lat,lon,salt"}, r"columns are n, lat, lon, salt; a chart of nodes needs"),
        ({0: "n,north,lon,depth_m"}, r"needs longitude, latitude"),
        ({0: "chart"}, r"line 1 is no head"),
    ],
)
def test_a_fault_in_the_nodes_is_told_with_its_line(change: dict[int, str], words: str) -> None:
    """What is wrong, on which line, and what a chart needs."""
    lines = nodes("n,lat,lon,depth_m", -1.0)
    for at, text in change.items():
        lines[at] = text
    with pytest.raises(ChartError, match=rf"^c\.csv: .*{words}"):
        read(*lines)


def test_the_limits_of_what_is_a_depth_are_the_limits() -> None:
    """12,000 m down and 9,000 m up are taken, a metre more is refused."""
    lines = nodes("n,lat,lon,depth_m", -1.0)
    for value, taken in (("12000", True), ("12001", False), ("-9000", True), ("-9001", False)):
        lines[5] = f"0,{LATITUDES[0]},{LONGITUDES[4]},{value}"
        if taken:
            read(*lines)
        else:
            with pytest.raises(ChartError, match=value):
                read(*lines)


def test_depths_that_count_upwards_are_refused() -> None:
    """A column called depth that is mostly negative is an elevation under a wrong name, and not guessed at."""
    with pytest.raises(ChartError, match="call it elevation_m"):
        read(*nodes("n,lat,lon,depth_m", 1.0))


def test_a_cut_matrix_is_told_with_its_line() -> None:
    """A row that is shorter than the first, and a matrix of one row, are errors."""
    lines = matrix()
    with pytest.raises(ChartError, match=r"line 4 has 2 columns, the first has 42"):
        read(*lines[:3], "54.0,-12")
    with pytest.raises(ChartError, match="matrix of 1 rows"):
        read(*lines[:2])


def test_an_empty_file_is_no_chart() -> None:
    """No line at all, or a head alone, is said."""
    with pytest.raises(ChartError, match="no head"):
        read("")
    with pytest.raises(ChartError, match="no node below"):
        read("lon,lat,depth_m")


def test_more_nodes_than_a_chart_may_have_are_refused_while_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """As many as there may be are read, one less is refused, in both forms."""
    for lines in (matrix(), nodes("n,lat,lon,depth_m", -1.0)):
        monkeypatch.setattr(chart_csv, "MOST_NODES", seabed().size)
        assert_invented(read(*lines))
        monkeypatch.setattr(chart_csv, "MOST_NODES", seabed().size - 1)
        with pytest.raises(ChartError, match=r"more than .* nodes; cut it"):
            read(*lines)


def test_line_that_no_chart_has_is_told() -> None:
    """A cell too long for a column, and a line without an end."""
    with pytest.raises(ChartError, match=r"line 2 can't be split into columns"):
        read("n,lat,lon,depth_m", "1," + 140_000 * "9" + ",1,1")
    with pytest.raises(ChartError, match=r"line 2 is longer than"):
        read("n,lat,lon,depth_m", 2_000_001 * "9")


def test_quoted_cells_are_read_as_bare_ones() -> None:
    """A cell in quotes may hold what separates cells, and a quote twice (RFC 4180 section 2, rules 5 to 7)."""
    head, *lines = nodes("n,lat,lon,depth_m", -1.0)
    quoted = [f'"{at}, ""b""",' + line.partition(",")[2] for at, line in enumerate(lines)]
    assert_invented(read(head, *quoted))
    assert_invented(read(head, *quoted[::2], *lines[1::2]))
