"""Degrees in running text that tell a position: decimal, with minutes, with seconds, marked or bare.

Rules: an angle with a hemisphere is a position unless it is a whole number, a turn, a slope or a side of
something; without a hemisphere it takes minutes behind a degree mark, or a pair; a number with another unit,
behind the name of a measurement or of a thing, is not an angle.
"""

from collections.abc import Sequence
from enum import IntEnum

from relay.core.place_angles import (
    BETWEEN_ANGLES,
    Angle,
    in_range,
    next_angles,
    read_angles,
    unit_follows,
    with_hemisphere,
)
from relay.core.place_finding import Hit, Notation
from relay.core.place_tokens import Kind, Token, token_at
from relay.core.place_words import (
    ANGLE_LIMITS,
    CUES,
    FIRM_CUES,
    HEMISPHERES,
    LABELLED_THINGS,
    MEASURE_JOINTS,
    MEASURES,
    SIDES,
    Axis,
)

_APPROACH = frozenset("at near around about roughly approximately along to vers nahe cerca bei".split())
_LATER = frozenset("later ago after before more long late into to from in".split())
_THING_JOINTS = frozenset(", and to - : # ' . or & is was reads".split())


class Weight(IntEnum):
    """How surely an angle with a hemisphere is a position."""

    FAINT = 1
    LIKELY = 2
    FIRM = 3


def find_angles(tokens: Sequence[Token]) -> list[Hit]:
    """Find every angle and pair of angles that tells a position."""
    hits: list[Hit] = []
    for at, token in enumerate(tokens):
        if token.kind is not Kind.NUMBER:
            continue
        for angle in read_angles(tokens, at):
            placed = with_hemisphere(tokens, angle)
            if _tells_alone(tokens, placed):
                hits.append(_hit(tokens, placed, placed))
            pair = [(placed, _placed_partner(tokens, placed)), (angle, _bare_partner(tokens, angle))]
            hits.extend(_hit(tokens, one, other) for one, other in pair if other is not None)
    return hits


def _hit(tokens: Sequence[Token], angle: Angle, last: Angle) -> Hit:
    notation = (Notation.DECIMAL_DEGREES, Notation.DEGREES_MINUTES, Notation.DEGREES_MINUTES_SECONDS)
    kind = notation[len(angle.parts) - 1]
    if len(angle.parts) == 1 and len(angle.parts[0].whole) > 3:
        kind = notation[1 if len(angle.parts[0].whole) < 6 else 2]
    return Hit(kind, tokens[angle.first].start, tokens[last.last - 1].end)


def _weight(angle: Angle) -> Weight:
    degrees = angle.parts[0]
    if len(angle.parts) > 1:
        clock = ":" in angle.joints and degrees.value < 24 and not angle.decimals
        sure = angle.degree_mark or angle.minute_mark or angle.decimals or len(angle.parts) == 3
        return Weight.FIRM if sure and not clock else Weight.LIKELY
    if len(degrees.whole) > 3:
        return Weight.FIRM if degrees.fraction else Weight.LIKELY
    if angle.decimals > 1 and not degrees.grouped:
        return Weight.FIRM
    return Weight.LIKELY if angle.decimals or angle.degree_mark else Weight.FAINT


def _tells_alone(tokens: Sequence[Token], angle: Angle) -> bool:
    if angle.axis is None:
        return _tells_bare(tokens, angle)
    if not in_range(angle) or _lower_letter(tokens, angle) or unit_follows(tokens, angle.last):
        return False
    weight, single = _weight(angle), len(angle.parts) == 1 and not angle.degree_mark
    if weight is Weight.FIRM:
        short = single and len(angle.parts[0].whole) < 4
        return not (short and (_measured(tokens, angle) or (angle.before and _names_a_thing(tokens, angle))))
    if _names_a_side(tokens, angle) or _measured(tokens, angle) or _names_a_thing(tokens, angle):
        return False
    return weight is Weight.LIKELY or _faint_tells(tokens, angle)


def _faint_tells(tokens: Sequence[Token], angle: Angle) -> bool:
    """A whole number of degrees: a latitude written as one, or anything behind a word that leads to a position."""
    degrees = angle.parts[0]
    lead = [token.text for token in tokens[max(0, angle.first - 2) : angle.first]]
    if any(word in _APPROACH or word in CUES for word in lead):
        return len(degrees.whole) > 1 and (angle.axis is Axis.LATITUDE or len(degrees.whole) == 3)
    if angle.before or angle.axis is not Axis.LATITUDE or degrees.value < 10:
        return False
    word = len(tokens[angle.hemisphere_at].raw) > 1
    return token_at(tokens, angle.last).kind is Kind.MARK if word else not degrees.spelled


def _lower_letter(tokens: Sequence[Token], angle: Angle) -> bool:
    raw = tokens[angle.hemisphere_at].raw
    fine = angle.degree_mark or angle.minute_mark or (len(angle.parts) > 1 and angle.decimals)
    return len(raw) == 1 and raw.islower() and not fine


def _names_a_side(tokens: Sequence[Token], angle: Angle) -> bool:
    """Say if the hemisphere is the side of something: "N end", "west face", "north of the bow"."""
    if angle.before:
        return False
    follower = token_at(tokens, angle.hemisphere_at + 1)
    if follower.text == "of":
        return not any(token.text in ANGLE_LIMITS for token in tokens[angle.last : angle.last + 4])
    apart = token_at(tokens, angle.hemisphere_at - 1).text == "," and len(angle.parts) == 1
    return follower.text in SIDES or (apart and follower.kind is Kind.WORD and follower.raw.islower())


def _before(tokens: Sequence[Token], at: int, count: int) -> list[Token]:
    """Return up to `count` tokens before `at`, nearest first, not beyond the start of the sentence."""
    near: list[Token] = []
    for step in range(at - 1, max(-1, at - 1 - count), -1):
        if tokens[step].text in (".", "?", "!") and token_at(tokens, step + 1).gap:
            break
        near.append(tokens[step])
    return near


def _measured(tokens: Sequence[Token], angle: Angle) -> bool:
    """Say if the number stands behind the name of a measurement, only joining words between."""
    for token in _before(tokens, angle.first, 6):
        if token.text in MEASURES:
            return True
        if token.kind is Kind.NUMBER or (token.kind is Kind.WORD and token.text not in MEASURE_JOINTS):
            break
    return any(token.text in ("sensor", "relative", "rel") for token in tokens[angle.last : angle.last + 5])


def _names_a_thing(tokens: Sequence[Token], angle: Angle) -> bool:
    number = angle.first - (2 if token_at(tokens, angle.first - 1).text == "," else 1)
    letter = token_at(tokens, number - 1)
    if angle.before and token_at(tokens, number).kind is Kind.NUMBER and letter.text in ("t", "p", "c", "z"):
        return True  # a row of values named by letters: T 2.81, S 34.91
    for token in _before(tokens, angle.first, 6):
        if token.text in LABELLED_THINGS:
            return True
        joins = token.kind is Kind.NUMBER or token.text in _THING_JOINTS or token.text in HEMISPHERES
        if not joins:
            return False
    return False


def _cued(tokens: Sequence[Token], angle: Angle, words: frozenset[str], count: int) -> bool:
    return any(token.text in words for token in _before(tokens, angle.first, count))


def _tells_bare(tokens: Sequence[Token], angle: Angle) -> bool:
    """Degrees marked as such with minutes behind them, or too fine to be a heading; unmarked ones standing alone."""
    if angle.parts[0].value > 180:
        return False
    if not angle.degree_mark:
        if unit_follows(tokens, angle.last):
            return False
        fine = angle.decimals >= (4 if len(angle.parts) == 1 else 2) and not angle.parts[0].grouped
        told = _alone(tokens, angle.first, angle.last) or _cued(tokens, angle, FIRM_CUES, 4)
        # Nothing that is measured on a dive has five decimals; one axis of a position does, copied from a screen.
        nameless = not _measured(tokens, angle) and not _names_a_thing(tokens, angle)
        told = told or (angle.decimals >= 5 and len(angle.parts) == 1 and nameless)
        return fine and len(angle.parts) < 3 and told
    if len(angle.parts) == 1:
        return angle.decimals > 2 and not angle.parts[0].grouped and not _measured(tokens, angle)
    if "," in angle.joints and not angle.minute_mark:
        return False
    if angle.minute_mark and token_at(tokens, angle.last).text in _LATER and len(angle.parts) == 2:
        return False
    if angle.minute_mark or angle.decimals > 0 or len(angle.parts) == 3:
        return True
    return _closes(tokens, angle.last) and len(angle.parts[1].whole) == 2 and not _measured(tokens, angle)


def _alone(tokens: Sequence[Token], first: int, last: int) -> bool:
    """Say if the text holds nothing else."""
    return first == 0 and last == len(tokens)


def _closes(tokens: Sequence[Token], at: int) -> bool:
    """Say if a clause ends at `at`."""
    return token_at(tokens, at).text in ("", ",", ".", ";", ")", "!", "?", "/") and token_at(tokens, at + 1).gap


def _placed_partner(tokens: Sequence[Token], angle: Angle) -> Angle | None:
    """Return the other coordinate right behind, both with hemispheres; whole numbers count."""
    if angle.axis is None or not in_range(angle):
        return None
    followers, _ = next_angles(tokens, angle.last)
    for candidate in followers:
        other = with_hemisphere(tokens, candidate, chained=angle.before)
        if other.axis is None or other.axis is angle.axis or other.before is not angle.before or not in_range(other):
            continue
        short = len(angle.parts[0].whole) < 2 or len(other.parts[0].whole) < 2
        plain = _weight(angle) is Weight.FAINT and _weight(other) is Weight.FAINT
        if plain and (short or _names_a_thing(tokens, angle)):
            continue
        return None if unit_follows(tokens, other.last) or (plain and _measured(tokens, angle)) else other
    return None


def _bare_partner(tokens: Sequence[Token], angle: Angle) -> Angle | None:
    """Return the other coordinate right behind, both without hemispheres."""
    followers, between = next_angles(tokens, angle.last)
    for other in followers:
        if len(other.parts) != len(angle.parts) or unit_follows(tokens, other.last):
            continue
        low, high = sorted((angle.parts[0].value, other.parts[0].value))
        if low > 90 or high > 180 or len(angle.parts[0].whole) > 3 or len(other.parts[0].whole) > 3:
            continue
        if _measured(tokens, angle) or _measured_behind(tokens, other):
            continue
        judge = _decimal_pair if len(angle.parts) == 1 else _sexagesimal_pair
        if judge(tokens, angle, other, between):
            return other
    return None


def _measured_behind(tokens: Sequence[Token], angle: Angle) -> bool:
    return any(token.text in ("sensor", "gauge", "psu") for token in tokens[angle.last : angle.last + 4])


def _decimal_pair(tokens: Sequence[Token], angle: Angle, other: Angle, between: str) -> bool:
    decimals = min(angle.decimals, other.decimals)
    signed = angle.signed or other.signed
    if _cued(tokens, angle, FIRM_CUES, 4):
        return True
    alone = _alone(tokens, angle.first, other.last)
    if decimals == 0:
        return alone and signed
    if angle.parts[0].grouped or other.parts[0].grouped:
        return signed or alone or _cued(tokens, angle, CUES, 6)
    if decimals >= 4 or (angle.degree_mark and other.degree_mark and not _in_series(tokens, angle, other)):
        return True
    if alone or _cued(tokens, angle, CUES, 6) or (signed and between not in ("x", "by")):
        return True
    return decimals >= 2 and between not in ("x", "by") and not _in_series(tokens, angle, other)


def _in_series(tokens: Sequence[Token], angle: Angle, other: Angle) -> bool:
    """Say if a third number goes on where the pair ends or stands before it: a list of measurements."""
    return _fraction_near(tokens, other.last, 1) or _fraction_near(tokens, angle.first - 1, -1)


def _fraction_near(tokens: Sequence[Token], at: int, way: int) -> bool:
    for step in range(at, at + 3 * way, way):
        token = token_at(tokens, step)
        if token.kind is Kind.NUMBER:
            return bool(token.fraction)
        if token.text not in BETWEEN_ANGLES:
            return False
    return False


def _sexagesimal_pair(tokens: Sequence[Token], angle: Angle, other: Angle, between: str) -> bool:
    if _cued(tokens, angle, FIRM_CUES, 4):
        return True
    if _names_a_thing(tokens, angle):
        return False
    if min(angle.decimals, other.decimals) > 0:
        return True
    if len(angle.parts) == 2 or _clock_or_date(angle, other):
        return False
    return _alone(tokens, angle.first, other.last) or any(mark in between for mark in ",;/|")


def _clock_or_date(angle: Angle, other: Angle) -> bool:
    """Say if two whole triples read as times of day or as dates."""
    both = (angle, other)
    if all(one.joints == "::" for one in both):
        return all(one.parts[0].value < 24 for one in both)
    dates = all(one.parts[0].value <= 31 and one.parts[1].value <= 12 for one in both)
    return dates and all(len(one.parts[0].whole) < 3 and set(one.joints) <= {"-", "."} for one in both)
