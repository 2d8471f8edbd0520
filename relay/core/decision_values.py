"""What is wrong with a value in a decision: a reason that says what would be right, or None.

Rules: whatever JSON comes, the answer is one of the two; nothing here raises.
"""

from collections.abc import Iterable

from relay.core.errors import OperatorError
from relay.core.ranges import RANGES, note_fault
from relay.core.sighting import read_sighted
from relay.core.still import read_still


def moment_fault(name: str, value: object) -> str | None:
    """Judge a moment of the embargo clock."""
    return None if type(value) is int else f"{name} is a moment of the embargo clock: whole microseconds"


def name_fault(name: str, value: object) -> str | None:
    """Judge a name of an audience or a vehicle."""
    return None if isinstance(value, str) else f"{name} is a name"


def since_fault(why: str, value: object) -> str | None:
    """Judge the ticks, or the records of a programme, from which a hold lets nothing leave."""
    right = isinstance(value, dict) and all(type(tick) is int for tick in value.values())
    return None if right else why


def names_fault(value: object) -> str | None:
    """Judge a list of names."""
    if isinstance(value, list | tuple) and all(isinstance(item, str) for item in value):
        return None
    return "audiences is a list of names"


def text_fault(value: object) -> str | None:
    """Judge words that followers may read."""
    fault = note_fault(value) if isinstance(value, str) else "is not text"
    return None if fault is None else f"the text won't do: {fault}"


def still_fault(value: object) -> str | None:
    """Judge a still."""
    try:
        read_still(value)
    except OperatorError as error:
        return str(error)
    return None


def row_fault(value: object) -> str | None:
    """Judge the row of a say."""
    right = type(value) is int and 0 < value < 2**63
    return None if right else "say is the number of the journal row of what waits to be said"


def seen_fault(value: object) -> str | None:
    """Judge the row of the newest hold that somebody has seen."""
    right = type(value) is int and 0 <= value < 2**63
    return None if right else "seen is the number of the journal row of the newest hold that was seen, 0 if none was"


def flag_fault(name: str, value: object) -> str | None:
    """Judge a yes or no."""
    return None if isinstance(value, bool) else f"{name} is true or false"


def sighting_fault(value: object) -> str | None:
    """Judge a sighting."""
    try:
        read_sighted(value)
    except OperatorError as error:
        return str(error)
    return None


def number_fault(name: str, unit: str, least: float, most: float, value: object) -> str | None:
    """Judge a number with its unit and limits."""
    right = isinstance(value, int | float) and not isinstance(value, bool) and least <= value <= most
    return None if right else f"{name} is a number from {least:g} to {most:g} {unit}"


def centre_fault(value: object) -> str | None:
    """Judge a position."""
    if isinstance(value, list | tuple) and len(value) == 2:
        (south, north), (west, east) = RANGES["latitude_deg"], RANGES["longitude_deg"]
        if number_fault("", "", south, north, value[0]) is number_fault("", "", west, east, value[1]) is None:
            return None
    return "centre is [latitude, longitude] in degrees, south and west negative"


def one_of(words: Iterable[str], what: str, value: object) -> str | None:
    """Judge a word of which there are a few."""
    choices = list(words)
    return None if value in choices else f"{value!r} is not {what}; one of {', '.join(choices)}"
