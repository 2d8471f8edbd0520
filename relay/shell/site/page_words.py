"""The words of the pages that the server makes: one catalogue for each language, of one shape.

Rules: a number comes already written; `{n}` stands for it; a pair of texts is for one and for several.
"""

from dataclasses import dataclass

from relay.core.errors import OperatorError

Pair = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageWords:
    """Every word of the server's pages in one language. `point`: the decimal mark; `group`: between thousands."""

    language: str
    point: str
    group: str
    site: str
    followed: str
    no_dive: str
    no_dive_more: str
    programme: str
    next_dive: str
    next_dive_soon: str
    questions: str
    under_way: str
    is_over: str
    late: str
    late_range: str
    prompt: str
    recorded: str
    local: str
    area: str
    untold: str
    all_dives: str
    dive: str
    going_on: str
    over: str
    follow: str
    watch: str
    back: str
    legs: dict[str, str]
    altitudes: dict[str, str]
    modes: dict[str, str]
    silent: str
    about_deep: str
    relative_deep: str
    last_note: str
    line: str
    line_deep: str
    lasted: str
    deepest: str
    bottom: str
    distance: str
    covered: str
    covered_each: str
    together: str
    checked: str
    dives: str
    track_of: str
    no_track: str
    not_north: str
    drawn_whole: str
    drawn_dashed: str
    dot: str
    vehicles: str
    figures: str
    verdicts: dict[str, str]
    targets: str
    coarse: str
    cautions_title: str
    cautions: tuple[str, ...]
    hours: str
    minutes: str
    seconds: str
    days: str
    metres: str
    kilometres: str
    square_metres: str
    square_kilometres: str
    to: str


EN = PageWords(
    language="en",
    point=".",
    group=",",
    site="A dive, followed from ashore",
    followed="Followed from ashore: late, coarse and without a place, on purpose.",
    no_dive="No dive yet",
    no_dive_more="When a vehicle goes into the water, what may be told of it will stand here.",
    programme="What is to come",
    next_dive="Next dive in about {n}",
    next_dive_soon="Next dive soon",
    questions="Ask a question (goes to somebody ashore, not to the ship)",
    under_way="Dive {n} is going on",
    is_over="Dive {n} is over",
    late="What you see happened {n} ago.",
    late_range="What you see happened {n} ago.",
    prompt="What you see is as recent as the ship can send it.",
    recorded="It was shown {n} late.",
    local="Positions are coarse and without a place, on purpose.",
    area="Of the place, only this is told, on purpose: {n}.",
    untold="Positions are not told, on purpose.",
    all_dives="All dives",
    dive="Dive {n}",
    going_on="going on",
    over="over",
    follow="Follow it",
    watch="Watch it again",
    back="The newest dive",
    legs={
        "deck": "on deck",
        "descent": "on the way down",
        "bottom": "at work below",
        "ascent": "on the way up",
    },
    altitudes={
        "on the bottom": "on the bottom",
        "near the bottom": "near the bottom",
        "mid-water": "in mid-water",
    },
    modes={"tethered": "on its tether", "autonomous": "on its own", "surface": "at the surface"},
    silent="no report",
    about_deep="about {n} deep",
    relative_deep="about {n} from where it reached the bottom",
    last_note="Last note",
    line="{n} long",
    line_deep="{n} long, {m} at its deepest",
    lasted="Length",
    deepest="Deepest",
    bottom="Time at work below",
    distance="Way on the plan",
    covered="Area covered",
    covered_each="Area covered, each dive for itself",
    together="{n}, vehicles together",
    checked="Targets checked",
    dives="Dives",
    track_of="Track of dive {n}, in a frame without a place; up is not north.",
    no_track="No track is shown of this dive.",
    not_north="Up is not north.",
    drawn_whole="{n}: whole line.",
    drawn_dashed="{n}: dashed line.",
    dot="A dot marks the last position shown.",
    vehicles="The vehicles",
    figures="In figures",
    verdicts={
        "unchecked": "not checked yet",
        "rock": "rock",
        "modern debris": "modern debris",
        "of interest": "of interest",
        "withheld": "not told",
    },
    targets="Targets",
    coarse="Worked out from what was released alone, so the figures are as coarse as that.",
    cautions_title="Please note",
    cautions=(
        "Not for navigation, vehicle control or collision avoidance.",
        (
            "A delay and a track without a place give less away; what ship tracking, photographs, crew or earlier "
            "texts give away, they do not undo."
        ),
        (
            "Wrecks may be protected heritage or graves: permits, reporting duties and local law come first, and "
            "licensed practice decides."
        ),
    ),
    hours="{n} h",
    minutes="{n} min",
    seconds="{n} s",
    days="{n} d",
    metres="{n} m",
    kilometres="{n} km",
    square_metres="{n} m²",
    square_kilometres="{n} km²",
    to="{n} to {m}",
)

DE = PageWords(
    language="de",
    point=",",
    group=".",
    site="Ein Tauchgang, von Land aus begleitet",
    followed="Von Land aus begleitet: später, grob und ohne Ort, mit Absicht.",
    no_dive="Noch kein Tauchgang",
    no_dive_more="Sobald ein Fahrzeug ins Wasser geht, steht hier, was davon erzählt werden darf.",
    programme="Was noch kommt",
    next_dive="Nächster Tauchgang in etwa {n}",
    next_dive_soon="Nächster Tauchgang bald",
    questions="Eine Frage stellen (an jemanden an Land, nicht an das Schiff)",
    under_way="Tauchgang {n} ist im Gange",
    is_over="Tauchgang {n} ist zu Ende",
    late="Was Sie sehen, geschah vor {n}.",
    late_range="Was Sie sehen, geschah vor {n}.",
    prompt="Was Sie sehen, ist so neu, wie das Schiff es senden kann.",
    recorded="Gezeigt wurde er {n} später.",
    local="Positionen sind mit Absicht grob und ohne Ort.",
    area="Vom Ort wird mit Absicht nur das gesagt: {n}.",
    untold="Positionen werden mit Absicht nicht genannt.",
    all_dives="Alle Tauchgänge",
    dive="Tauchgang {n}",
    going_on="im Gange",
    over="zu Ende",
    follow="Begleiten",
    watch="Noch einmal ansehen",
    back="Der neueste Tauchgang",
    legs={
        "deck": "an Deck",
        "descent": "auf dem Weg nach unten",
        "bottom": "unten bei der Arbeit",
        "ascent": "auf dem Weg nach oben",
    },
    altitudes={
        "on the bottom": "auf dem Grund",
        "near the bottom": "nahe am Grund",
        "mid-water": "im freien Wasser",
    },
    modes={"tethered": "am Kabel", "autonomous": "allein unterwegs", "surface": "an der Oberfläche"},
    silent="keine Meldung",
    about_deep="etwa {n} tief",
    relative_deep="etwa {n} von dort, wo es den Grund erreichte",
    last_note="Letzte Notiz",
    line="{n} lang",
    line_deep="{n} lang, bis {m} tief",
    lasted="Dauer",
    deepest="Größte Tiefe",
    bottom="Zeit unten bei der Arbeit",
    distance="Weg auf dem Plan",
    covered="Abgesuchte Fläche",
    covered_each="Abgesuchte Fläche, je Tauchgang",
    together="{n}, Fahrzeuge zusammen",
    checked="Geprüfte Ziele",
    dives="Tauchgänge",
    track_of="Spur von Tauchgang {n}, in einem Rahmen ohne Ort; oben ist nicht Norden.",
    no_track="Von diesem Tauchgang wird keine Spur gezeigt.",
    not_north="Oben ist nicht Norden.",
    drawn_whole="{n}: durchgezogen.",
    drawn_dashed="{n}: gestrichelt.",
    dot="Ein Punkt ist die letzte gezeigte Position.",
    vehicles="Die Fahrzeuge",
    figures="In Zahlen",
    verdicts={
        "unchecked": "noch nicht geprüft",
        "rock": "Fels",
        "modern debris": "heutiger Abfall",
        "of interest": "bemerkenswert",
        "withheld": "nicht genannt",
    },
    targets="Ziele",
    coarse="Allein aus dem Freigegebenen berechnet und daher ebenso grob.",
    cautions_title="Bitte beachten",
    cautions=(
        "Nicht für Navigation, Fahrzeugführung oder Kollisionsverhütung.",
        (
            "Eine Verzögerung und eine Spur ohne Ort verraten weniger; sie machen nicht ungeschehen, was "
            "Schiffsortung, Fotos, Besatzung oder frühere Veröffentlichungen verraten."
        ),
        (
            "Wracks können geschütztes Kulturgut oder Gräber sein: Genehmigungen, Meldepflichten und örtliches Recht "
            "gehen vor, und zugelassene Fachpraxis entscheidet."
        ),
    ),
    hours="{n} Std.",
    minutes="{n} Min.",
    seconds="{n} s",
    days="{n} T.",
    metres="{n} m",
    kilometres="{n} km",
    square_metres="{n} m²",
    square_kilometres="{n} km²",
    to="{n} bis {m}",
)

CATALOGUES = {catalogue.language: catalogue for catalogue in (EN, DE)}


def words_of(language: str) -> PageWords:
    """Return the catalogue of a language; OperatorError if there is none."""
    if language not in CATALOGUES:
        raise OperatorError(f"no words in {language!r}; one of {', '.join(CATALOGUES)}")
    return CATALOGUES[language]


def number(value: float, words: PageWords, digits: int = 0) -> str:
    """Return a number as the language writes it."""
    plain = f"{value:,.{digits}f}"
    return plain.replace(",", " ").replace(".", words.point).replace(" ", words.group)


def duration(seconds: float, words: PageWords) -> str:
    """Return a duration in its two largest units, whole minutes from an hour on."""
    if seconds < 60:
        return words.seconds.format(n=number(seconds, words))
    whole = round(seconds / 60)
    hours, minutes = divmod(whole, 60)
    parts = [words.hours.format(n=number(hours, words))] if hours else []
    parts += [words.minutes.format(n=number(minutes, words))] if minutes or not hours else []
    return " ".join(parts)


def coarse(value: float) -> float:
    """Return a number to two leading figures, as the followers' page tells what is summed up from coarse positions."""
    return float(f"{value:.1e}")


def length(metres: float, words: PageWords) -> str:
    """Return a length to two leading figures: metres, or kilometres from one on."""
    told_m = coarse(metres)
    if told_m < 1_000:
        return words.metres.format(n=number(told_m, words))
    return words.kilometres.format(n=number(told_m / 1_000, words, 1 if told_m % 1_000 else 0))


def depth(metres: float, words: PageWords) -> str:
    """Return a depth: metres, however deep (common practice, no source)."""
    return words.metres.format(n=number(metres, words))


def area(square_metres: float, words: PageWords) -> str:
    """Return an area to two leading figures: square metres, or square kilometres from a tenth on."""
    told_m2 = coarse(square_metres)
    if told_m2 < 100_000:
        return words.square_metres.format(n=number(told_m2, words))
    told_km2 = told_m2 / 1e6
    return words.square_kilometres.format(n=number(told_km2, words, 2 if told_km2 < 1 else 1 if told_km2 < 10 else 0))
