"""Expedition files for tests: promises and charts that are right, and wrong ones with what is told of each."""

from expeditions import changed
from survey_settings import WRONG_SURVEY

CHARTS = '[audit]\ncharts = ["chart.csv"]\n'
PUBLIC = 'track_legs = ["bottom"]\n'
AREA = '[area]\nname = "the invented bank"\ncentre = [-41.0, 17.4]\nradius = "40 km"\n'


def promised(text: str = 'promise = "87 km2"', more: str = CHARTS) -> tuple[str, str]:
    """Return a change that gives the first audience a promise, and the file further parts."""
    return PUBLIC, f"{PUBLIC}{text}\n\n{more}\n"


def charts(text: str) -> tuple[str, str]:
    """Return a change that tells which charts there are, for an audience with a promise."""
    return promised(more=f"[audit]\n{text}\n")


PROMISING = changed(*promised())
SMALL = '[area]\nname = "the invented bank"\ncentre = [-41.0, 17.4]\nradius = "5 km"\n'
WRONG_PROMISES = [
    (*promised('promise = "87"'), "promise", 'is not an area; write it as "87 km2" (units: km2, km², ha, nm2)'),
    (*promised('promise = "87 km"'), "promise", "is not an area"),
    (*promised('promise = "0 km2"'), "promise", "must be from 0.01 km2"),
    (*promised(more=""), "promise", 'add [audit] with charts = ["chart.nc"]'),
    (*promised(more=CHARTS + SMALL), "promise", "the declared area has 78.54 km2 in all"),
    (*promised('promise = "9 km2"\nplace = "exact"'), "place", "exact place can't be open to anyone"),
    (*charts(""), "[audit]", 'such as charts = ["chart.nc"]'),
    (*charts("charts = []"), "charts", "give at least 1"),
    (*charts('charts = ["a.nc", "a.nc"]'), "charts", "'a.nc' is there twice"),
    (*charts('charts = ["a.nc"]\nship_track = ""'), "ship_track", "is empty"),
    (*charts('charts = ["a.nc"]\nwrecks = 3'), "wrecks", "must be text"),
    (*charts('chart = "a.nc"\ncharts = ["a.nc"]'), "chart =", 'did you mean "charts"?'),
]
WRONG_BESIDE = [*WRONG_SURVEY, *WRONG_PROMISES]
