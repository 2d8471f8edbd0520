"""Numbers named as latitude or longitude, before or behind the name, and parallels and meridians.

Rules: only words that join may stand between the name and its number; a length or a duration is not a latitude.
Work per token is bounded.
"""

from collections.abc import Sequence

from relay.core.place_angles import unit_follows
from relay.core.place_finding import Hit, Notation
from relay.core.place_number_words import DEGREE_WORDS
from relay.core.place_tokens import Kind, Token, token_at
from relay.core.place_words import HEMISPHERES, LABEL_FILLERS, LABELLED_THINGS, LATITUDE_LABELS, LONGITUDE_LABELS, Axis

_REACH = 10
_ENDS = frozenset("! ? ;".split())
_ORDINALS = frozenset("th st nd rd".split())
_CIRCLES = frozenset("parallel parallels meridian meridians".split())
# "long" and "lat" words that are also ordinary words need a mark or a partner.
_AMBIGUOUS = frozenset("long lange laenge".split())


def find_labels(tokens: Sequence[Token]) -> list[Hit]:
    """Find every latitude or longitude that is called so."""
    hits: list[Hit] = []
    partner = False
    for at, token in enumerate(tokens):
        if token.kind is Kind.NUMBER:
            end = _circle(tokens, at)
            if end:
                hits.append(Hit(Notation.LABELLED, token.start, tokens[end - 1].end))
            continue
        axis = _axis(token)
        if axis is None:
            continue
        number = _number_behind(tokens, at)
        sure = token.text not in _AMBIGUOUS or partner or _introduces(tokens, at)
        if number is not None and sure:
            hits.append(Hit(Notation.LABELLED, token.start, tokens[number].end))
        number = _number_before(tokens, at)
        if number is not None and (token.text not in _AMBIGUOUS or partner):
            hits.append(Hit(Notation.LABELLED, tokens[number].start, token.end))
        partner = partner or axis is Axis.LATITUDE
    return hits


def _axis(token: Token) -> Axis | None:
    """Return which coordinate a word names, the usual misspellings included."""
    if token.text in LATITUDE_LABELS or token.text.startswith(("latit", "lattit")):
        return Axis.LATITUDE
    if token.text in LONGITUDE_LABELS or token.text.startswith(("longit", "longti", "longdi")):
        return Axis.LONGITUDE
    return None


def _circle(tokens: Sequence[Token], at: int) -> int:
    """Return the end of "48th parallel", else 0."""
    if token_at(tokens, at + 1).text in _ORDINALS and token_at(tokens, at + 2).text in _CIRCLES:
        return at + 3
    return 0


def _introduces(tokens: Sequence[Token], at: int) -> bool:
    follower, second = token_at(tokens, at + 1), token_at(tokens, at + 2)
    hemisphere = follower.raw in ("E", "W", "O") and second.kind is Kind.NUMBER
    signed = follower.text == "." and second.text in ("-", "+")
    return follower.text in (":", "=", '"', "'") or hemisphere or signed


def _number_behind(tokens: Sequence[Token], at: int) -> int | None:
    spelled_out = len(tokens[at].text) > 6  # nobody writes "latitude" in passing
    for step in range(at + 1, min(len(tokens), at + 1 + _REACH)):
        token = tokens[step]
        if token.kind is Kind.NUMBER and step > at + 1 and not token.gap and tokens[step - 1].kind is Kind.WORD:
            continue  # wgs84
        if token.kind is Kind.NUMBER:
            return step if _is_angle(tokens, step) else None
        if token.text == "." and token_at(tokens, step + 1).gap and step > at + 1:
            return None
        joins = token.kind is Kind.MARK and token.text not in _ENDS
        joins = joins or (spelled_out and token.text not in LABELLED_THINGS)
        if not joins and token.text not in LABEL_FILLERS and not _axis(token):
            return None
    return None


def _number_before(tokens: Sequence[Token], at: int) -> int | None:
    step = at - 1
    while step > at - 4 and (token_at(tokens, step).text in DEGREE_WORDS or token_at(tokens, step).text in _BACK):
        step -= 1
    token = token_at(tokens, step)
    return step if token.kind is Kind.NUMBER and token.value <= 180 and step < at else None


_BACK = frozenset({"of", "in", "-", "de", *(word for word in HEMISPHERES if len(word) > 3)})


def _is_angle(tokens: Sequence[Token], at: int) -> bool:
    token = tokens[at]
    if token_at(tokens, at + 1).text == ":" and token_at(tokens, at + 2).kind is Kind.NUMBER and token.value < 24:
        return False  # a time of day
    compact = len(token.whole) in (4, 5, 6, 7)
    return (token.value <= 180 or compact) and not unit_follows(tokens, at + 1)
