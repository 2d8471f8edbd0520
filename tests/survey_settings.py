"""Expedition files for tests: settings of the survey that are right, and wrong ones with what is told of each."""

LANTERN = 'name = "Lantern"\n\n[[vehicle]]'


def gear(text: str) -> tuple[str, str]:
    """Return a change that gives the first vehicle some gear."""
    return LANTERN, f'name = "Lantern"\n{text}\n\n[[vehicle]]'


def planned(corners: str) -> tuple[str, str]:
    """Return a change that adds a planned area."""
    return LANTERN, f"{LANTERN.removesuffix('[[vehicle]]')}[survey]\n{corners}\n\n[[vehicle]]"


SQUARE = "corners = [[-30.0, -22.0], [-30.0, -21.9], [-30.1, -21.9], [-30.1, -22.0]]"
WRONG_SURVEY = [
    (*gear('tether = "0 m"'), "tether", "must be from 1 m to 20000 m, not 0 m"),
    (*gear('tether = "1000"'), "tether", "is not a length"),
    (*gear('swath = "20001 m"'), "swath", "must be from 1 m to 20000 m"),
    (*gear('swath = "1 km"\nnadir_gap = "1000 m"'), "nadir_gap", "leaves nothing of a swath"),
    (*gear('nadir_gap = "50 m"'), "nadir_gap", 'add swath = "1000 m", or take nadir_gap away'),
    (*gear('tehter = "1000 m"'), "tehter", 'did you mean "tether"?'),
    (*planned("corners = [[-30.0, -22.0], [-30.0, -21.9]]"), "corners", "give at least 3"),
    (*planned("corners = [[-30.0, -22.0], [-30.0, 200], [-30.1, -21.9]]"), "corners", "survey.corners.2: latitude is"),
    (*planned(""), "[survey]", "add the corners of the planned area"),
    (
        *planned("corners = [[-30.0, -22.0], [-30.1, -21.9], [-30.0, -21.9], [-30.1, -22.0]]"),
        "corners",
        "crosses itself: give its corners in their order round it",
    ),
    (*planned("corners = [[-30.0, -22.0], [-30.0, -22.0], [-30.1, -22.0]]"), "corners", "2 different corners"),
    (*planned("corners = [[-30.0, -22.0], [-30.1, -22.0], [-30.2, -22.0]]"), "corners", "encloses nothing"),
    (*planned("corners = [[-30, -22], [-30, -19], [-33, -22]]"), "corners", "m from the origin"),
]
