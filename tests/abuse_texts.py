"""Attacks by what is said: scripts, letters that turn or hide, and places in every disguise.

Sources: HTML (WHATWG) for markup, UAX 9 for writing directions, UTS 39 for letters that look alike. That a place is
hidden so is common practice, no source.
"""

from abuse_attack import Attack
from abused import PLACE, World, exchanged
from canaries import Scanner
from peers import request

MARKUP = [
    "The bell <script>window.owned=1</script>",
    "<img src=x onerror=window.owned=1>",
    "</title></svg><svg onload=window.owned=1>",
    "javascript:window.owned=1 {{7*7}} ${7*7} &lt;script&gt;",
    "turned \u202emarraM enilosI\u202c and back, \u2066apart\u2069",
    "zero\u200bwidth\u200djoined\u2060here\ufeff",
]
PLAIN = "38.61472 S 21.93306 W"
SWAPS = {
    "fullwidth": str.maketrans("0123456789.SW", "０１２３４５６７８９．ＳＷ"),
    "Arabic-Indic digits": str.maketrans("0123456789", "٠١٢٣٤٥٦٧٨٩"),
    "mathematical digits": str.maketrans("0123456789", "𝟎𝟏𝟐𝟑𝟒𝟓𝟔𝟕𝟖𝟗"),
    "Cyrillic and Armenian letters": str.maketrans("SW", "ՏԜ"),
    "another point": str.maketrans(".", "·"),
}


def disguised() -> dict[str, str]:
    """Return one position in many disguises, by what they are."""
    found = {name: PLAIN.translate(table) for name, table in SWAPS.items()}
    for name, letter in {"zero-width spaces": "\u200b", "joiners": "\u200d", "soft hyphens": "\u00ad"}.items():
        found[name] = letter.join(PLAIN)
    return found | {
        "turned about": "\u202e" + PLAIN[::-1] + "\u202c",
        "isolated": "\u2066" + PLAIN + "\u2069",
        "marks upon letters": "\u0300".join(PLAIN),
        "markup within": PLAIN.replace("61", "<b>61</b>"),
        "entities": "".join(f"&#{ord(letter)};" for letter in PLAIN),
        "percent-encoded": "%33%38%2E%36%31%34%37%32 S %32%31%2E%39%33%33%30%36 W",
        "in words": "thirty-eight point six one four seven two south, twenty-one point nine three three zero six west",
    }


async def markup(world: World) -> str:
    """Say them: followers get the very text, or nothing; the pages that the server makes hold it as text alone."""
    for text in MARKUP:
        await world.ask("/decide", {"do": "say", "text": text, "who": "Ines"})
    await world.reached(4)
    for port in (world.page, world.ashore):
        for path in ("/", "/expedition.html", "/dive-001.html", "/dives.json", "/dive-001.svg"):
            page = (await exchanged(port, request(path))).decode("utf-8", "replace")
            assert not [text for text in MARKUP[:3] if text in page], path
            assert "<script>window" not in page and "onerror=window" not in _tags(page), path
    frames = b"".join(world.followers[0].frames)
    reached = sum(text.encode() in frames for text in MARKUP)
    return f"{reached} of {len(MARKUP)} texts reached followers as they are; as markup none, on ten pages"


def _tags(page: str) -> str:
    """Return what of a page stands within its tags."""
    return "".join(part.partition(">")[0] for part in page.split("<")[1:])


async def places(world: World) -> str:
    """Say a place in each disguise: the desk finds it, and no follower ever gets a byte of it."""
    kept = {}
    for name, text in disguised().items():
        found = await world.ask("/check", {"text": f"The bell lies at {text}, upright"})
        kept[name] = bool(found["findings"])
        await world.ask("/decide", {"do": "say", "text": f"The bell lies at {text}, upright", "who": "Ines"})
    await world.reached(3)
    assert all(kept.values()), [name for name, was in kept.items() if not was]
    frames = b"".join(world.followers[0].frames)
    assert b"upright" not in frames and Scanner([PLACE]).find(frames) == []
    return f"{len(kept)} disguises: each kept back"


ATTACKS = [
    Attack(
        "an annotation with script, markup, turned and hidden letters",
        "a text to followers, never markup",
        markup,
        True,
    ),
    Attack("an annotation with a place in 15 disguises", "kept back, all of them", places),
]
