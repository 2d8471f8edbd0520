"""The server's side of RFC 6455 for viewers that only listen, sans-I/O: bytes in, what was said out.

Rules:
1. A head is read only to choose who answers; what is not plainly a websocket handshake is not judged here.
2. Client frames are masked, control frames are whole and at most 125 bytes, reserved bits are zero, lengths are in
   their shortest form, and only a message that was begun goes on (sections 5.1, 5.2, 5.4, 5.5); anything else fails the
   connection with 1002.
3. A viewer has nothing to send: any data frame is `Unwelcome` (1008), told once, and its payload is counted
   off without being kept, so that the closing handshake can still be read.
4. At most `PENDING_LIMIT` bytes wait for the rest of their frame, and at most `control_limit` control frames
   are taken between two calls of `renew`.
5. Bytes of a peer never raise.

| state   | on                   | then    | says      |
| ------- | -------------------- | ------- | --------- |
| READING | ping, pong           | READING | Ping, Pong |
| READING | data frame           | READING | Unwelcome, the first time |
| READING | close                | DONE    | Closing   |
| READING | a breach of rule 2   | DONE    | Fault     |
| DONE    | anything             | DONE    | nothing   |
"""

import re
from base64 import b64decode, b64encode
from binascii import Error as Base64Error
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum
from hashlib import sha1
from http import HTTPStatus

GUID = b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11"
VERSION = "13"
HEAD_END = b"\r\n\r\n"
CONTROL_PAYLOAD_LIMIT = 125
PENDING_LIMIT = 2 + 4 + CONTROL_PAYLOAD_LIMIT
CONTROL_LIMIT = 64

_REQUEST_LINE = re.compile(r"([!#$%&'*+.^_`|~0-9A-Za-z-]+) ([\x21-\x7e]+) (HTTP/1\.[01])")
_FIELD_LINE = re.compile(r"([!#$%&'*+.^_`|~0-9A-Za-z-]+):[ \t]*([\t\x20-\x7e\x80-\xff]*?)[ \t]*")


class CloseCode(IntEnum):
    """Why a socket is closed: RFC 6455 section 7.4.1, the IANA registry (1013), and Offing's own from 4000."""

    NORMAL = 1000
    GOING_AWAY = 1001
    PROTOCOL_ERROR = 1002
    INVALID_TEXT = 1007
    NOT_EXPECTED = 1008
    FULL = 1013
    HISTORY_FIRST = 4000
    TOO_SLOW = 4001
    BAD_REQUEST = 4002
    UNKNOWN_AUDIENCE = 4003
    UNINVITED = 4005


REASONS: dict[int, str] = {
    CloseCode.GOING_AWAY: "going away",
    CloseCode.PROTOCOL_ERROR: "not a websocket frame",
    CloseCode.INVALID_TEXT: "not UTF-8",
    CloseCode.NOT_EXPECTED: "viewers only listen",
    CloseCode.FULL: "full",
    CloseCode.HISTORY_FIRST: "history first",
    CloseCode.TOO_SLOW: "too slow",
    CloseCode.BAD_REQUEST: "bad request",
    CloseCode.UNKNOWN_AUDIENCE: "unknown audience",
    CloseCode.UNINVITED: "no longer invited",
}


class Opcode(IntEnum):
    """RFC 6455 section 5.2."""

    CONTINUATION = 0
    TEXT = 1
    BINARY = 2
    CLOSE = 8
    PING = 9
    PONG = 10


@dataclass(frozen=True, slots=True)
class Head:
    """The head of one request; field names are in lower case, in the order they came."""

    method: str
    target: str
    version: str
    fields: tuple[tuple[str, str], ...]

    @property
    def path(self) -> str:
        """The target up to its query."""
        return self.target.partition("?")[0]

    @property
    def query(self) -> str:
        """What follows the question mark, or nothing."""
        return self.target.partition("?")[2]

    def values(self, name: str) -> list[str]:
        """Return every value of a field, in order."""
        return [value for field, value in self.fields if field == name]

    def members(self, name: str) -> list[str]:
        """Return the members of a comma-separated field as they were written, in order."""
        return [part.strip() for value in self.values(name) for part in value.split(",")]

    def tokens(self, name: str) -> frozenset[str]:
        """Return the members of a comma-separated field, in lower case."""
        return frozenset(member.lower() for member in self.members(name))


def parse_head(raw: bytes) -> Head | None:
    """Return the head in `raw` (from the request line to the empty line), None if it is not plainly one.

    Stricter than RFC 9112 obliges: no folded lines, no space before a colon, no bare CR or LF.
    """
    if not raw.endswith(HEAD_END):
        return None
    first, *rest = raw[: -len(HEAD_END)].decode("latin-1").split("\r\n")
    line = _REQUEST_LINE.fullmatch(first)
    fields = [_FIELD_LINE.fullmatch(text) for text in rest]
    if line is None or not all(fields):
        return None
    return Head(line[1], line[2], line[3], tuple((field[1].lower(), field[2]) for field in fields if field))


def asks_for_websocket(head: Head) -> bool:
    """Whether the client wants this connection to become a websocket (RFC 9110 section 7.8)."""
    return head.method == "GET" and "websocket" in head.tokens("upgrade")


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a handshake is not one."""

    status: HTTPStatus
    text: str

    @property
    def headers(self) -> dict[str, str]:
        """What an answer says besides (RFC 9110 section 15.5.22, RFC 6455 section 4.4)."""
        again = self.status is HTTPStatus.UPGRADE_REQUIRED
        return {"Upgrade": "websocket", "Sec-WebSocket-Version": VERSION} if again else {}


def judge_handshake(head: Head) -> bytes | Refusal:
    """Return the value of Sec-WebSocket-Accept, or the refusal (RFC 6455 sections 4.2.1 and 4.2.2)."""
    fault = _handshake_fault(head)
    if fault is not None:
        return Refusal(HTTPStatus.BAD_REQUEST, fault)
    if head.values("sec-websocket-version") != [VERSION]:
        return Refusal(HTTPStatus.UPGRADE_REQUIRED, "websocket version 13 expected")
    return accept_key(head.values("sec-websocket-key")[0])


def refusal_of(target: str, fields: Iterable[tuple[str, str]]) -> Refusal | None:
    """Return why a GET of HTTP/1.1 with these fields, as a library read it, is no handshake; None if it is one."""
    judged = judge_handshake(Head("GET", target, "HTTP/1.1", tuple((name.lower(), value) for name, value in fields)))
    return judged if isinstance(judged, Refusal) else None


def _handshake_fault(head: Head) -> str | None:
    if not asks_for_websocket(head):
        return "a websocket handshake expected"
    if head.version != "HTTP/1.1" or len(head.values("host")) != 1:
        return "HTTP/1.1 with one Host expected"
    if "upgrade" not in head.tokens("connection"):
        return "Connection: Upgrade expected"
    if head.values("content-length") or head.values("transfer-encoding"):
        return "a handshake has no body"
    keys = head.values("sec-websocket-key")
    if len(keys) != 1 or not _is_key(keys[0]):
        return "one Sec-WebSocket-Key of 16 bytes expected"
    return None


def _is_key(text: str) -> bool:
    try:
        return len(text) == 24 and len(b64decode(text, validate=True)) == 16
    except (Base64Error, ValueError):
        return False


def accept_key(key: str) -> bytes:
    """Return the answer to Sec-WebSocket-Key `key`: base64 of SHA-1 of key and GUID (section 4.2.2)."""
    return b64encode(sha1(key.encode("latin-1") + GUID, usedforsecurity=False).digest())


def _encode(opcode: Opcode, payload: bytes) -> bytes:
    length = len(payload)
    first = 0x80 | opcode
    if length < 126:
        return bytes((first, length)) + payload
    if length < 0x10000:
        return bytes((first, 126)) + length.to_bytes(2) + payload
    return bytes((first, 127)) + length.to_bytes(8) + payload


def encode_binary(payload: bytes) -> bytes:
    """Return one unfragmented, unmasked binary message: the same bytes serve every viewer."""
    return _encode(Opcode.BINARY, payload)


def encode_pong(payload: bytes) -> bytes:
    """Return the answer to a ping with `payload` (at most 125 bytes, as `Ping` holds)."""
    return _encode(Opcode.PONG, payload)


def encode_close(code: int | None) -> bytes:
    """Return a close frame; without a code it is empty (section 5.5.1)."""
    if code is None:
        return _encode(Opcode.CLOSE, b"")
    return _encode(Opcode.CLOSE, code.to_bytes(2) + REASONS.get(code, "").encode())


# Section 5.2: the least length that each form of it may tell, by the bytes it has beside the first.
_LEAST = {0: 0, 2: 126, 8: 0x10000}
PING = _encode(Opcode.PING, b"")
EMPTY_PONG = b"\x8a\x80"


@dataclass(frozen=True, slots=True)
class Ping:
    """The client asks for a pong with the same payload."""

    payload: bytes


@dataclass(frozen=True, slots=True)
class Pong:
    """The client is there."""


@dataclass(frozen=True, slots=True)
class Closing:
    """The client closes; `code` is what to echo, None where it gave none."""

    code: int | None


@dataclass(frozen=True, slots=True)
class Unwelcome:
    """The client sends what a viewer does not send: close with 1008. Its later close is still read."""


@dataclass(frozen=True, slots=True)
class Fault:
    """The client's bytes are not the protocol: fail the connection with `code`."""

    code: CloseCode


Said = Ping | Pong | Closing | Unwelcome | Fault


class ClientFrames:
    """Reads what one viewer sends, in chunks of any size."""

    __slots__ = ("_control_left", "_control_limit", "_done", "_goes_on", "_pending", "_skip", "_told")

    def __init__(self, control_limit: int = CONTROL_LIMIT) -> None:
        self._pending = b""
        self._skip = 0
        self._done = False
        self._goes_on = False
        self._told = False
        self._control_limit = self._control_left = control_limit

    @property
    def pending_bytes(self) -> int:
        """How many bytes wait for the rest of their frame; never more than PENDING_LIMIT."""
        return len(self._pending)

    def renew(self) -> None:
        """Begin a new period: `control_limit` control frames are welcome again."""
        self._control_left = self._control_limit

    def receive(self, data: bytes) -> list[Said]:
        """Take the next bytes and return what they complete; however they are cut, the result is the same."""
        if self._done:
            return []
        if len(data) == 6 and data.startswith(EMPTY_PONG) and not self._pending and not self._skip:
            return [self._control(Opcode.PONG, b"")]  # what nearly all viewers ever say, so not looked at twice
        buffer, self._pending = self._pending + data, b""
        said: list[Said] = []
        at = 0
        while not self._done:
            at += self._skip_some(len(buffer) - at)
            frame = self._frame(buffer, at)
            if frame is None:
                self._pending = buffer[at:]
                break
            at += frame
            said.extend(self._say(buffer, at - frame, at))
        return said

    def _skip_some(self, available: int) -> int:
        step = min(self._skip, available)
        self._skip -= step
        return step

    def _frame(self, buffer: bytes, at: int) -> int | None:
        """Return how many bytes to take: a control frame, a data frame's header, or a faulty first pair."""
        available = len(buffer) - at
        if available < 2:
            return None
        if _is_faulty(buffer[at], buffer[at + 1]):
            return 2
        length = buffer[at + 1] & 0x7F
        size = 6 + (length if buffer[at] & 0x08 else {126: 2, 127: 8}.get(length, 0))
        return size if available >= size else None

    def _say(self, buffer: bytes, start: int, end: int) -> Iterator[Said]:
        first, second = buffer[start], buffer[start + 1]
        if _is_faulty(first, second):
            yield self._fail(CloseCode.PROTOCOL_ERROR)
        elif first & 0x08:
            mask, masked = buffer[start + 2 : start + 6], buffer[start + 6 : end]
            yield self._control(Opcode(first & 0x0F), unmask(masked, mask))
        else:
            yield from self._data(first, second & 0x7F, buffer[start + 2 : end - 4])

    def _data(self, first: int, length: int, extended: bytes) -> Iterator[Said]:
        self._skip = int.from_bytes(extended) if extended else length
        follows, self._goes_on = self._goes_on, not first & 0x80
        begins = first & 0x0F != Opcode.CONTINUATION
        if begins is follows or not _LEAST[len(extended)] <= self._skip < 1 << 63:
            yield self._fail(CloseCode.PROTOCOL_ERROR)
        elif not self._told:
            self._told = True
            yield Unwelcome()

    def _control(self, opcode: Opcode, payload: bytes) -> Said:
        if opcode is Opcode.CLOSE:
            return self._close(payload)
        if self._control_left == 0:
            return self._fail(CloseCode.NOT_EXPECTED)
        self._control_left -= 1
        return Ping(payload) if opcode is Opcode.PING else Pong()

    def _close(self, payload: bytes) -> Said:
        self._done = True
        if not payload:
            return Closing(None)
        code = int.from_bytes(payload[:2])
        if len(payload) == 1 or not _may_be_sent(code):
            return Fault(CloseCode.PROTOCOL_ERROR)
        try:
            payload[2:].decode()
        except UnicodeDecodeError:
            return Fault(CloseCode.INVALID_TEXT)
        return Closing(code)

    def _fail(self, code: CloseCode) -> Fault:
        self._done = True
        return Fault(code)


def _is_faulty(first: int, second: int) -> bool:
    if first & 0x70 or not second & 0x80:
        return True  # section 5.2: no extension was agreed; section 5.1: a client masks
    if first & 0x08:
        return not first & 0x80 or second & 0x7F > CONTROL_PAYLOAD_LIMIT or first & 0x0F > Opcode.PONG
    return first & 0x0F > Opcode.BINARY


def _may_be_sent(code: int) -> bool:
    # Section 7.4: 1004 to 1006 and 1015 never travel; 1016 to 2999 are not assigned.
    return 3000 <= code <= 4999 or (1000 <= code <= 1014 and code not in (1004, 1005, 1006))


def unmask(payload: bytes, mask: bytes) -> bytes:
    """Return `payload` with the four bytes of `mask` taken off (section 5.3)."""
    length = len(payload)
    key = (mask * (length // 4 + 1))[:length]
    return (int.from_bytes(payload) ^ int.from_bytes(key)).to_bytes(length)
