"""A list of wrecks: what a line has is read, what it hasn't stays unknown, a wreck without a place is refused."""

from pathlib import Path

import pytest

from relay.audit.attacks.attack import Wreck
from relay.core.errors import OperatorError
from relay.shell.audit.wreck_list_file import read_wreck_list


def list_file(tmp_path: Path, text: str) -> Path:
    """Return a file with this text."""
    path = tmp_path / "wrecks.csv"
    path.write_text(text)
    return path


def test_wrecks_are_read_with_what_is_known_of_them(tmp_path: Path) -> None:
    """Depth and length where they are told."""
    text = "Name;Latitude;Longitude;Depth (m);Length_m\nIsoline Marr;-38.6;-21.9;1120;84.5\nUnknown 7;-38.1;-22;;\n"
    assert (
        Wreck("Isoline Marr", -38.6, -21.9, 1120.0, 84.5),
        Wreck("Unknown 7", -38.1, -22.0, None, None),
    ) == read_wreck_list(list_file(tmp_path, text))


def test_wreck_without_a_name_is_called_by_its_line(tmp_path: Path) -> None:
    """So that it can be found in the list."""
    assert "line 2" == read_wreck_list(list_file(tmp_path, "name,lat,lon\n,1,2\n"))[0].name


FAULTS = {
    "name,lat,lon\nA,1,2\nB,,2\n": "line 3: no place",
    "name,lat,lon\nA,100,2\n": "line 2: no place",
    "name,lat,lon,depth\nA,1,2,-30\n": "line 2: depths and lengths are positive",
    "name,lat,lon,depth\nA,1,2,deep\n": "line 2: 'deep' in the column depth is no number",
    "lat,lon\n1,2\n": "no column of its names",
}


@pytest.mark.parametrize("text", FAULTS)
def test_wrong_list_is_refused_with_the_line(text: str, tmp_path: Path) -> None:
    """A wreck that was left out could be the one."""
    with pytest.raises(OperatorError, match=FAULTS[text]):
        read_wreck_list(list_file(tmp_path, text))
