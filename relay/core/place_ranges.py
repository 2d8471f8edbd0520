"""Ranges and bearings from a place on a chart, and places named by their kind: "12 nm SW of Cape ...".

Rules: a range or bearing from a scene object, a lower-case common noun from a short list or a name of the ship,
her vehicles or the wreck given by the caller, is fine: the object itself has no published place. Anything else
behind a distance and a direction, or behind "from" or "off", is a place. Work per token is bounded.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

from relay.core.place_finding import Hit, Notation
from relay.core.place_number_words import DEGREE_WORDS
from relay.core.place_tokens import Kind, Token, token_at
from relay.core.place_words import (
    BEARINGS,
    CALENDAR,
    COPULAS,
    DETERMINERS,
    DIRECTION_LETTERS,
    DIRECTIONS,
    FEATURES,
    LAND,
    LENGTH_UNITS,
    LONG_UNITS,
    LOOSE_RELATIONS,
    MEASURES,
    NOT_FROM_A_PLACE,
    OFFSHORE,
    PATH_WORDS,
    PLAIN_RELATIONS,
    SCENE,
    SCENE_OVERRIDES_LAND,
    TIME_UNITS,
    VAGUE_COUNTS,
)

_PHRASE = 8
_PATH = 12
_SENTENCE = 16
_NEARBY = frozenset("off near outside opposite towards toward abeam pres cerca perto close".split())
_NEAR_JOINTS = frozenset("the to of de du da do del a".split())
_STANDS = frozenset("is lies bears stands was".split())
_THROUGH = frozenset("of de du des d del do da von vom der den des and - '".split())
_COMPOUNDS = frozenset({("light", "vessel"), ("light", "ship"), ("light", "house"), ("light", "float")})
_UNSEEN = DETERMINERS | _THROUGH | DIRECTIONS
_STOPS = frozenset("in at on with is are was were but while then for as by into after before when".split())


class Anchor(Enum):
    """What a range or bearing is measured from."""

    NONE = 0
    SCENE = 1
    OTHER = 2
    PLACE = 3


@dataclass(frozen=True, slots=True)
class Scene:
    """The words that name scene objects, and whether the text is all capitals."""

    words: frozenset[str]
    names: frozenset[str]
    shouting: bool


def find_ranges(tokens: Sequence[Token], names: frozenset[str]) -> list[Hit]:
    """Find ranges and bearings from places; `names` are lower-case words that count as scene objects."""
    shouting = not any(len(token.raw) > 2 and any(map(str.islower, token.raw)) for token in tokens)
    scene = Scene(SCENE | names, names, shouting)
    hits: list[Hit] = []
    for at, token in enumerate(tokens):
        if token.kind is not Kind.WORD and token.text != "'":
            continue
        for judge in (_distance, _far, _direction, _nearby, _bearing):
            found = judge(tokens, at, scene)
            if found is not None:
                hits.append(Hit(Notation.FROM_A_PLACE, tokens[found[0]].start, tokens[found[1] - 1].end))
        named = _feature(tokens, at, scene)
        if named is not None:
            hits.append(Hit(Notation.NAMED_FEATURE, tokens[named[0]].start, tokens[named[1] - 1].end))
    return hits


def _capital(token: Token, scene: Scene) -> bool:
    if token.kind is not Kind.WORD or not token.raw[0].isupper() or len(token.raw) < 3:
        return False
    return not scene.shouting and token.text not in scene.words and token.text not in CALENDAR


def _is_land(tokens: Sequence[Token], at: int, scene: Scene) -> bool:
    token, follower = token_at(tokens, at), token_at(tokens, at + 1)
    if token.kind is not Kind.WORD or token.text not in LAND or token.text in scene.names:
        return False
    if (follower.text == "-" and not follower.gap) or (token.text == "land" and follower.kind is Kind.NUMBER):
        return False
    if token.text in SCENE_OVERRIDES_LAND:
        if (token.text, follower.text) in _COMPOUNDS or (token.text == "port" and _capital(follower, scene)):
            return True
        plain = follower.kind is Kind.WORD and follower.text in scene.words | _STOPS
        return not plain and token_at(tokens, at - 1).text != "to"
    return True


def _anchor(tokens: Sequence[Token], at: int, scene: Scene) -> tuple[Anchor, int]:
    """Judge the phrase that starts at `at`; return what it is and where it ends."""
    end, kind, words = at, Anchor.NONE, 0
    while end < min(len(tokens), at + _PHRASE):
        token = tokens[end]
        if token.kind is Kind.MARK and token.text not in ("-", "'"):
            break
        if token.kind is Kind.NUMBER or token.text in _STOPS:
            break
        if token.kind is Kind.WORD and token.text not in _UNSEEN:
            words += 1
            if _is_land(tokens, end, scene):
                return Anchor.PLACE, end + 1
            follows = kind is Anchor.SCENE and tokens[end - 1].text in scene.words
            if follows and not _capital(token, scene) and token.text not in scene.words:
                break  # the phrase is over: "the boiler stands"
            kind = _next_kind(kind, token, scene, words)
        end += 1
    return kind, end


def _next_kind(kind: Anchor, token: Token, scene: Scene, words: int) -> Anchor:
    if kind is Anchor.PLACE:
        return kind
    if _capital(token, scene):
        return Anchor.PLACE
    return Anchor.SCENE if kind is Anchor.SCENE or (token.text in scene.words and words <= 4) else Anchor.OTHER


def _distance(tokens: Sequence[Token], at: int, scene: Scene) -> tuple[int, int] | None:
    """Judge a distance whose unit stands at `at`, with the way it leads."""
    first = _distance_start(tokens, at)
    if first is None:
        return None
    timed = tokens[at].text in TIME_UNITS
    land_before = _land_before(tokens, first, scene)
    directed, step = land_before is not None and not timed and _directed_or_long(tokens, at), at + 1
    if directed and land_before is not None:
        return land_before, at + 1
    direction = False
    while step < min(len(tokens), at + _PATH):
        token = tokens[step]
        if token.text in OFFSHORE and not timed:
            return first, step + 1
        if token.text in PLAIN_RELATIONS or token.text in LOOSE_RELATIONS:
            found = _related(tokens, step, scene, direction=direction, timed=timed)
            if found:
                return first, found
        if token.text in DIRECTIONS and (token.text not in DIRECTION_LETTERS or token.raw.isupper() or direction):
            direction = True
        elif token.kind is Kind.NUMBER or token.text in PATH_WORDS or token.text in PLAIN_RELATIONS | LOOSE_RELATIONS:
            pass
        elif token.text not in DIRECTIONS and token.text not in BEARINGS:
            return None
        step += 1
    return None


def _far(tokens: Sequence[Token], at: int, scene: Scene) -> tuple[int, int] | None:
    """Judge miles or kilometres in one sentence with land or with a name unknown on the site."""
    first = _distance_start(tokens, at)
    if first is None or tokens[at].text not in LONG_UNITS:
        return None
    if any(token.text in NOT_FROM_A_PLACE for token in tokens[at + 1 : at + 4]):
        return None
    around = (*_sentence(tokens, first - 1, -1), *_sentence(tokens, at + 1, 1))
    strangers = [step for step in around if _is_land(tokens, step, scene) or _unknown_name(tokens, step, scene)]
    return (min(first, *strangers), max(at, *strangers) + 1) if strangers else None


def _sentence(tokens: Sequence[Token], at: int, way: int) -> Iterator[int]:
    """Yield the tokens from `at` in one direction, to the end of the sentence or a bounded way."""
    for step in range(at, at + way * _SENTENCE, way):
        if not 0 <= step < len(tokens) or _ends_sentence(tokens, step):
            return
        yield step


def _ends_sentence(tokens: Sequence[Token], at: int) -> bool:
    return token_at(tokens, at).text in (".", "!", "?", "") and token_at(tokens, at + 1).gap


def _unknown_name(tokens: Sequence[Token], at: int, scene: Scene) -> bool:
    """Say if a capitalised word stands here that is no scene object, nor the plain first word of a sentence."""
    token = tokens[at]
    if not _capital(token, scene) or token.text in DIRECTIONS | MEASURES | LENGTH_UNITS:
        return False
    if token.raw.isupper() and len(token.raw) < 5:
        return False
    first = at == 0 or _ends_sentence(tokens, at - 1)
    return not first or (token_at(tokens, at + 1).text in _STANDS and token.text not in DETERMINERS | _STOPS)


def _related(tokens: Sequence[Token], at: int, scene: Scene, *, direction: bool, timed: bool) -> int:
    """Return the end of a place that the relation at `at` leads to, else 0."""
    kind, end = _anchor(tokens, at + 1, scene)
    if kind is Anchor.PLACE and timed and tokens[end - 1].raw == "port":
        return 0  # "three days out of port" is history
    if kind is Anchor.PLACE:
        loose = tokens[at].text in ("of", "in", "into") and not direction
        return end if not loose or _within(tokens, at) else 0
    if kind is Anchor.OTHER and not timed:
        apart = tokens[at].text in ("from", "off") or direction
        return end if apart and tokens[at].text not in ("to", "a", "into") else 0
    return 0


def _within(tokens: Sequence[Token], at: int) -> bool:
    return any(token.text in ("within", "abeam", "short", "out", "inside") for token in tokens[max(0, at - 5) : at])


def _distance_start(tokens: Sequence[Token], at: int) -> int | None:
    """Return where the count before the unit at `at` starts, None if this is no distance."""
    token, before = tokens[at], token_at(tokens, at - 1)
    if token.text == "'":
        follows = token_at(tokens, at + 1).text in DIRECTIONS
        return at - 1 if before.kind is Kind.NUMBER and follows else None
    if token.text not in LENGTH_UNITS and token.text not in TIME_UNITS and not _abbreviated(tokens, at):
        return None
    if before.kind is Kind.NUMBER:
        return at - 1
    if token.text in LONG_UNITS or token.text in VAGUE_COUNTS or before.text in VAGUE_COUNTS or before.text == "-":
        return max(0, at - 1) if before.text in VAGUE_COUNTS or before.text in LENGTH_UNITS else at
    return None


def _abbreviated(tokens: Sequence[Token], at: int) -> bool:
    """Say if "n.m." stands here."""
    return [token.text for token in tokens[at : at + 3]] == ["n", ".", "m"] and not tokens[at + 1].gap


def _directed_or_long(tokens: Sequence[Token], at: int) -> bool:
    near = tokens[at + 1 : at + 6]
    return tokens[at].text in LONG_UNITS or any(token.text in DIRECTIONS for token in near)


def _land_before(tokens: Sequence[Token], at: int, scene: Scene) -> int | None:
    """Return where land named just before the distance starts: "the island is 3 miles"."""
    step = at - 1
    while step >= 0 and at - step < 8:
        token = tokens[step]
        if _is_land(tokens, step, scene):
            return None if token_at(tokens, step + 1).kind is Kind.NUMBER and token.text == "cap" else step
        joins = token.text in COPULAS or token.text in BEARINGS or token.kind is Kind.NUMBER or token.text in (",", "°")
        if not joins and not _capital(token, scene):
            return None
        step -= 1
    return None


def _direction(tokens: Sequence[Token], at: int, scene: Scene) -> tuple[int, int] | None:
    """Judge "south of Cape ..." without a distance."""
    token, relation = tokens[at], token_at(tokens, at + 1)
    if token.text not in DIRECTIONS or (token.text in DIRECTION_LETTERS and not token.raw.isupper()):
        return None
    if relation.text not in ("of", "from", "de", "du", "del", "do", "da", "von", "vom", "der"):
        return None
    if relation.text == "of" and token_at(tokens, at + 3).text in DEGREE_WORDS and not _warm(tokens, at + 4):
        return at, at + 4  # "north of 48 degrees"
    kind, end = _anchor(tokens, at + 2, scene)
    return (at, end) if kind is Anchor.PLACE else None


def _warm(tokens: Sequence[Token], at: int) -> bool:
    return token_at(tokens, at).text in ("c", "f", "celsius")


def _nearby(tokens: Sequence[Token], at: int, scene: Scene) -> tuple[int, int] | None:
    """Judge "off ...", "near ..." before a name unknown on the site, or a kind of place and a word."""
    if tokens[at].text not in _NEARBY:
        return None
    step = at + 1
    while token_at(tokens, step).text in _NEAR_JOINTS and step < at + 4:
        step += 1
    token, follower = token_at(tokens, step), token_at(tokens, step + 1)
    if _capital(token, scene) and _unknown_name(tokens, step, scene):
        return at, step + 1
    kind = token.text in FEATURES and token.text not in scene.names and step == at + 1
    named = follower.kind is Kind.WORD and follower.text not in scene.words | _STOPS | DETERMINERS | LOOSE_RELATIONS
    return (at, step + 2) if kind and named and token.text not in SCENE_OVERRIDES_LAND - {"port"} else None


def _bearing(tokens: Sequence[Token], at: int, scene: Scene) -> tuple[int, int] | None:
    """Judge "bearing 245 from the light" and "the light bears 065"."""
    if tokens[at].text not in BEARINGS:
        return None
    number = next((step for step in range(at + 1, at + 4) if token_at(tokens, step).kind is Kind.NUMBER), None)
    if number is None:
        return None
    subject = _land_before(tokens, at, scene)
    if subject is None and _stranger(tokens, at, number, scene):
        subject = at - 1
    if subject is not None:
        return subject, number + 1
    for step in range(number + 1, min(len(tokens), number + 8)):
        token = tokens[step]
        if token.text in PLAIN_RELATIONS or token.text in LOOSE_RELATIONS:
            kind, end = _anchor(tokens, step + 1, scene)
            if kind is Anchor.PLACE or (kind is Anchor.OTHER and token.text in PLAIN_RELATIONS):
                return at, end
        elif token.kind is Kind.WORD and token.text not in PATH_WORDS and token.text not in LENGTH_UNITS:
            return None
    return None


def _stranger(tokens: Sequence[Token], at: int, number: int, scene: Scene) -> bool:
    """Say if a name unknown on the site bears, or is a bearing with a long distance: "... bears 065"."""
    subject = token_at(tokens, at - 1)
    if (
        subject.kind is not Kind.WORD
        or len(subject.text) < 3
        or subject.text in scene.words | DETERMINERS | _STOPS | LOOSE_RELATIONS
    ):
        return False
    far = any(token.text in LONG_UNITS for token in tokens[number + 1 : number + 6])
    return tokens[at].text in ("bears", "bore", "peilt") or (far and _capital(subject, scene))


def _feature(tokens: Sequence[Token], at: int, scene: Scene) -> tuple[int, int] | None:
    """Find a kind of place with a name before or behind it: "Cape ...", "... Island"."""
    token = tokens[at]
    if token.text not in FEATURES or token.text in scene.names or scene.shouting:
        return None
    step = at + 1
    while token_at(tokens, step).text in ("of", "de", "du", "del", "la", "do", "da", "'", "d", "l") and step < at + 4:
        step += 1
    if _capital(token_at(tokens, step), scene) and not token_at(tokens, step).text.endswith("ing"):
        return at, step + 1
    before = token_at(tokens, at - 1)
    if token.raw[0].isupper() and _capital(before, scene) and before.text not in DIRECTIONS and at > 0:
        return (at - 1, at + 1) if before.text not in DETERMINERS else None
    return None
