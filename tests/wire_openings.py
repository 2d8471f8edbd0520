"""Opening handshakes of RFC 6455 sections 4.1, 4.2 and 4.4, right and wrong, and what a server must answer.

Independent of the relay's code: `ACCEPT` is the RFC's own, of its section 1.3.
"""

from collections.abc import Iterator
from dataclasses import dataclass

KEY, ACCEPT = "dGhlIHNhbXBsZSBub25jZQ==", "s3pPLMBiTxaQ9kYGzzhZRbK+xOo="
BASE = (
    ("Host", "relay.example"),
    ("Upgrade", "websocket"),
    ("Connection", "Upgrade"),
    ("Sec-WebSocket-Key", KEY),
    ("Sec-WebSocket-Version", "13"),
)
REFUSED = (400, 403, 404, 405, 426, 431, 505)
SWITCHED = (101,)
AGAIN = (426,)


@dataclass(frozen=True)
class Opening:
    """`raw`: the request, {} where the path of the socket goes; `statuses`: that the answer may have.

    `hangs_up`: whether a server may close without an answer (what it got isn't HTTP/1.1 as RFC 9112 has it).
    `of_a_page`: a page in a browser asks, which a server may let in or not (section 10.2).
    """

    name: str
    section: str
    raw: str
    statuses: tuple[int, ...]
    hangs_up: bool = False
    of_a_page: bool = False


def request(*fields: tuple[str, str], method: str = "GET", version: str = "HTTP/1.1") -> str:
    """Return a request for the socket with just these fields."""
    return "\r\n".join([f"{method} {{}} {version}", *(f"{name}: {value}" for name, value in fields), "", ""])


def changed(name: str, *values: str, add: tuple[tuple[str, str], ...] = ()) -> str:
    """Return the right handshake with another value of one field, none, or several."""
    kept = [(field, value) for field, value in BASE if field != name]
    return request(*kept, *((name, value) for value in values), *add)


def right() -> Iterator[Opening]:
    """Those that are allowed, though some look odd (sections 4.1 and 4.2.1; RFC 9110 sections 5.1, 5.6.1 and 7.6.1)."""
    yield Opening("as in section 1.3", "1.3", request(*BASE), SWITCHED)
    yield Opening("names in capitals", "4.2.1", request(*((name.upper(), value) for name, value in BASE)), SWITCHED)
    yield Opening(
        "names in small letters", "4.2.1", request(*((name.lower(), value) for name, value in BASE)), SWITCHED
    )
    yield Opening("Upgrade: WebSocket", "4.2.1", changed("Upgrade", "WebSocket"), SWITCHED)
    yield Opening("Connection: keep-alive, Upgrade", "4.2.1", changed("Connection", "keep-alive, Upgrade"), SWITCHED)
    yield Opening("Connection twice", "4.2.1", changed("Connection", "keep-alive", "UPGRADE"), SWITCHED)
    yield Opening("spaces around values", "4.2.1", request(*((name, f" {value} ") for name, value in BASE)), SWITCHED)
    offers = ("permessage-deflate", "permessage-deflate; client_max_window_bits, x-unknown; a=1")
    for offer in offers:
        yield Opening(f"extension {offer}", "9.1", request(*BASE, ("Sec-WebSocket-Extensions", offer)), SWITCHED)
    yield Opening("an unknown protocol", "4.2.2", request(*BASE, ("Sec-WebSocket-Protocol", "chat")), SWITCHED)
    yield Opening("an unknown field", "4.1", request(*BASE, ("X-Tried", "1")), SWITCHED)


def wrong_fields() -> Iterator[Opening]:
    """Each requirement of section 4.2.1, broken one at a time."""
    yield Opening("no Upgrade", "4.2.1", changed("Upgrade"), REFUSED)
    yield Opening("Upgrade: h2c", "4.2.1", changed("Upgrade", "h2c"), REFUSED)
    yield Opening("no Connection", "4.2.1", changed("Connection"), REFUSED)
    yield Opening("Connection: keep-alive", "4.2.1", changed("Connection", "keep-alive"), REFUSED)
    yield Opening("no key", "4.2.1", changed("Sec-WebSocket-Key"), REFUSED)
    yield Opening("two keys", "11.3.1", changed("Sec-WebSocket-Key", KEY, KEY), REFUSED)
    bad = {"of 15 octets": "dGhlIHNhbXBsZSBub25j", "of 17": "dGhlIHNhbXBsZSBub25jZWU=", "unpadded": KEY[:-2]}
    bad |= {
        "that isn't base64": "dGhlIHNhbXBs!SBub25jZQ==",
        "that is empty": "",
        "with spaces": "dGhl IHNhbXBsZSBub25jZQ==",
    }
    for name, value in bad.items():
        yield Opening(f"a key {name}", "4.2.1", changed("Sec-WebSocket-Key", value), REFUSED)


def wrong_versions() -> Iterator[Opening]:
    """The answer to any version but 13 names 13 (section 4.4); 426 where the version alone is wrong (4.2.2)."""
    for value in ("8", "12", "14", "0", "-1", "013", "13.0", "abc", "", "256"):
        yield Opening(f"version {value or 'that is empty'}", "4.4", changed("Sec-WebSocket-Version", value), AGAIN)
    yield Opening("no version", "4.4", changed("Sec-WebSocket-Version"), AGAIN)
    yield Opening("versions 13 and 8", "11.3.5", changed("Sec-WebSocket-Version", "13", "8"), AGAIN)
    yield Opening("version 13, 8 in one", "11.3.5", changed("Sec-WebSocket-Version", "13, 8"), AGAIN)


def wrong_requests() -> Iterator[Opening]:
    """What is no GET of HTTP/1.1 with one Host (section 4.2.1; RFC 9112 sections 2.2, 3.2, 5 and 6)."""
    for method in ("POST", "HEAD", "OPTIONS", "PUT", "get", "BREW"):
        yield Opening(f"method {method}", "4.2.1", request(*BASE, method=method), REFUSED, method in ("BREW", "get"))
    yield Opening("HTTP/1.0", "4.2.1", request(*BASE, version="HTTP/1.0"), REFUSED)
    for version in ("HTTP/2.0", "HTTP/0.9", "HTTP/1.10", "HTCPCP/1.0"):
        yield Opening(version, "4.2.1", request(*BASE, version=version), REFUSED, True)
    yield Opening("no Host", "4.2.1", changed("Host"), REFUSED)
    yield Opening("two Hosts", "4.2.1", changed("Host", "a.example", "b.example"), REFUSED)
    chunked = ("Transfer-Encoding", "chunked")
    yield Opening("a body", "RFC 9112 6", request(*BASE, ("Content-Length", "3")) + "abc", REFUSED, True)
    yield Opening("a body in chunks", "RFC 9112 6", request(*BASE, chunked) + "0\r\n\r\n", REFUSED, True)
    odd = {"NUL in a field": "X-Tried: a\x00b", "a folded line": "X-Tried: a\r\n b", "no colon": "X-Tried"}
    odd |= {"a space before a colon": "X-Tried : a"}
    for name, field in odd.items():
        yield Opening(name, "RFC 9112 5", request(*BASE).replace("Upgrade: w", f"{field}\r\nUpgrade: w"), REFUSED, True)
    yield Opening("a field of 100 kB", "RFC 9110 5.4", request(*BASE, ("X-Long", "x" * 100_000)), REFUSED, True)


def of_pages() -> Iterator[Opening]:
    """Pages of any site in a browser, which always say whose they are (sections 4.1 and 10.2)."""
    for origin in ("http://page.example", "https://relay.example", "null", "", "file://"):
        raw = request(*BASE, ("Origin", origin))
        yield Opening(f"Origin: {origin or 'empty'}", "10.2", raw, SWITCHED, of_a_page=True)


GROUPS = {
    "openings": right,
    "openings of pages": of_pages,
    "wrong fields": wrong_fields,
    "wrong versions": wrong_versions,
    "wrong requests": wrong_requests,
}


def every() -> Iterator[tuple[str, Opening]]:
    """Yield each opening with its group."""
    for group, openings in GROUPS.items():
        yield from ((group, opening) for opening in openings())
