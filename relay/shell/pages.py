"""What the public port gives out besides the live socket: the built page, and what is made of released records.

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
from relay.shell.answers import error_headers, error_text
from relay.shell.public_files import JSON, PNG, PublicFile, PublicFiles
from relay.shell.representation import FOREVER, NO_CACHE, Representation, is_known, tag_of

LIVE_PATH = "/live"
FOLLOWERS_PATH = "/followers.json"
BRIEFLY = "max-age=10"
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


class Pages:
    """Answers the requests of the public port.

    `built`: the files of the built page by path. `made`: what is made of released records. `followers`: how many
    follow now.
    """

    def __init__(
        self, built: Mapping[str, Representation], made: PublicFiles, followers: Callable[[], int] = lambda: 0
    ) -> None:
        self._built, self._made, self._followers = built, made, followers
        self._kept: dict[str, Representation] = {}

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
        if path == FOLLOWERS_PATH:
            content = json.dumps({"followers": self._followers()}).encode()
            return Representation(content, JSON, tag_of(content), BRIEFLY)
        file = self._made.find(path.removeprefix("/")) if path.startswith("/") else None
        return self._built.get(path) if file is None else self._as_kept(path, file)

    def _as_kept(self, path: str, file: PublicFile) -> Representation:
        """Return a made file, making it only when what it is made of has changed."""
        kept = self._kept.get(path)
        if kept is None or kept.tag != file.tag:
            packable = file.content_type != PNG
            kept = Representation(file.make(), file.content_type, file.tag, file.cache_control, packable)
            self._kept[path] = kept
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
    return web.Response(body=found.body(coding), headers=headers)


def error_response(status: HTTPStatus) -> web.Response:
    """Return a constant error answer; those that are not about a path end the connection."""
    response = web.Response(status=status, body=error_text(status), headers=error_headers(status))
    if status not in (HTTPStatus.NOT_FOUND, HTTPStatus.METHOD_NOT_ALLOWED):
        response.force_close()
    return response
