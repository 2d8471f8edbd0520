"""Folded text cut into numbers, words and marks, with numbers spelled in words read as numbers.

Rules: a token keeps its range in the folded text; a number keeps its digits as written, because leading zeros
and the count of decimals tell a position from a measurement; cutting is one pass.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from relay.core.place_fold import Folded
from relay.core.place_number_words import (
    AND_WORDS,
    CAUTIOUS_WORDS,
    DECIMAL_WORDS,
    DEGREE_WORDS,
    HUNDRED_WORDS,
    MINUS_WORDS,
    MINUTE_WORDS,
    NUMBER_WORDS,
    SPELLING_ALPHABET,
    STUCK_MARKS,
)


class Kind(Enum):
    """What a token is."""

    NUMBER = 1
    WORD = 2
    MARK = 3


@dataclass(frozen=True, slots=True)
class Token:
    """One piece of folded text.

    `text` is lower-case, `raw` as written. `gap`: white space stands before it. For numbers, `whole` and
    `fraction` are digit strings; `grouped` means a comma and exactly three digits, which may be thousands.
    """

    kind: Kind
    text: str
    raw: str
    start: int
    end: int
    gap: bool
    whole: str = ""
    fraction: str = ""
    grouped: bool = False
    spelled: bool = False

    @property
    def value(self) -> float:
        """The number, a comma read as a decimal point; beyond ten digits it is as good as infinite."""
        if len(self.whole) > 10:
            return float("inf")
        return float(f"{self.whole or '0'}.{self.fraction[:12] or '0'}")


NOTHING = Token(Kind.MARK, "", "", 0, 0, True)


def token_at(tokens: Sequence[Token], at: int) -> Token:
    """Return the token at `at`, or an empty mark outside the text."""
    return tokens[at] if 0 <= at < len(tokens) else NOTHING


_PIECE = re.compile(
    r"(?P<dotted>(?<![\d.])\d{1,3}\.\d{1,2}\.\d{1,2}(?:\.\d{1,6})?(?![.\d]))"
    r"|(?P<grouped>(?<![\d.,])\d{1,3}(?:,\d{3}){1,4}(?:\.\d+)?(?![\d]))"
    r"|(?P<number>\d+(?:[.,]\d+)?|(?<!\d)\.\d+)"
    r"|(?P<word>[^\W\d_]+)"
    r"|(?P<mark>\S)"
)
_DOTTED = re.compile(r"\d+(?:\.\d+$)?|\.")


def tokenize(folded: Folded) -> list[Token]:
    """Cut folded text into tokens, numbers in words included."""
    tokens: list[Token] = []
    end = 0
    for match in _PIECE.finditer(folded.text):
        gap = match.start() > end or not tokens
        end = match.end()
        if match.lastgroup == "dotted":
            tokens.extend(_dotted(match, gap))
        elif match.lastgroup in ("grouped", "number"):
            tokens.append(_number(match.group(), match.start(), gap, match.lastgroup == "grouped"))
        elif match.lastgroup == "word":
            tokens.extend(_words(match, gap))
        else:
            tokens.append(Token(Kind.MARK, match.group(), match.group(), match.start(), end, gap))
    return _spell(tokens)


def _words(match: re.Match[str], gap: bool) -> list[Token]:
    """Return a word, cut before a hemisphere letter that sticks to a unit: degreesN, minS."""
    raw, start = match.group(), match.start()
    body, letter = raw[:-1], raw[-1]
    sticks = body[-1:].islower() and letter in "NSEWO" and body.lower() in DEGREE_WORDS | MINUTE_WORDS | STUCK_MARKS
    pieces = [body, letter] if sticks else [raw]
    tokens: list[Token] = []
    for piece in pieces:
        tokens.append(Token(Kind.WORD, piece.lower(), piece, start, start + len(piece), gap and not tokens))
        start += len(piece)
    return tokens


def in_numerals(folded: Folded, tokens: list[Token]) -> Folded:
    """Return the folded text with numbers in words, and letters in the spelling alphabet, written as such."""
    pieces: list[str] = []
    starts: list[int] = []
    ends: list[int] = []
    done = 0
    for at, token in enumerate(tokens):
        letter = token.text in SPELLING_ALPHABET and _beside_spelled(tokens, at)
        if not token.spelled and not letter:
            continue
        piece = token.raw if token.spelled else token.raw[0].upper()
        pieces += [folded.text[done : token.start], piece]
        start, end = folded.span(token.start, token.end)
        starts += [*folded.starts[done : token.start], *[start] * len(piece)]
        ends += [*folded.ends[done : token.start], *[end] * len(piece)]
        done = token.end
    text = "".join((*pieces, folded.text[done:]))
    return Folded(text, (*starts, *folded.starts[done:]), (*ends, *folded.ends[done:]), folded.original)


def _beside_spelled(tokens: list[Token], at: int) -> bool:
    near = (*tokens[max(0, at - 1) : at], *tokens[at + 1 : at + 2])
    return any(token.kind is Kind.NUMBER or token.text in SPELLING_ALPHABET for token in near)


def _dotted(match: re.Match[str], gap: bool) -> list[Token]:
    """Cut 48.12.30 or 48.12.30.5 at its dots; the last dot of four parts is a decimal point."""
    parts = match.group().split(".", 2)
    tokens: list[Token] = []
    at = match.start()
    for index, part in enumerate(parts):
        if index:
            tokens.append(Token(Kind.MARK, ".", ".", at - 1, at, False))
        tokens.append(_number(part, at, gap and not index, grouped=False))
        at += len(part) + 1
    return tokens


def _number(raw: str, start: int, gap: bool, grouped: bool) -> Token:
    if grouped:
        whole, _, fraction = raw.partition(".")
        single = whole.count(",") == 1 and not fraction
        if single:
            whole, _, fraction = whole.partition(",")
        else:
            whole = whole.replace(",", "")
        return Token(Kind.NUMBER, raw, raw, start, start + len(raw), gap, whole, fraction, grouped=single)
    whole, _, fraction = raw.replace(",", ".").partition(".")
    return Token(Kind.NUMBER, raw, raw, start, start + len(raw), gap, whole, fraction)


def _spell(tokens: list[Token]) -> list[Token]:
    """Replace runs of number words and of spaced-out single digits by number tokens."""
    out: list[Token] = []
    at = 0
    while at < len(tokens):
        spelled, after = _spelled_number(tokens, at)
        if spelled is None:
            minus = tokens[at].text in MINUS_WORDS and after < len(tokens)
            out.append(replace(tokens[at], kind=Kind.MARK, text="-", raw="-") if minus else tokens[at])
            at += 1
        else:
            out.append(spelled)
            at = after
    return out


def _spelled_number(tokens: list[Token], at: int) -> tuple[Token | None, int]:
    whole, after, words = _digit_run(tokens, at)
    if len(whole) < 2 or (not words and len(whole) < 4 and not _point(tokens, after)):
        whole, after, words = _cardinal(tokens, at)
    if not whole and tokens[at].kind is Kind.NUMBER and not tokens[at].fraction and _point_word(tokens, at + 1):
        whole, after = tokens[at].whole, at + 1
    if not whole:
        return None, at + 1
    fraction, end = _spelled_fraction(tokens, after)
    if not fraction and not words and after == at + 1:
        return None, at + 1
    last = tokens[end - 1]
    raw = whole + ("." + fraction if fraction else "")
    first = tokens[at]
    return Token(Kind.NUMBER, raw, raw, first.start, last.end, first.gap, whole, fraction, spelled=True), end


def _joined(tokens: list[Token], at: int) -> int:
    """Skip one hyphen between number words."""
    follows = at + 1 < len(tokens) and tokens[at + 1].kind is not Kind.MARK
    return at + 1 if follows and tokens[at].text == "-" else at


def _word_value(tokens: list[Token], at: int) -> int | None:
    if at >= len(tokens) or tokens[at].kind is not Kind.WORD:
        return None
    text = tokens[at].text
    behind, ahead = token_at(tokens, at - 1), token_at(tokens, at + 1)
    sticks = behind.kind is Kind.NUMBER and not tokens[at].gap
    if sticks or (ahead.kind is Kind.NUMBER and not ahead.gap):
        return None  # um7q is a code, not the Portuguese one
    if text in CAUTIOUS_WORDS:
        follower = tokens[at + 1].text if at + 1 < len(tokens) else ""
        if follower not in DEGREE_WORDS and follower not in MINUTE_WORDS:
            return None
    return NUMBER_WORDS.get(text)


def _digit(tokens: list[Token], at: int) -> str:
    if at >= len(tokens):
        return ""
    token = tokens[at]
    if token.kind is Kind.NUMBER:
        return token.whole if len(token.whole) == 1 and not token.fraction else ""
    value = _word_value(tokens, at)
    if token.text == "oh" and at and NUMBER_WORDS.get(tokens[at - 1].text, 10) < 10:
        value = 0
    return str(value) if value is not None and value < 10 else ""


def _digit_run(tokens: list[Token], at: int) -> tuple[str, int, bool]:
    """Read digits one by one: "four eight one two", "4 8 1 2"."""
    digits, words = "", False
    while (digit := _digit(tokens, at)) and len(digits) < 12:
        digits += digit
        words = words or tokens[at].kind is Kind.WORD
        after = at + 1
        at = _joined(tokens, after)
        if not _digit(tokens, at):
            return digits, after, words
    return digits, at, words


def _cardinal(tokens: list[Token], at: int) -> tuple[str, int, bool]:
    """Read a whole number in words: "forty-eight", "one hundred and two", "soixante-dix-huit"."""
    total = _word_value(tokens, at)
    if total is None:
        return "", at, False
    last, at = total, at + 1
    while True:
        step = _joined(tokens, at)
        if step < len(tokens) and tokens[step].text in HUNDRED_WORDS and 0 < total < 10:
            total, last, at = total * 100, 100, step + 1
            continue
        step += 1 if step < len(tokens) and tokens[step].text in AND_WORDS else 0
        value = _word_value(tokens, step)
        if value is None or value == 0:
            break
        if last == 4 and value == 20 and total == 4:  # quatre-vingt
            total, last = 80, 80
        elif last == total == 1 and value in range(20, 91, 10) and step == at:  # "one seventy-four" for 174
            total, last = 100 + value, value
        elif (last == 100 and value < 100) or (last in range(20, 91, 10) and value < 20):
            total, last = total + value, value
        else:
            break
        at = step + 1
    return str(total), at, True


def _point_word(tokens: list[Token], at: int) -> bool:
    return at < len(tokens) and tokens[at].text in DECIMAL_WORDS


def _point(tokens: list[Token], at: int) -> bool:
    """Say if a decimal point stands here, a word or a spaced-out mark."""
    if at >= len(tokens):
        return False
    return tokens[at].text in DECIMAL_WORDS or (tokens[at].text in (".", ",") and tokens[at].gap)


def _spelled_fraction(tokens: list[Token], at: int) -> tuple[str, int]:
    if [token.text for token in tokens[at : at + 3]] == ["and", "a", "half"]:
        return "5", at + 3
    if not _point(tokens, at):
        return "", at
    digits, after, _ = _digit_run(tokens, at + 1)
    if digits:
        return digits, after
    if at + 1 < len(tokens) and tokens[at + 1].kind is Kind.NUMBER and not tokens[at + 1].fraction:
        return tokens[at + 1].whole, at + 2
    cardinal, after, _ = _cardinal(tokens, at + 1)
    return (cardinal, after) if cardinal else ("", at)
