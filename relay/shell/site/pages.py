"""What the public port gives out besides the live socket: the built page, and what is made of released records.

Rules: every answer is made from memory, so that no file time and no path can be in it; a path is looked up,
never joined to a folder; only the given histories exist.
"""

import asyncio
import json
import re
from collections.abc import Callable, Mapping
from http import HTTPStatus
from pathlib import Path

from aiohttp import web

from relay.core.errors import OperatorError
from relay.shell.site.answers import error_headers, error_text
from relay.shell.site.public_files import HTML, JSON, OCTETS, PNG, SVG, PublicFile, PublicFiles
from relay.shell.site.representation import FOREVER, NO_CACHE, Representation, is_known, tag_of
from relay.shell.site.slices import body_of

LIVE_PATH = "/live"
FOLLOWERS_PATH = "/followers.json"
BRIEFLY = "max-age=10"
READ_AT_ONCE = 100
_HASHED = re.compile(r"/assets/[^/]+-[A-Za-z0-9_-]{8,}\.[a-z0-9]+")
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
    return Representation(content, _TYPES.get(suffix, OCTETS), tag_of(content), cache_control, packable)


class Pages:
    """Answers the requests of the public port.

    `built`: the files of the built page by path. `made`: what is made of released records. `followers`: how many
    follow now. `guests`: answers what is there for guests alone, None where that is nothing. After a start there may be
    days of records to read before the first page can be made: that is done when one is first asked for,
    `READ_AT_ONCE` at a time, and whoever else follows is served in between.
    """

    def __init__(
        self,
        built: Mapping[str, Representation],
        made: PublicFiles,
        followers: Callable[[], int] = lambda: 0,
        guests: Callable[[web.BaseRequest, str], web.Response | None] = lambda request, path: None,
    ) -> None:
        self._built, self._made, self._followers = built, made, followers
        self._guests = guests
        self._kept: dict[str, tuple[str, Representation]] = {}
        self._reading = asyncio.Lock()

    async def answer(self, request: web.BaseRequest) -> web.StreamResponse:
        """Return the answer to one request."""
        path = request.rel_url.raw_path
        if request.method not in ("GET", "HEAD"):
            return error_response(HTTPStatus.METHOD_NOT_ALLOWED)
        if path == LIVE_PATH:
            return error_response(HTTPStatus.UPGRADE_REQUIRED)
        if self._is_of_records(path):
            await self._read_on()
        found = self.find(path)
        if found is None and (private := self._guests(request, path)) is not None:
            return private
        return error_response(HTTPStatus.NOT_FOUND) if found is None else respond(request, found)

    def find(self, path: str) -> Representation | None:
        """Return what is at an undecoded path, None where there is nothing."""
        if path == FOLLOWERS_PATH:
            content = json.dumps({"followers": self._followers()}).encode()
            return Representation(content, JSON, tag_of(content), BRIEFLY)
        file = self._made.find(path.removeprefix("/")) if path.startswith("/") else None
        return self._built.get(path) if file is None else self._as_kept(path, file)

    def _is_of_records(self, path: str) -> bool:
        file = self._made.find(path.removeprefix("/"))
        return file is not None and file.content_type in (HTML, SVG, PNG)

    async def _read_on(self) -> None:
        async with self._reading:
            behind = True
            while behind:
                behind = not self._made.read_on(READ_AT_ONCE)
                await asyncio.sleep(0)

    def _as_kept(self, path: str, file: PublicFile) -> Representation:
        """Return a made file, making it only when what it is made of has changed."""
        made_of, kept = self._kept.get(path, ("", None))
        if kept is None or made_of != file.tag:
            content = file.make()
            # A recording's tag is of its content already. Of a page it isn't: another language or release of Offing
            # makes another page of the same records.
            tag = file.tag if file.content_type == OCTETS else tag_of(content)
            kept = Representation(content, file.content_type, tag, file.cache_control, file.content_type != PNG)
            self._kept[path] = file.tag, kept
        return kept


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
    return web.Response(body=body_of(found.body(coding)), headers=headers)


def error_response(status: HTTPStatus) -> web.Response:
    """Return a constant error answer; those that are not about a path end the connection."""
    response = web.Response(status=status, body=error_text(status), headers=error_headers(status))
    if status not in (HTTPStatus.NOT_FOUND, HTTPStatus.METHOD_NOT_ALLOWED):
        response.force_close()
    return response
