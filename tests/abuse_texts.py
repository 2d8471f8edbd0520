"""Attacks by what is said: scripts, letters that turn or hide, and places in every disguise.

Sources: HTML (WHATWG) for markup, UAX 9 for writing directions, UTS 39 for letters that look alike. That a place is
hidden so is common practice, no source.
"""

import asyncio
import contextlib
from functools import partial
from html.parser import HTMLParser

import msgpack

from abuse_attack import Attack
from abused import PLACE, World, exchanged, status_of
from canaries import Scanner
from peers import request
from relay.core.release import Kind

MARKUP = [
    "The bell <script>window.owned=1</script>",
    "<img src=x onerror=window.owned=1>",
    "</title></svg><svg onload=window.owned=1>",
    "javascript:window.owned=1 {{7*7}} ${7*7} &lt;script&gt;",
    "turned \u202emarraM enilosI\u202c and back, \u2066apart\u2069",
    "zero\u200bwidth\u200djoined\u2060here\ufeff",
]
LINKS = ("href", "src", "action", "formaction", "xlink:href", "data")  # attributes that a browser follows
SOUND = "The bell lies on its side"
TOLD_WITHIN_S = 20.0
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


class Shown(HTMLParser):
    """What a reader of HTML finds in a page: its texts, and whatever in it could act (`acts`)."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.acts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note attributes as texts, and scripts that are not files of the site, handlers and such addresses."""
        named = dict(attrs)
        self.texts += [value for value in named.values() if value]
        self.acts += [f"{tag} {name}" for name in named if name.startswith("on")]
        links = [named[name] or "" for name in LINKS if name in named]
        self.acts += [f"{tag} {link}" for link in links if link.strip().lower().startswith("javascript:")]
        source = named.get("src") or ""
        if tag == "script" and (source.startswith("//") or not source.startswith(("./", "/"))):
            self.acts.append("script")

    def handle_data(self, data: str) -> None:
        """Note a text."""
        self.texts.append(data)


def shown_as_text(page: str, text: str) -> bool:
    """Whether a page shows a text to the letter; AssertionError where anything in the page could act."""
    shown = Shown(page)
    assert not shown.acts, f"markup: {shown.acts}"
    return any(text in each for each in shown.texts)


def notes_of(frames: list[bytes]) -> list[str]:
    """Return what annotations say, in their order."""
    records = [msgpack.unpackb(frame) for frame in frames]
    return [body[1] for _, _, kind, _, body, _ in records if kind == Kind.NOTE]


async def said(world: World, *texts: str) -> None:
    """Say them, each a text that may be told; return when both followers have each, once and to the letter."""
    before = [len(one.frames) for one in world.followers]
    for text in texts:
        await world.decide({"do": "say", "text": text})
    for one, had in zip(world.followers, before, strict=True):
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(TOLD_WITHIN_S):
                while texts[-1] not in notes_of(one.frames[had:]):
                    await world.reached(1)
        got = [note for note in notes_of(one.frames[had:]) if note in texts]
        assert got == list(texts), f"a follower of {one.port.name} got {got}"


async def markup(world: World, apart: bool = True) -> str:
    """Say them: followers get the very texts; the pages that the server makes hold them as text and nothing that acts.

    Those pages tell the newest annotation alone, so texts are said one by one, unless not `apart`.
    """
    looked = 0
    for texts in [[text] for text in MARKUP] if apart else [MARKUP[::-1]]:
        await said(world, *texts)
        for port in (world.page, world.ashore):
            for path in ("/", "/expedition.html", "/dive-001.html"):
                answer = await exchanged(port, request(path))
                assert status_of(answer)[:3] == "200", f"{port.name} {path}: {status_of(answer)}"
                has = shown_as_text(answer.partition(b"\r\n\r\n")[2].decode(), texts[-1])
                assert has or path == "/expedition.html", f"{port.name} {path} doesn't show {texts[-1]!r}"
                looked += 1
    return f"{len(MARKUP)} texts reached both followers to the letter; as markup none, on {looked} pages of the servers"


async def places(world: World) -> str:
    """Say a place in each disguise: the desk finds it, and no follower ever gets a byte of it."""
    kept = {}
    for name, text in disguised().items():
        found = await world.ask("/check", {"text": f"The bell lies at {text}, upright"})
        kept[name] = bool(found["findings"])
        await world.ask("/decide", {"do": "say", "text": f"The bell lies at {text}, upright", "who": "Ines"})
    await said(world, SOUND)  # what is said after them and may be told is told: they were not merely late
    assert all(kept.values()), [name for name, was in kept.items() if not was]
    assert not (await world.ask("/check", {"text": SOUND}))["findings"], "everything is kept back"
    for one in world.followers:
        frames = b"".join(one.frames)
        assert b"upright" not in frames and Scanner([PLACE]).find(frames) == [], one.port.name
    return f"{len(kept)} disguises: each kept back, and what was said after them told"


ATTACKS = [
    Attack(
        "an annotation with script, markup, turned and hidden letters",
        "all 6 texts to followers to the letter, never markup",
        markup,
        True,
        partial(markup, apart=False),
    ),
    Attack("an annotation with a place in 15 disguises", "kept back, all of them", places),
]
