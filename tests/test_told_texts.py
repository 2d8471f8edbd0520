"""Texts of recordings, and the names of columns that a record doesn't have."""

from math import nan

from dives import SECOND, message, rows
from relay.audit.attacks.told_texts import clock, listed, names_beyond, strings, texts_of
from told_besides import noted, released, survey


def test_texts_are_those_of_header_and_annotations_with_their_dive_times() -> None:
    """Every text that was released is read once where it stands; numbers are none."""
    dive = noted(["bow in sight", "a bottle"])
    told = [(what, text) for _, what, text in texts_of(dive)]
    assert ("the header's expedition", "The search for the Isoline Marr") in told
    assert ("the header's vehicles", "Moth") in told
    assert [text for what, text in told if what == "annotation"] == ["bow in sight", "a bottle"]
    assert all(elapsed_s % dive.header["tick_s"] == 0 for elapsed_s, _, _ in texts_of(dive))


def test_dive_without_annotations_has_the_headers_texts_alone() -> None:
    """What wasn't said isn't read."""
    dive = released(rows([(SECOND, message(survey(4)[0], (-38.6, -21.9)))]))["public"]
    assert {what.partition(" ")[0] for _, what, _ in texts_of(dive)} == {"the"}


def test_columns_beyond_the_ten_have_the_headers_names_then_their_numbers() -> None:
    """An exact place is called so; a field that no policy has names the column it added."""
    assert names_beyond({"fields": ["track", "depth"]}, 2) == ["column 11", "column 12"]
    assert names_beyond({"fields": ["track", "temperature_c"]}, 2) == ["temperature_c", "column 12"]
    assert names_beyond({"place": "exact", "fields": ["track"]}, 2) == ["latitude_deg", "longitude_deg"]
    assert names_beyond({"fields": None}, 0) == []


def test_odd_values_raise_nothing() -> None:
    """A recording that somebody hands on may hold anything."""
    assert clock(nan) == "0:00:00" and clock(3_725.4) == "1:02:05"
    assert listed(7) == [] and listed((1, 2)) == [1, 2]
    assert list(strings({"a": [1, ("b", None)], "c": b"d"})) == ["a", "b", "c"]
