"""Ordinary dive talk with random numbers, for the tests that the place finder leaves it alone."""

import random
from collections.abc import Iterator

# {i} a whole number to 60, {h} a heading, {d} a depth, {f} and {g} small decimals, {t} a time, {w} a scene object,
# {c} a compass point.
SENTENCES = (
    "Depth {d} m, heading {h}.",
    "Depth {d}, heading {h}, altitude {f}.",
    "{d} m and going down at {i} m/min.",
    "{d} ft of water",
    "heading {h}",
    "heading {h} degrees",
    "Turned to {h}, then back to {h}.",
    "bow points about {i} degrees to port",
    "list of {i} degrees to starboard",
    "Pitch {f}°, roll -{g}°.",
    "pitch {f}, roll -{g}",
    "bearing {h} relative, range {i} m",
    "Contact bearing {h}, range {i} m.",
    "contact at {i} m on the sonar",
    "{f} x {g} m",
    "The plate measures {f} x {g} m.",
    "{i} coins and {i} bottles",
    "{i}, {i} and {i} bottles in three piles",
    "Water {f} °C, salinity 34.{i}.",
    "{i} degrees at the seabed",
    "{t} bow in sight",
    "{t} UTC vehicle in the water",
    "At {t} {c} end of the scour.",
    "{i} h {i} min into the dive",
    "{i} min {i} s to the surface",
    "{i} m {c} of {w}",
    "{f} m from {w}",
    "A plate stands {i} m {c} of {w}.",
    "{i} m off {w}, lights on",
    "Sample E{i} and sample N{i} in the box.",
    "Frame {i}, rib {i}, {c} side.",
    "Square {c}{i} done.",
    "Slope of {i} degrees down to the {c}.",
    "Current {f} kn from the {c}.",
    "Speed {f} knots, course {h}.",
    "Serial number {d}{i} on the plate.",
    "Hull number {d} stamped on the frame.",
    "Object at {i} m, two o'clock.",
    "Moved {i} m north and {i} m east.",
    "Pressure {d}.{i} dbar.",
    "Voltage {i}.{i} V, current {f} A.",
    "{i} October 2026, dive {i}",
    "{i} Oct 2026, {t}",
    "2026-10-{i}, {t}",
    "Camera {i}: tilt -{f}, pan {g}.",
    "{i} % done, {i} min to go",
    "Beam {f} m, length {g} m, draught {f} m.",
    "Ranges {f}, {g} and {f} m.",
    "The scour runs {h} to {h}.",
    "Ship {i} m {c} of the vehicle.",
)
OBJECTS = (
    *("the boiler", "the bow", "the stern", "the wreck", "the anchor", "the vehicle", "the ship", "the outcrop"),
    *("target 4", "the mast", "the keel", "the hull", "Lantern", "Moth", "the Harrow Tern", "the second boiler"),
)
POINTS = ("north", "south", "east", "west", "north-east", "south-west", "N", "S", "E", "W", "NE", "SW")


def dive_talk(source: random.Random, count: int) -> Iterator[str]:
    """Yield each sentence `count` times with other numbers."""
    for sentence in SENTENCES:
        for _ in range(count):
            text = sentence
            while "{" in text:
                before, _, rest = text.partition("{")
                text = before + _filling(rest[0], source) + rest[2:]
            yield text


def _filling(kind: str, source: random.Random) -> str:
    match kind:
        case "i":
            return str(source.randint(1, 60))
        case "h":
            return f"{source.randint(0, 359):03d}"
        case "d":
            depth = source.randint(200, 5999)
            return f"{depth:,}" if source.random() < 0.5 else str(depth)
        case "f" | "g":
            return f"{source.uniform(0.1, 60):.{source.choice((1, 2))}f}"
        case "t":
            joint = source.choice((":", ""))
            return f"{source.randint(0, 23):02d}{joint}{source.randint(0, 59):02d}"
        case "w":
            return source.choice(OBJECTS)
        case _:
            return source.choice(POINTS)
