"""What guests alone are given over HTTP: the files of the audience that their token is for, and who they are.

Rules: the token comes in `Authorization: Bearer` (RFC 6750 section 2.1) and nowhere else; it adds paths and changes
no open one, so that what a cache holds of a path is right for everybody. Whoever has none that counts gets None from
here, and so the answer to a path that isn't there, byte for byte; whoever goes on with wrong ones loses the
connection with it. Each request is judged by itself, whatever came
before it on its connection. No cache keeps an answer, and there is no tag to ask by whether it has changed.
"""

import json
import re
from collections.abc import Callable, Collection
from http import HTTPStatus
from typing import Protocol, cast

from aiohttp import web

from relay.core.guest_terms import last_day
from relay.core.guests import Guest
from relay.shell.site.guest_door import GuestDoor
from relay.shell.site.pages import error_response
from relay.shell.site.public_files import JSON
from relay.shell.site.representation import Representation
from relay.shell.site.slices import body_of

GUEST_PATH = "/guest.json"
PRIVATE = "private, no-store"
_FILES = re.compile(r"/recordings/([a-z][a-z0-9-]*)/[^/]+")
_BEARER = re.compile(r"Bearer ([\x21-\x7e]+)", re.IGNORECASE)


class Attended(Protocol):
    """What a guest's connection can be told: see `Conversation`."""

    address: str

    def attends(self, guest_id: str) -> bool:
        """Note that it is there on an invitation; False if that has too many connections."""
        ...

    def close(self) -> None:
        """Close once the answer is written, whatever was asked for behind it."""
        ...


class GuestPages:
    """Answers guests. `open_audiences`: whose files are everybody's; `find`: the files of the others, by path."""

    def __init__(
        self, door: GuestDoor, open_audiences: Collection[str], find: Callable[[str], Representation | None]
    ) -> None:
        self._door, self._open, self._find = door, open_audiences, find

    def answer(self, request: web.BaseRequest, path: str) -> web.Response | None:
        """Return the answer to a guest who may have what is at an undecoded path; None to anybody else."""
        files = _FILES.fullmatch(path)
        if path != GUEST_PATH and (files is None or files[1] in self._open):
            return None
        guest = self._guest(request)
        if guest is None or (files is not None and files[1] != guest.audience):
            return None
        if not cast(Attended, request.protocol).attends(guest.id):
            return error_response(HTTPStatus.SERVICE_UNAVAILABLE)
        return self._guest_file(request, guest) if files is None else _private(request, self._find(path))

    def _guest(self, request: web.BaseRequest) -> Guest | None:
        given = request.headers.getall("Authorization", [])
        token = _BEARER.fullmatch(given[0]) if len(given) == 1 else None
        if token is None:
            return None
        line = cast(Attended, request.protocol)
        guest = self._door.find(token[1], line.address)
        if guest is None and self._door.is_tried_by(line.address):
            line.close()
        return guest

    def _guest_file(self, request: web.BaseRequest, guest: Guest) -> web.Response | None:
        if request.method == "GET":
            self._door.opened(guest)
        # `name` is what the page calls whom it is open to: of the guest's own name nothing is known here.
        told = {"format": 1, "audience": guest.audience, "name": guest.audience, "until": last_day(guest.until_s)}
        return _private(request, Representation(json.dumps(told).encode(), JSON, ""))


def _private(request: web.BaseRequest, found: Representation | None) -> web.Response | None:
    if found is None:
        return None
    coding = found.choose(request.headers.get("Accept-Encoding"))
    headers = {"Cache-Control": PRIVATE, "Vary": "Accept-Encoding, Authorization", "Content-Type": found.content_type}
    if coding != "identity":
        headers["Content-Encoding"] = coding
    return web.Response(body=body_of(found.body(coding)), headers=headers)
