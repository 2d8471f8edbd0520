"""What there is beside the built page, by path: lists of dives, recordings, and the pages and pictures made of them.

Rules: made of histories of released frames alone; each has a tag that changes with what it is made of, so that it is
made once for all who ask; the relay gives them out and a published folder holds them, byte for byte the same. No
request costs more where dives are many or long: what was read of a dive isn't read again.
"""

import json
import re
from base64 import b64encode
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256

from relay.core.history import Dive, History
from relay.core.programme_told import ProgrammeTold, programme_told
from relay.core.summary import Gathering, Summary
from relay.core.wire import decode
from relay.shell.site import made_pages
from relay.shell.site.made_pages import Shelf, dive_page, picture_name
from relay.shell.site.page_words import EN, PageWords
from relay.shell.site.representation import FOREVER, NO_CACHE

OCTETS, JSON, HTML, SVG, PNG = (
    "application/octet-stream", "application/json", "text/html; charset=utf-8", "image/svg+xml", "image/png"
)  # fmt: skip
PROGRAMME = "programme.json"
_OF_DIVE = re.compile(r"(?:|pictures/|recordings/[^/]+/)dive-([0-9]{3,9})\.(?:html|svg|png|recording)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Telling:
    """How the server's pages are told: the expedition's name, the language, and where the site is, if that is known.

    `questions_to`: where followers may write to somebody ashore; empty where they are shown no such place. `counts`:
    whether the next dive is counted down, which a folder that stays as it is can't.
    """

    expedition: str
    words: PageWords = EN
    address: str = ""
    questions_to: str = ""
    counts: bool = True


@dataclass(frozen=True, slots=True)
class PublicFile:
    """A file that can be had.

    `tag` names what it is made of: `make` returns the same bytes as long as it and the way of telling stay.
    """

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


def programme_file(history: History, telling: Telling) -> bytes:
    """Return programme.json: what one audience was told of what is to come."""
    told = _programme(history)
    programme = None
    if told is not None:
        left_s = told.left_s if telling.counts else None
        programme = {
            "number": told.number,
            "pinned": told.pinned,
            "schedule": list(told.schedule),
            "next_dive_in_s": left_s,
            "next_dive": told.dive,
        }
    listed = {
        "format": 1,
        "audience": history.audience,
        "programme": programme,
        "record": None if history.programme is None else b64encode(history.programme.data).decode(),
        "questions_to": telling.questions_to or None,
    }
    return json.dumps(listed, ensure_ascii=False).encode()


def _programme(history: History) -> ProgrammeTold | None:
    return None if history.programme is None else programme_told(history.programme)


class PublicFiles:
    """The files of one site.

    `histories`: of its open audiences by name; `listed`: the one the pages are about; `index`: the built live page.
    """

    def __init__(self, telling: Telling, histories: Mapping[str, History], listed: str, index: bytes | None) -> None:
        self._telling, self._histories, self._listed, self._index = telling, histories, listed, index
        self._read: dict[int, _Read] = {}

    def paths(self) -> Iterator[str]:
        """Yield the path of every file there is now."""
        for audience, history in self._histories.items():
            yield from (f"recordings/{audience}/dives.json", f"recordings/{audience}/{PROGRAMME}")
            for dive in history.dives:
                yield recording_path(audience, dive.number)
        if self._listed in self._histories:
            yield from ("index.html", "dives.json", PROGRAMME, "expedition.html", picture_name(None, "png"))
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
        return self._listed_file(history, path) or self._made(history, path)

    def read_on(self, records: int) -> bool:
        """Read up to `records` more of what the pages are made of; whether that was all there is.

        A file that is made reads what is missing itself: who must not wait long reads on before, a little at a time.
        """
        history = self._histories.get(self._listed)
        for dive in history.dives if history is not None else ():
            if records > 0:
                records -= self._reading(dive).on(dive, records)
        return records > 0

    def _of_audience(self, history: History, name: str, path: str) -> PublicFile | None:
        if (file := self._listed_file(history, name)) is not None:
            return file
        dive = _dive_named(history, path)
        if dive is None or path != recording_path(history.audience, dive.number):
            return None
        return PublicFile(OCTETS, dive.tag, dive.recording, FOREVER if dive.closed else NO_CACHE)

    def _listed_file(self, history: History, name: str) -> PublicFile | None:
        if name == PROGRAMME:
            return PublicFile(JSON, _programme_tag(history), lambda: programme_file(history, self._telling))
        if name != "dives.json":
            return None
        return PublicFile(JSON, _tag(history), lambda: dive_list(self._telling.expedition, history))

    def _made(self, history: History, path: str) -> PublicFile | None:
        index = self._index
        if path in ("", "index.html") and index is not None:
            return PublicFile(HTML, _tag(history), lambda: made_pages.with_first_words(index, self._shelf(history)))
        if path == "expedition.html":
            return PublicFile(HTML, _tag(history), lambda: made_pages.expedition_html(self._shelf(history)))
        if path == picture_name(None, "png"):
            return PublicFile(PNG, _tag(history), lambda: made_pages.expedition_png(self._shelf(history)))
        dive = _dive_named(history, path)
        return None if dive is None else self._of_dive(history, dive, path)

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
        return Shelf(
            telling.expedition,
            history.audience,
            dives,
            telling.words,
            telling.address,
            _programme(history),
            telling.questions_to,
            telling.counts,
        )

    def _reading(self, dive: Dive) -> "_Read":
        if dive.number not in self._read:
            self._read[dive.number] = _Read(Gathering(decode(dive.frames[0])))
        return self._read[dive.number]

    def _summary(self, dive: Dive) -> Summary:
        reading = self._reading(dive)
        reading.on(dive, len(dive.frames))
        return reading.summary()


@dataclass(slots=True)
class _Read:
    """What was read of a dive: each frame once, and its summary once for as many frames, whoever asks how often."""

    gathering: Gathering
    frames: int = 1
    _summed: tuple[int, Summary] | None = None

    def on(self, dive: Dive, most: int) -> int:
        """Read up to `most` frames more; return how many."""
        more = dive.frames[self.frames : self.frames + most]
        for frame in more:
            self.gathering.take(decode(frame))
        self.frames += len(more)
        return len(more)

    def summary(self) -> Summary:
        """Return what the dive comes to as far as it was read."""
        if self._summed is None or self._summed[0] != self.frames:
            self._summed = self.frames, self.gathering.summary()
        return self._summed[1]


def _dive_named(history: History, path: str) -> Dive | None:
    """Return the dive whose number a path has; whether it is that dive's path is left to the caller."""
    match = _OF_DIVE.fullmatch(path)
    return None if match is None else history.dive(int(match[1]))


def _tag(history: History) -> str:
    """Return a name for exactly these dives and this programme."""
    return sha256("\n".join([*(dive.tag for dive in history.dives), _programme_tag(history)]).encode()).hexdigest()


def _programme_tag(history: History) -> str:
    """Return a name for exactly this programme."""
    told = history.programme
    return sha256(b"" if told is None else told.data).hexdigest()
