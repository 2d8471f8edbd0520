"""What there is beside the built page, by path: lists of dives, recordings, and the pages and pictures made of them.

Rules: made of histories of released frames alone; each has a tag that changes with what it is made of, so that it is
made once for all who ask; the relay gives them out and a published folder holds them, byte for byte the same.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256

from relay.core.history import Dive, History
from relay.core.summary import Gathering, Summary
from relay.core.wire import decode
from relay.shell import made_pages
from relay.shell.made_pages import Shelf, dive_page, picture_name
from relay.shell.page_words import EN, PageWords
from relay.shell.representation import FOREVER, NO_CACHE, tag_of

OCTETS, JSON, HTML, SVG, PNG = (
    "application/octet-stream", "application/json", "text/html; charset=utf-8", "image/svg+xml", "image/png"
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Telling:
    """How the server's pages are told: the expedition's name, the language, and where the site is, if that is known."""

    expedition: str
    words: PageWords = EN
    address: str = ""


@dataclass(frozen=True, slots=True)
class PublicFile:
    """A file that can be had: `tag` names what it is made of; `make` returns its bytes, always the same for a tag."""

    content_type: str
    tag: str
    make: Callable[[], bytes]
    cache_control: str = NO_CACHE


def recording_path(audience: str, dive: int) -> str:
    """Return where the recording of a dive is, without a leading slash: the same on a server and in a folder."""
    return f"recordings/{audience}/dive-{dive:03d}.recording"


def dive_list(expedition: str, history: History) -> bytes:
    """Return dives.json: the dives of one audience, newest last."""
    dives = [
        {
            "dive": dive.number,
            "closed": dive.closed,
            "records": len(dive.frames),
            "recording": recording_path(history.audience, dive.number),
        }
        for dive in history.dives
    ]
    listed = {"format": 1, "expedition": expedition, "audience": history.audience, "dives": dives}
    return json.dumps(listed, ensure_ascii=False).encode()


class PublicFiles:
    """The files of one site.

    `histories`: of its open audiences by name; `listed`: the one the pages are about; `index`: the built live page.
    """

    def __init__(self, telling: Telling, histories: Mapping[str, History], listed: str, index: bytes | None) -> None:
        self._telling, self._histories, self._listed, self._index = telling, histories, listed, index
        self._gathered: dict[int, tuple[Gathering, int]] = {}

    def paths(self) -> Iterator[str]:
        """Yield the path of every file there is now."""
        for audience, history in self._histories.items():
            yield f"recordings/{audience}/dives.json"
            for dive in history.dives:
                yield recording_path(audience, dive.number)
        if self._listed in self._histories:
            yield from ("index.html", "dives.json", "expedition.html", picture_name(None, "png"))
            for dive in self._histories[self._listed].dives:
                yield from (dive_page(dive.number), picture_name(dive.number, "svg"), picture_name(dive.number, "png"))

    def find(self, path: str) -> PublicFile | None:
        """Return what is at a path without a leading slash, None where there is nothing."""
        first, _, rest = path.partition("/")
        if first == "recordings":
            audience, _, name = rest.partition("/")
            history = self._histories.get(audience)
            return None if history is None else self._of_audience(history, name, path)
        history = self._histories.get(self._listed)
        if history is None:
            return None
        return self._list(history) if path == "dives.json" else self._made(history, path)

    def _of_audience(self, history: History, name: str, path: str) -> PublicFile | None:
        if name == "dives.json":
            return self._list(history)
        dive = next((dive for dive in history.dives if path == recording_path(history.audience, dive.number)), None)
        if dive is None:
            return None
        return PublicFile(OCTETS, dive.tag, dive.recording, FOREVER if dive.closed else NO_CACHE)

    def _list(self, history: History) -> PublicFile:
        content = dive_list(self._telling.expedition, history)
        return PublicFile(JSON, tag_of(content), lambda: content)

    def _made(self, history: History, path: str) -> PublicFile | None:
        whole = sha256("\n".join(dive.tag for dive in history.dives).encode()).hexdigest()
        index = self._index
        if path in ("", "index.html") and index is not None:
            tag = f"{whole}-{tag_of(index)[:16]}"
            return PublicFile(HTML, tag, lambda: made_pages.with_first_words(index, self._shelf(history)))
        if path == "expedition.html":
            return PublicFile(HTML, whole, lambda: made_pages.expedition_html(self._shelf(history)))
        if path == picture_name(None, "png"):
            return PublicFile(PNG, whole, lambda: made_pages.expedition_png(self._shelf(history)))
        for dive in history.dives:
            if (file := self._of_dive(history, dive, path)) is not None:
                return file
        return None

    def _of_dive(self, history: History, dive: Dive, path: str) -> PublicFile | None:
        kinds: dict[str, tuple[str, Callable[[Shelf, Summary], bytes]]] = {
            dive_page(dive.number): (HTML, made_pages.dive_html),
            picture_name(dive.number, "svg"): (SVG, made_pages.dive_svg),
            picture_name(dive.number, "png"): (PNG, made_pages.dive_png),
        }
        if path not in kinds:
            return None
        content_type, make = kinds[path]
        return PublicFile(content_type, dive.tag, lambda: make(self._shelf(history), self._summary(dive)))

    def _shelf(self, history: History) -> Shelf:
        telling = self._telling
        dives = tuple(self._summary(dive) for dive in history.dives)
        return Shelf(telling.expedition, history.audience, dives, telling.words, telling.address)

    def _summary(self, dive: Dive) -> Summary:
        """Return what a dive comes to so far; each of its frames is read once, whoever asks how often."""
        gathering, seen = self._gathered.get(dive.number) or (Gathering(decode(dive.frames[0])), 1)
        for frame in dive.frames[seen:]:
            gathering.take(decode(frame))
        self._gathered[dive.number] = gathering, len(dive.frames)
        return gathering.summary()
