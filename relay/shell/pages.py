"""What the public port gives out besides the live socket: the built page, the list of dives, the recordings.

Rules: every answer is made from memory, so that no file time and no path can be in it; a path is looked up,
never joined to a folder; only the given histories exist.
"""

import json
import re
from collections.abc import Callable, Mapping
from http import HTTPStatus
from pathlib import Path

from aiohttp import web

from relay.core.errors import OperatorError
from relay.core.history import Dive, History
from relay.shell.answers import error_headers, error_text
from relay.shell.representation import FOREVER, NO_CACHE, Representation, is_known, tag_of

LIVE_PATH = "/live"
DIVES_PATH = "/dives.json"
_RECORDING = re.compile(r"/recordings/([^/]+)/dive-([0-9]{3,9})\.recording")
_HASHED = re.compile(r"/assets/[^/]+-[A-Za-z0-9_-]{8,}\.[a-z0-9]+")
_OCTETS = "application/octet-stream"
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".mjs": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json",
    ".webmanifest": "application/manifest+json",
    ".svg": "image/svg+xml",
    ".txt": "text/plain; charset=utf-8",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".webp": "image/webp",
    ".ico": "image/x-icon",
    ".woff2": "font/woff2",
    ".wasm": "application/wasm",
}
_PACKED_ALREADY = frozenset({".png", ".jpg", ".webp", ".woff2"})


def load_site(folder: Path, limit_octets: int) -> dict[str, Representation]:
    """Return the files of a built site by path, `/` being index.html; hidden files and links are left out.

    Raises OperatorError when it has no index.html or holds more than `limit_octets`.
    """
    files: dict[str, Representation] = {}
    total = 0
    for path in sorted(folder.rglob("*")):
        parts = path.relative_to(folder).parts
        if path.is_symlink() or not path.is_file() or any(part.startswith(".") for part in parts):
            continue
        content = path.read_bytes()
        total += len(content)
        if total > limit_octets:
            raise OperatorError(f"{folder} holds more than {limit_octets} bytes: is it the built site?")
        files["/" + "/".join(parts)] = _file("/" + "/".join(parts), path.suffix, content)
    if "/index.html" not in files:
        raise OperatorError(f"{folder} has no index.html: build the site first")
    return {"/": files["/index.html"], **files}


def _file(name: str, suffix: str, content: bytes) -> Representation:
    cache_control = FOREVER if _HASHED.fullmatch(name) else NO_CACHE
    packable = suffix not in _PACKED_ALREADY
    return Representation(content, _TYPES.get(suffix, _OCTETS), tag_of(content), cache_control, packable)


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


class Pages:
    """Answers the requests of the public port.

    `histories`: of the audiences that exist here, by name. `listed`: the one whose dives are at /dives.json.
    """

    def __init__(
        self, expedition: str, histories: Mapping[str, History], listed: str, files: Mapping[str, Representation]
    ) -> None:
        self._expedition = expedition
        self._histories = histories
        self._listed = listed
        self._files = files
        self._made: dict[str, Representation] = {}

    async def answer(self, request: web.BaseRequest) -> web.StreamResponse:
        """Return the answer to one request."""
        path = request.rel_url.raw_path
        if request.method not in ("GET", "HEAD"):
            return error_response(HTTPStatus.METHOD_NOT_ALLOWED)
        if path == LIVE_PATH:
            return error_response(HTTPStatus.UPGRADE_REQUIRED)
        found = self.find(path)
        return error_response(HTTPStatus.NOT_FOUND) if found is None else respond(request, found)

    def find(self, path: str) -> Representation | None:
        """Return what is at an undecoded path, None where there is nothing."""
        if path == DIVES_PATH:
            return self._dives()
        match = _RECORDING.fullmatch(path)
        if match is not None:
            return self._recording(path, match[1], int(match[2]))
        return self._files.get(path)

    def _dives(self) -> Representation | None:
        history = self._histories.get(self._listed)
        if history is None:
            return None
        content = dive_list(self._expedition, history)
        return self._kept(DIVES_PATH, tag_of(content), lambda tag: Representation(content, "application/json", tag))

    def _recording(self, path: str, audience: str, number: int) -> Representation | None:
        history = self._histories.get(audience)
        dive = None if history is None else history.dive(number)
        if dive is None or path != "/" + recording_path(audience, number):
            return None
        return self._kept(path, dive.tag, lambda tag: _recorded(dive, tag))

    def _kept(self, path: str, tag: str, make: Callable[[str], Representation]) -> Representation:
        kept = self._made.get(path)
        if kept is None or kept.tag != tag:
            kept = self._made[path] = make(tag)
        return kept


def _recorded(dive: Dive, tag: str) -> Representation:
    return Representation(dive.recording(), _OCTETS, tag, FOREVER if dive.closed else NO_CACHE)


def respond(request: web.BaseRequest, found: Representation) -> web.Response:
    """Return `found` in the best coding, or 304 where the client has it."""
    coding = found.choose(request.headers.get("Accept-Encoding"))
    headers = {"ETag": found.etag(coding), "Cache-Control": found.cache_control}
    if found.pack:
        headers["Vary"] = "Accept-Encoding"
    if is_known(request.headers.get("If-None-Match"), found.etag(coding)):
        return web.Response(status=HTTPStatus.NOT_MODIFIED, headers=headers)
    if coding != "identity":
        headers["Content-Encoding"] = coding
    headers["Content-Type"] = found.content_type
    return web.Response(body=found.body(coding), headers=headers)


def error_response(status: HTTPStatus) -> web.Response:
    """Return a constant error answer; those that are not about a path end the connection."""
    response = web.Response(status=status, body=error_text(status), headers=error_headers(status))
    if status not in (HTTPStatus.NOT_FOUND, HTTPStatus.METHOD_NOT_ALLOWED):
        response.force_close()
    return response
