"""What every answer of the public port has in common: the headers it carries, and constant error texts.

Rules: no answer says what time it is, what program sent it, or anything of the request back; errors are the
same few bytes for everybody, whatever was asked.
"""

from collections.abc import Mapping, Sequence
from http import HTTPStatus

_TEXTS = {
    HTTPStatus.BAD_REQUEST: "The request could not be read.\n",
    HTTPStatus.NOT_FOUND: "There is nothing here.\n",
    HTTPStatus.METHOD_NOT_ALLOWED: "This can only be read.\n",
    HTTPStatus.REQUEST_TIMEOUT: "The request took too long.\n",
    HTTPStatus.UPGRADE_REQUIRED: "A websocket is expected here, as the first request of its connection.\n",
    HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE: "The request is too long.\n",
    HTTPStatus.INTERNAL_SERVER_ERROR: "The answer could not be made.\n",
    HTTPStatus.SERVICE_UNAVAILABLE: "Too many connections.\n",
}
_EXTRA = {
    HTTPStatus.METHOD_NOT_ALLOWED: {"Allow": "GET, HEAD"},
    # RFC 9110 section 15.5.22: the answer names the protocol; RFC 6455 section 4.2.2: and its version.
    HTTPStatus.UPGRADE_REQUIRED: {
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Connection": "upgrade, close",
    },
}
TEXT = "text/plain; charset=utf-8"


def security_headers(socket_origins: Sequence[str] = ()) -> dict[str, str]:
    """Return the headers of every answer.

    `socket_origins` are added to where the page may connect, for browsers in which 'self' does not cover the
    websocket of the same origin ("wss://dive.example"). `blob:`, by which the page shows a still, is for images alone.
    """
    connect = " ".join(("'self'", *socket_origins))
    return {
        "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
        f"connect-src {connect}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "no-referrer",
    }


def error_headers(status: HTTPStatus) -> dict[str, str]:
    """Return what an error answer carries besides the headers of every answer."""
    return {"Content-Type": TEXT, "Cache-Control": "no-store", **_EXTRA.get(status, {})}


def error_text(status: HTTPStatus) -> bytes:
    """Return the body of an error answer."""
    return _TEXTS[status].encode()


def raw_head(status: HTTPStatus, headers: Mapping[str, str]) -> bytes:
    """Return the head of an HTTP/1.1 answer."""
    lines = [f"HTTP/1.1 {status.value} {status.phrase}", *(f"{name}: {value}" for name, value in headers.items())]
    return "\r\n".join((*lines, "", "")).encode("latin-1")


def raw_error(status: HTTPStatus, common: Mapping[str, str]) -> bytes:
    """Return a whole error answer that ends its connection."""
    body = error_text(status)
    headers = {**common, "Connection": "close", **error_headers(status), "Content-Length": str(len(body))}
    return raw_head(status, headers) + body
