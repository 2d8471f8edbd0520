"""Ranges and bearings in five languages, from a place or from a scene object, for the tests of the place finder."""

import random
from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tongue:
    """How one language measures from a thing: `forms` take {n}, {unit}, {way} and {thing}."""

    units: tuple[str, ...]
    ways: tuple[str, ...]
    forms: tuple[str, ...]
    places: tuple[str, ...]
    scene: tuple[str, ...]


TONGUES = {
    "English": Tongue(
        ("nm", "NM", "M", "nautical miles", "miles", "km", "kilometres", "m", "metres", "cables", "yards", "ft"),
        ("N", "SW", "NNE", "north", "south-west", "northeast", "due east", "to the west", "E", "north north west"),
        (
            "{n} {unit} {way} of {thing}",
            "We lie {n} {unit} {way} of {thing}.",
            "{n}{unit} {way} of {thing}",
            "{n} {unit} off {thing}",
            "{n} {unit} from {thing}",
            "about {n} {unit} away from {thing}",
            "{n} {unit} from {thing}, bearing 245",
            "bearing 245 from {thing}, {n} {unit}",
            "{n} {unit} 245° from {thing}",
        ),
        (
            *("Cape Orlach", "the island", "Skerrow", "Port Tamsin", "the lighthouse", "Orlach Head", "the coast"),
            *("the harbour entrance", "Torva Bay", "the reef", "the nearest land", "Tamsin harbour"),
        ),
        (
            *(
                "the boiler",
                "the bow",
                "the stern",
                "our anchor",
                "the wreck",
                "the vehicle",
                "the ship",
                "the old mast",
            ),
            *("the second boiler", "the outcrop", "target 4", "Lantern", "the Harrow Tern", "the edge of the scour"),
        ),
    ),
    "French": Tongue(
        ("milles", "milles nautiques", "km", "kilomètres", "m", "mètres", "encablures"),
        ("au nord", "au sud-ouest", "au sud", "à l'est", "dans l'ouest"),
        ("à {n} {unit} {way} de {thing}", "{n} {unit} {way} de {thing}", "à {n} {unit} de {thing}"),
        ("Port Tamsin", "la pointe Maurelle", "l'île", "la côte", "Cap Maurelle"),
        ("la proue", "l'épave", "la chaudière", "l'ancre"),
    ),
    "Spanish": Tongue(
        ("millas", "millas náuticas", "km", "kilómetros", "m", "metros", "cables"),
        ("al norte", "al suroeste", "al sur", "al este", "al noroeste"),
        ("a {n} {unit} {way} de {thing}", "{n} {unit} {way} de {thing}", "a {n} {unit} de {thing}"),
        ("Cabo Ferrel", "la isla", "la costa", "Punta Velda", "Puerto Tamsin"),
        ("la proa", "la popa", "la caldera"),
    ),
    "Portuguese": Tongue(
        ("milhas", "milhas náuticas", "km", "quilómetros", "m", "metros"),
        ("a norte", "a sudoeste", "ao sul", "a leste", "a nordeste"),
        ("a {n} {unit} {way} de {thing}", "{n} {unit} {way} de {thing}", "a {n} {unit} de {thing}"),
        ("Cabo Ferrel", "Ilha Torva", "Ponta Velda", "Porto Tamsin"),
        ("proa", "popa", "caldeira"),
    ),
    "German": Tongue(
        ("Seemeilen", "sm", "Meilen", "km", "Kilometer", "m", "Meter"),
        ("nördlich", "südwestlich", "südlich", "östlich", "nordwestlich"),
        ("{n} {unit} {way} von {thing}", "etwa {n} {unit} {way} von {thing}", "{n} {unit} von {thing}"),
        ("Kap Dornau", "der Insel", "der Küste", "Torva"),
        ("Bug und Heck", "unserem Anker", "dem Wrack"),
    ),
}
COUNTS = {
    "English": ("12", "3.2", "14", "0.5", "three", "twelve", "forty-eight", "300"),
    "French": ("12", "3,2", "trois", "vingt"),
    "Spanish": ("12", "3,2", "tres", "veinte"),
    "Portuguese": ("12", "3,2", "três", "vinte"),
    "German": ("12", "3,2", "drei", "zwanzig"),
}


def ranges_written(source: random.Random, count: int, *, from_places: bool) -> Iterator[tuple[str, str]]:
    """Yield (language, text), `count` for each language; from places, or else from scene objects."""
    for language, tongue in TONGUES.items():
        for _ in range(count):
            text = source.choice(tongue.forms).format(
                n=source.choice(COUNTS[language]),
                unit=source.choice(tongue.units),
                way=source.choice(tongue.ways),
                thing=source.choice(tongue.places if from_places else tongue.scene),
            )
            yield language, text
