"""The ship's track from a table: times in each common spelling, places that are none, tables of several ships."""

from pathlib import Path

import numpy as np
import pytest

from relay.core.errors import OperatorError
from relay.shell.audit.ship_track_file import read_ship_track

# 2001-09-09T01:46:40Z is a thousand million seconds of Unix time (IEEE 1003.1, "Seconds Since the Epoch"; from memory).
TIMES = [
    "1000000000",
    "1000000000000",
    "2001-09-09T01:46:40Z",
    "2001-09-09T01:46:40",
    "2001-09-09 01:46:40 UTC",
    "2001-09-09T03:46:40+02:00",
    "20010909T014640Z",
]


def track_file(tmp_path: Path, text: str) -> Path:
    """Return a file with this text."""
    path = tmp_path / "ais.csv"
    path.write_text(text)
    return path


@pytest.mark.parametrize("time", TIMES)
def test_time_is_read_in_each_common_spelling(time: str, tmp_path: Path) -> None:
    """Unix time in seconds or milliseconds, ISO 8601 with and without a zone."""
    track = read_ship_track(track_file(tmp_path, f"time,lat,lon\n{time},-38.6,-21.9\n"))
    assert [1_000_000_000.0] == track.t_s.tolist()


@pytest.mark.parametrize(
    "header", ["MMSI,BaseDateTime,LAT,LON", "ship;t_s;latitude;longitude", "mmsi\tUTC\tlat_deg\tlong"]
)
def test_columns_are_found_by_their_names(header: str, tmp_path: Path) -> None:
    """Headers as open AIS tables have them, case and signs aside."""
    separator = next(sign for sign in ",;\t" if sign in header)
    line = separator.join(["1", "1000000000", "-38.6", "-21.9"])
    track = read_ship_track(track_file(tmp_path, f"{header}\n{line}\n"))
    assert [(-38.6, -21.9)] == list(zip(track.latitude_deg, track.longitude_deg, strict=True))


def test_fixes_are_in_order_of_time_each_once(tmp_path: Path) -> None:
    """Stations repeat what they heard, out of order."""
    track = read_ship_track(track_file(tmp_path, "time,lat,lon\n30,3,3\n10,1,1\n20,2,2\n10,1,1\n"))
    assert [10, 20, 30] == track.t_s.tolist()
    assert np.array_equal([1, 2, 3], track.latitude_deg)


def test_fix_that_is_not_available_is_passed_over(tmp_path: Path) -> None:
    """91 and 181 degrees say so in AIS; a table of nothing else has no track."""
    track = read_ship_track(track_file(tmp_path, "time,lat,lon\n10,91,181\n20,2,2\n"))
    assert [20] == track.t_s.tolist()
    with pytest.raises(OperatorError, match="no track in it"):
        read_ship_track(track_file(tmp_path, "time,lat,lon\n10,91,181\n"))


FAULTS = {
    "time,lat,lon\n10,95,3\n": "line 2: 95.0, 3.0 is no place",
    "time,lat,lon\n10,1,1\nnoon,1,1\n": "line 3: 'noon' is no time",
    "time,lat,lon\nnan,1,1\n": "line 2: 'nan' is no time",
    "time,lat,lon\n10,1,1\ninf,1,1\n": "line 3: 'inf' is no time",
    "time,lat,lon\n-1,1,1\n": "line 2: '-1' is no time",
    "time,lat,lon\n1e308,1,1\n": "line 2: '1e308' is no time",
    "time,lat,lon\n7258118400,1,1\n": "'7258118400' is no time: .* of the years 1970 to 2200",
    "time,lat,lon\n0001-01-01T00:00:00,1,1\n": "line 2: '0001-01-01T00:00:00' is no time",
    "time,lat,lon\n10,,1\n": "line 2: '' in the column lat is no number",
    "time,lon\n10,1\n": "no column of its latitudes",
    "mmsi,time,lat,lon\n1,10,1,1\n2,20,1,1\n": "it holds 2 ships",
}


@pytest.mark.parametrize("text", FAULTS)
def test_wrong_table_is_refused_with_the_line(text: str, tmp_path: Path) -> None:
    """Nothing is guessed."""
    with pytest.raises(OperatorError, match=FAULTS[text]):
        read_ship_track(track_file(tmp_path, text))
