"""Find places told in free text, in any of the notations people write them in: it blocks, it never edits.

Rules: a pure function of the text and the names given; it raises on no text; its work grows with the length of
the text; when in doubt it stops the text and says how to write it. Ordinary dive talk with numbers passes: depths,
times, headings, dimensions, counts, sample names, and ranges from things on the site.

What it cannot know: a place named alone without its kind (that is what `forbidden` is for), number words beyond
English, French, Spanish, Portuguese and German, codes of letters alone, chart numbers, time zones, and pictures.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache

from relay.core.place_codes import find_codes
from relay.core.place_degrees import find_angles
from relay.core.place_finding import WHY, Finding, Hit, Notation, When
from relay.core.place_fold import Folded, as_turned, fold
from relay.core.place_labels import find_labels
from relay.core.place_names import find_names
from relay.core.place_ranges import find_ranges
from relay.core.place_tokens import in_numerals, tokenize

__all__ = ["Finding", "Notation", "find_places"]

_REMEMBERED = 256
_RANK: dict[Notation | When, int] = {notation: rank for rank, notation in enumerate(Notation)}


def find_places(text: str, *, forbidden: Iterable[str] = (), scene: Iterable[str] = ()) -> list[Finding]:
    """Return every place told in `text`, in order, none inside another; empty means the text may go out.

    `forbidden`: names that must not appear, however they are spelled. `scene`: names of the ship, the vehicles
    and the wreck, from which a range or bearing may be given. Ranges are in code points of `text`.
    """
    return list(_found(text, tuple(forbidden), tuple(scene)))


@lru_cache(maxsize=_REMEMBERED)
def _found(text: str, forbidden: tuple[str, ...], scene: tuple[str, ...]) -> tuple[Finding, ...]:
    """Find them, once for each text: it is read for whoever writes it, and again for each audience."""
    folded = fold(text)
    tokens = tokenize(folded)
    names = frozenset(word for name in scene for word in fold(name).text.lower().split())
    numerals = in_numerals(folded, tokens)
    found = [
        *_in_original(folded, find_angles(tokens)),
        *_in_original(folded, find_labels(tokens)),
        *_in_original(folded, find_codes(folded.text)),
        *_in_original(numerals, find_codes(numerals.text) if numerals.text != folded.text else []),
        *_in_original(folded, find_ranges(tokens, names)),
        *find_names(folded, forbidden),
    ]
    for turned in as_turned(text):
        found += [Hit(hit.notation, 0, len(text)) for hit in find_places(turned, forbidden=forbidden, scene=scene)]
    return tuple(_in_words(text, hit) for hit in _outermost(found))


def _in_original(folded: Folded, hits: Iterable[Hit]) -> list[Hit]:
    return [Hit(hit.notation, *folded.span(hit.start, hit.end)) for hit in hits]


def _outermost(hits: Sequence[Hit]) -> list[Hit]:
    """Drop hits that lie inside another; of equal ranges the first notation in order stays."""
    kept: list[Hit] = []
    reach = -1
    for hit in sorted(hits, key=lambda hit: (hit.start, -hit.end, _RANK[hit.notation])):
        if hit.end > reach:
            kept.append(hit)
            reach = hit.end
    return kept


def _in_words(text: str, hit: Hit) -> Finding:
    excerpt = text[hit.start : hit.end]
    return Finding(hit.notation, hit.start, hit.end, excerpt, WHY[hit.notation].format(excerpt))
