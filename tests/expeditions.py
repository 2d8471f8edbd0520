"""Expedition files for tests: one that is right, and ways to change it."""

RIGHT = """\
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"

[storage]
private = "private"
released = "released"

[public]
listen = "127.0.0.1:0"

[dive]
begins = "report"
quiet_ends_after = "10 min"

[[vehicle]]
name = "Lantern"

[[vehicle]]
name = "Moth"

[[feed]]
name = "position"
format = "nmea0183"
from = "udp://127.0.0.1:10110"
vehicle = "Lantern"
sounder = "altitude"

[[feed]]
name = "station"
format = "station-json"
from = "tcp-listen://127.0.0.1:4010"

[[audience]]
name = "public"
open = true
delay = "45 min"
extra = "10 min"
tick = "15 s"
fields = ["track", "depth", "heading", "mode", "notes"]
cell = "25 m"
depth_step = "10 m"
heading_step = "22.5 deg"
track_legs = ["bottom"]

[[audience]]
name = "family"
delay = "20 min"
fields = ["depth", "notes"]
"""


def changed(old: str, new: str) -> str:
    """Return the right file with one text replaced, which must be there once."""
    assert RIGHT.count(old) == 1, old
    return RIGHT.replace(old, new)


def line_with(text: str, part: str) -> int:
    """Return the number of the line that holds `part`."""
    return next(number for number, line in enumerate(text.splitlines(), 1) if part in line)


# Where questions can't go: what is written wrong, what is said of it, what the remedy says.
WRONG_QUESTIONS = [
    ('listen = "127.0.0.1:0"', 'questions_to = "museum"', "museum", 'write it as "https://questions.example/"'),
    ('listen = "127.0.0.1:0"', 'questions_to = "http://q.example"', "http:", 'or "mailto:dive@museum.example"'),
    ('listen = "127.0.0.1:0"', 'questions_to = "mailto:a@b.example?bcc=c"', "mailto", "is not where questions can go"),
    ('listen = "127.0.0.1:0"', "questions_to = 'https://q.example/\"x'", "https:", "is not where questions can go"),
]
