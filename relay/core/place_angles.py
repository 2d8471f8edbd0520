"""Numbers read as angles: one to three parts, their marks, sign and hemisphere, and the angle that follows.

Rules: reading judges nothing but range and form; each number begins at most three readings, longer first; every
look ahead or back is bounded, so the work per token is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from relay.core.place_number_words import DEGREE_WORDS, MINUTE_WORDS, SECOND_WORDS
from relay.core.place_tokens import Kind, Token, token_at
from relay.core.place_words import HEMISPHERES, LENGTH_UNITS, OTHER_UNITS, Axis

_BETWEEN_PARTS = frozenset("- : . _ * ^ o , ( and et y e und".split())
BETWEEN_ANGLES = frozenset(", / ; | & and by x et y e und - : ) ( ] [ > < + \" ' . °".split())
_MOST_BETWEEN = 6


@dataclass(frozen=True, slots=True)
class Angle:
    """One to three numbers read as degrees, minutes, seconds; `first` and `last` bound its tokens, half-open."""

    first: int
    last: int
    parts: tuple[Token, ...]
    degree_mark: str
    minute_mark: bool
    joints: str
    signed: bool
    axis: Axis | None = None
    hemisphere_at: int = -1
    before: bool = False

    @property
    def decimals(self) -> int:
        """Digits after the point of the last part."""
        return len(self.parts[-1].fraction)


def unit_follows(tokens: Sequence[Token], at: int) -> bool:
    """Say if the number ending before `at` has a unit other than degrees of a position."""
    token = token_at(tokens, at)
    if token.text == "°":
        return token_at(tokens, at + 1).text in ("c", "f", "k") and not token_at(tokens, at + 1).gap
    if token.text == "%":
        return True
    if token.text == "x":
        return token_at(tokens, at + 1).kind is Kind.NUMBER
    if token.text in HEMISPHERES and token_at(tokens, at + 1).kind is Kind.NUMBER:
        return False  # the W of the next longitude, not watts
    return token.text in LENGTH_UNITS or token.text in OTHER_UNITS


def read_angles(tokens: Sequence[Token], at: int) -> list[Angle]:
    """Read one, two and three parts from the number at `at`; longer first."""
    degrees = tokens[at]
    if len(degrees.whole) > 7:
        return []
    first = at - 1 if _sign(tokens, at) else at
    end, mark = _degree_mark(tokens, at + 1)
    found = [Angle(first, end, (degrees,), mark, False, "", first < at)]
    if degrees.fraction or len(degrees.whole) > 3 or degrees.value > 180:
        return found
    for _ in range(2):
        longer = _next_part(tokens, found[-1])
        if longer is None:
            break
        found.append(longer)
        if longer.parts[-1].fraction:
            break
    return found[::-1]


def _degree_mark(tokens: Sequence[Token], at: int) -> tuple[int, str]:
    token = token_at(tokens, at)
    if token.text not in DEGREE_WORDS or unit_follows(tokens, at):
        return at, ""
    follower = token_at(tokens, at + 1).text
    if follower in ("c", "f", "celsius", "fahrenheit"):
        return at, ""
    return at + 1, token.text


def _next_part(tokens: Sequence[Token], angle: Angle) -> Angle | None:
    """Read one more number, below 60, as minutes or seconds."""
    at, joint = angle.last, token_at(tokens, angle.last)
    between = joint.text if joint.text in _BETWEEN_PARTS else ""
    if between == "," and not angle.degree_mark:
        return None
    at += 1 if between else 0
    part = token_at(tokens, at)
    if part.kind is not Kind.NUMBER or part.value >= 60 or len(part.whole) > 2:
        return None
    end, marked = _part_mark(tokens, at, angle)
    if not marked and unit_follows(tokens, end) and token_at(tokens, end).text not in HEMISPHERES:
        return None
    minute_mark = angle.minute_mark or (marked and len(angle.parts) == 1)
    parts = (*angle.parts, part)
    joints = angle.joints + (between or " ")
    return Angle(angle.first, end, parts, angle.degree_mark, minute_mark, joints, angle.signed)


def _part_mark(tokens: Sequence[Token], at: int, angle: Angle) -> tuple[int, bool]:
    """Step over a minute or second mark behind the number at `at`."""
    token, follower = token_at(tokens, at + 1), token_at(tokens, at + 2)
    if len(angle.parts) == 1:
        tight = angle.degree_mark == "d" or not tokens[at].gap
        seconds = follower.kind is Kind.NUMBER and token_at(tokens, at + 3).raw == "s"
        letter = token.raw == "m" and not token.gap and (tight or seconds)
        if token.text in MINUTE_WORDS or (letter and angle.degree_mark):
            return at + 2, True
        return at + 1, False
    if token.text == "'" and follower.text == "'":
        return at + 3, True
    letter = token.raw == "s" and not token.gap and angle.minute_mark
    if token.text in SECOND_WORDS or letter:
        return at + 2, True
    return at + 1, False


def _sign(tokens: Sequence[Token], at: int) -> bool:
    mark, before = token_at(tokens, at - 1), token_at(tokens, at - 2)
    if mark.text not in ("-", "+") or (token_at(tokens, at).gap and not token_at(tokens, at).spelled):
        return False
    return mark.gap or before.kind is Kind.MARK


def with_hemisphere(tokens: Sequence[Token], angle: Angle, *, chained: bool = False) -> Angle:
    """Return the angle with the hemisphere next to it, the one before taken first.

    `chained`: the angle before this one has its hemisphere in front, so this one may too.
    """
    at = _hemisphere_before(tokens, angle, chained)
    if at is not None:
        axis = HEMISPHERES[tokens[at].text]
        return replace(angle, first=at, axis=axis, hemisphere_at=at, before=True)
    at = _hemisphere_after(tokens, angle)
    if at is not None:
        axis = HEMISPHERES[tokens[at].text]
        return replace(angle, last=at + 1, axis=axis, hemisphere_at=at)
    return angle


def _hemisphere_before(tokens: Sequence[Token], angle: Angle, chained: bool) -> int | None:
    at = angle.first - 1
    mark = token_at(tokens, at)
    if mark.text in (":", "=", "-", "°") or (mark.text == "." and len(token_at(tokens, at - 1).raw) == 1):
        at -= 1
    token = token_at(tokens, at)
    if token.kind is not Kind.WORD or token.text not in HEMISPHERES or token.raw in ("e", "s", "n", "w", "o"):
        return None
    if token.raw == "O" and len(angle.parts[0].whole) == 1:
        return None  # O2
    previous = token_at(tokens, at - 1)
    sticks = token.gap and not token_at(tokens, at + 1).gap
    if (previous.kind is Kind.NUMBER and not chained and not sticks) or (previous.text == "-" and not token.gap):
        return None
    if previous.kind is Kind.WORD and previous.text in HEMISPHERES and len(previous.text) > 1:
        return None
    return at


def _hemisphere_after(tokens: Sequence[Token], angle: Angle) -> int | None:
    at = angle.last
    mark = token_at(tokens, at)
    if mark.text in (",", "-", "_", ")", "*", "(", "[") or (mark.text == "." and not token_at(tokens, at + 1).gap):
        at += 1
    token, follower = token_at(tokens, at), token_at(tokens, at + 1)
    if token.kind is not Kind.WORD or token.text not in HEMISPHERES:
        return None
    if token.gap and follower.kind is Kind.NUMBER and not follower.gap:
        return None  # the letter belongs to the number behind it: N4, E12
    if mark.text == "," and follower.kind is Kind.NUMBER:
        return None
    if follower.text in ("-", "'") and not follower.gap and token_at(tokens, at + 2).kind is Kind.WORD:
        return None if not token_at(tokens, at + 2).gap else at
    turn = follower.kind is Kind.WORD and HEMISPHERES.get(follower.text, HEMISPHERES[token.text])
    if turn and turn is not HEMISPHERES[token.text] and token_at(tokens, at + 2).kind is not Kind.NUMBER:
        return None  # "north west" is a direction
    return at


def in_range(angle: Angle) -> bool:
    """Say if the degrees are possible for the angle's axis, and minutes and seconds below 60."""
    limit = 90 if angle.axis is Axis.LATITUDE else 180
    degrees = angle.parts[0]
    if len(angle.parts) == 1 and len(degrees.whole) > 3:
        return _compact_in_range(degrees, limit)
    return degrees.value <= limit


def _compact_in_range(token: Token, limit: int) -> bool:
    """Say if digits read as DDMM, DDDMM, DDMMSS or DDDMMSS."""
    digits = token.whole
    pairs = 1 if len(digits) < 6 else 2
    head = digits[: -2 * pairs]
    tail = [digits[len(head) + 2 * step :][:2] for step in range(pairs)]
    return int(head or "0") <= limit and all(int(pair) < 60 for pair in tail)


def next_angles(tokens: Sequence[Token], at: int) -> tuple[list[Angle], str]:
    """Return the angles that start right behind `at`, over a few separating tokens, and the separator."""
    step, between = at, ""
    while step < at + _MOST_BETWEEN and token_at(tokens, step).text in BETWEEN_ANGLES and step < len(tokens):
        if token_at(tokens, step).text in ("-", "+") and _sign(tokens, step + 1):
            break
        between += tokens[step].text
        step += 1
    leads = token_at(tokens, step)
    if leads.text in ("-", "+") or (leads.kind is Kind.WORD and leads.text in HEMISPHERES):
        step += 1
    if token_at(tokens, step).kind is not Kind.NUMBER:
        return [], between
    return read_angles(tokens, step), between
