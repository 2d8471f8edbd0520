"""Ranges and bearings: from a place stopped, from an object of the scene let through."""

import random

import pytest

from place_ranges_written import ranges_written
from relay.core.place_in_text import Notation, find_places

SCENE = ("Harrow Tern", "Lantern", "Moth", "Isoline Marr")


def test_ranges_from_places_are_found() -> None:
    """In five languages, any distance in any direction from a place on a chart is found."""
    told = list(ranges_written(random.Random(1), 400, from_places=True))
    assert len(told) == 2000
    assert [] == [text for _, text in told if not find_places(text, scene=SCENE)]


def test_ranges_from_scene_objects_pass() -> None:
    """In five languages, the same words from the boiler, the bow or the vehicle say nothing of a place."""
    told = list(ranges_written(random.Random(2), 400, from_places=False))
    assert len(told) == 2000
    assert [] == [text for _, text in told if find_places(text, scene=SCENE)]


@pytest.mark.parametrize(
    "text", ["5 m north of Lantern", "20 m off Lantern", "200 m from the Harrow Tern", "3 m from the Isoline Marr"]
)
def test_names_of_the_scene_are_given_by_the_caller(text: str) -> None:
    """Ship, vehicles and wreck are scene objects only when named as such; unknown, they are places."""
    assert find_places(text, scene=SCENE) == []
    assert [finding.notation for finding in find_places(text)] == [Notation.FROM_A_PLACE]


@pytest.mark.parametrize(
    "text", ["5 m north of the gasworks", "3 m from the obelisk", "2 km off the works", "12 m south of B"]
)
def test_unknown_things_are_places(text: str) -> None:
    """What is not on the short list of scene objects stops the text."""
    assert find_places(text, scene=SCENE)


@pytest.mark.parametrize("text", ["12 NM SW OF CAPE ORLACH", "3 MILES FROM THE ISLAND", "LAND IS 95 MILES NORTH"])
def test_capitals_throughout_hide_no_place(text: str) -> None:
    """A text all in capitals is read like any other."""
    assert find_places(text)


def test_capitals_throughout_raise_no_alarm() -> None:
    """A text all in capitals is not full of names."""
    assert find_places("5 M NORTH OF THE BOILER, PORT SIDE, SPONGES ON EVERY RIB") == []
