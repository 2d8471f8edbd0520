"""The range of every value a feed may report: outside it, the frame is rejected with a reason.

Depth and altitude bound the deepest ocean with a margin (common practice, no source); depth may be a little
negative because a pressure sensor at the surface reads about zero.
"""

from math import isfinite

RANGES: dict[str, tuple[float, float]] = {
    "latitude_deg": (-90.0, 90.0),
    "longitude_deg": (-180.0, 180.0),
    "depth_m": (-10.0, 12_000.0),
    "pressure_dbar": (-10.0, 12_500.0),
    "altitude_m": (0.0, 12_000.0),
    "heading_deg": (0.0, 360.0),
    "pitch_deg": (-90.0, 90.0),
    "roll_deg": (-180.0, 180.0),
    "rate_of_turn_deg_min": (-10_800.0, 10_800.0),
    "speed_mps": (0.0, 50.0),
    "course_deg": (0.0, 360.0),
    "water_speed_mps": (-50.0, 50.0),
    "clock_s": (0.0, 4_102_444_800.0),
    "time_of_day_s": (0.0, 86_401.0),
}

NOTE_LIMIT = 500


def out_of_range(field: str, value: float) -> str | None:
    """Return a countable reason if `value` is not a number `field` may hold, else None."""
    if not isfinite(value):
        return f"{field} is not a finite number"
    low, high = RANGES[field]
    if not low <= value <= high:
        return f"{field} out of range"
    return None


def note_fault(text: str) -> str | None:
    """Return a countable reason if `text` cannot be an annotation, else None."""
    if not text.strip():
        return "note is empty"
    if len(text) > NOTE_LIMIT:
        return "note too long"
    if any(ord(character) < 32 or 0x7F <= ord(character) < 0xA0 for character in text):
        return "note has control characters"
    if any(0xD800 <= ord(character) < 0xE000 for character in text):
        return "note is not Unicode text"  # half a pair (RFC 3629, section 3): no UTF-8 holds it
    return None
