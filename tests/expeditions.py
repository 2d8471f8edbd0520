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

LINK = '[uplink]\nto = "wss://shore.example:8444"\n'


def linked(more: str = "") -> tuple[str, str]:
    """Return a change that gives the ship a link to a shore."""
    return "[dive]", f"{LINK}{more}\n\n[dive]"


# What can't be said of the link: what is written wrong, on which line it is found, what the remedy says.
WRONG_LINKS = [
    ("[dive]", '[uplink]\nto = "https://shore.example"\n[dive]', "https:", 'write it as "wss://shore.example:8444"'),
    ("[dive]", "[uplink]\n[dive]", "[uplink]", 'add where the shore listens, such as to = "wss://shore.example:8444"'),
    (*linked('pin = "abc"'), "pin", "offing shore --check"),
    (*linked('limit = "64 kbit"'), "limit", 'write it as "64 kbit/s" (units: bit/s, kbit/s, Mbit/s)'),
    (*linked('limit = "1.9 kbit/s"'), "limit", "must be from 2 kbit/s to 1000000 kbit/s, not 1.9 kbit/s"),
    (*linked('audiences = "public"'), "audiences", "must be a list"),
    (*linked("audiences = []"), "audiences", "give at least 1"),
    (*linked('audiences = ["public", "press"]'), "audiences", "is no [[audience]] of this file; one of public, family"),
    (*linked('audiences = ["public", "public"]'), "audiences", "is there twice: name each once"),
    (*linked('audiences = ["family"]'), "audiences", "neither open nor invited, so nobody could see it there"),
]

UNSEEN = "no letter in it that can't be seen"
# Names that act on a terminal (ECMA-48), turn a line about (UAX 9), hide in it or break it.
WRONG_NAMES = [
    ('ship = "Harrow Tern"', f'ship = "Harrow{letter} Tern"', "ship = ", UNSEEN)
    for letter in ("\\u001b[2J", "\\u009b31m", "\\u0000", "\\u007f", "\\u202e", "\\u2066", "\\u200b", "\\u2028")
]
WRONG_ADDRESSES = [*WRONG_QUESTIONS, *WRONG_LINKS, *WRONG_NAMES]
