"""The server's side of RFC 6455: the RFC's own examples, the library `websockets` as peer, strict limits, fuzz."""

import random
from itertools import accumulate, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from websockets import ServerProtocol
from websockets.client import ClientProtocol
from websockets.frames import Close, Frame, Opcode
from websockets.uri import parse_uri

from relay.core.websocket import (
    CONTROL_LIMIT,
    PENDING_LIMIT,
    PING,
    ClientFrames,
    CloseCode,
    Closing,
    Fault,
    Ping,
    Pong,
    Refusal,
    Said,
    Unwelcome,
    accept_key,
    encode_binary,
    encode_close,
    encode_pong,
    judge_handshake,
    parse_head,
    unmask,
)

MASK = bytes.fromhex("37fa213d")
# RFC 6455 section 1.3: the client's handshake, without its optional fields, and the accept value it explains.
HANDSHAKE = (
    b"GET /live?audience=public HTTP/1.1\r\n"
    b"Host: server.example.com\r\n"
    b"Upgrade: websocket\r\n"
    b"Connection: Upgrade\r\n"
    b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
    b"Origin: http://example.com\r\n"
    b"Sec-WebSocket-Version: 13\r\n\r\n"
)
ACCEPT = b"s3pPLMBiTxaQ9kYGzzhZRbK+xOo="


def masked(opcode: int, payload: bytes, first: int = 0x80) -> bytes:
    """Return a client frame by the layout of section 5.2."""
    length = len(payload)
    if length < 126:
        head = bytes([first | opcode, 0x80 | length])
    elif length < 1 << 16:
        head = bytes([first | opcode, 0x80 | 126]) + length.to_bytes(2)
    else:
        head = bytes([first | opcode, 0x80 | 127]) + length.to_bytes(8)
    return head + MASK + unmask(payload, MASK)


def read(raw: bytes, sizes: list[int] | None = None) -> list[Said]:
    """Return what a fresh reader says to `raw`, cut into pieces of `sizes` and the rest."""
    frames = ClientFrames()
    said: list[Said] = []
    for start, end in pairwise([0, *accumulate(sizes or []), len(raw)]):
        said += frames.receive(raw[start:end])
        assert frames.pending_bytes < PENDING_LIMIT
    return said


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        ("8185 37fa213d 7f9f4d5158", [Unwelcome()]),  # a masked text message
        ("8105 48656c6c6f", [Fault(CloseCode.PROTOCOL_ERROR)]),  # the same, unmasked: from a client a breach
        ("0103 48656c 8002 6c6f", [Fault(CloseCode.PROTOCOL_ERROR)]),  # fragmented, unmasked
        ("8905 48656c6c6f", [Fault(CloseCode.PROTOCOL_ERROR)]),  # an unmasked ping
        ("8a85 37fa213d 7f9f4d5158", [Pong()]),  # a masked pong
        ("8985 37fa213d 7f9f4d5158", [Ping(b"Hello")]),  # the masked payload of the first example, as a ping
    ],
)
def test_frames_of_the_rfc_are_read_as_a_server_must(raw: str, expected: list[Said]) -> None:
    """Examples of RFC 6455 section 5.7, whole, byte by byte, and followed by more."""
    data = bytes.fromhex(raw)
    assert read(data) == expected
    assert read(data, [1] * len(data)) == expected
    assert read(data + masked(9, b"x"))[: len(expected)] == expected


def test_binary_messages_are_those_of_the_rfc() -> None:
    """RFC 6455 section 5.7: 256 bytes have the header 82 7E 0100, 64 KiB have 82 7F 0000000000010000."""
    assert encode_binary(bytes(256)) == bytes.fromhex("827e0100") + bytes(256)
    assert encode_binary(bytes(65_536)) == bytes.fromhex("827f0000000000010000") + bytes(65_536)
    assert encode_pong(b"Hello") == bytes.fromhex("8a05") + b"Hello"
    assert bytes.fromhex("8900") == PING


@pytest.mark.parametrize("length", [0, 1, 125, 126, 127, 65_535, 65_536])
def test_binary_message_of_any_length_is_what_the_library_writes(length: int) -> None:
    """Each border of the length field: the library `websockets` writes the same bytes."""
    payload = bytes(length)
    assert encode_binary(payload) == Frame(Opcode.BINARY, payload).serialize(mask=False)


@pytest.mark.parametrize("code", sorted(CloseCode))
def test_close_frames_are_read_by_the_library(code: CloseCode) -> None:
    """The library `websockets` reads every close frame as the code it was made for, with a reason of ASCII."""
    raw = encode_close(code)
    assert Close.parse(raw[2:]).code == code
    assert raw[1] == len(raw) - 2 <= 125


def test_handshake_of_the_rfc_is_accepted() -> None:
    """RFC 6455 section 1.3: key dGhlIHNhbXBsZSBub25jZQ== gives s3pPLMBiTxaQ9kYGzzhZRbK+xOo=."""
    head = parse_head(HANDSHAKE)
    assert head is not None
    assert judge_handshake(head) == ACCEPT
    assert accept_key("dGhlIHNhbXBsZSBub25jZQ==") == ACCEPT
    assert (head.path, head.query) == ("/live", "audience=public")


@pytest.mark.parametrize(
    ("old", "new", "status"),
    [
        (b"GET", b"POST", 400),
        (b"HTTP/1.1", b"HTTP/1.0", 400),
        (b"Host: server.example.com\r\n", b"", 400),
        (b"Host: server.example.com\r\n", b"Host: a\r\nHost: b\r\n", 400),
        (b"Upgrade: websocket", b"Upgrade: h2c", 400),
        (b"Connection: Upgrade", b"Connection: keep-alive", 400),
        (b"dGhlIHNhbXBsZSBub25jZQ==", b"dGhlIHNhbXBsZSBub25jZQ", 400),
        (b"dGhlIHNhbXBsZSBub25jZQ==", b"dGhlIHNhbXBsZSBub25j", 400),
        (b"dGhlIHNhbXBsZSBub25jZQ==", b"dGhlIHNhbXBs!SBub25jZQ==", 400),
        (b"Origin: http://example.com", b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==", 400),
        (b"Origin: http://example.com", b"Content-Length: 4", 400),
        (b"Origin: http://example.com", b"Transfer-Encoding: chunked", 400),
        (b"Version: 13", b"Version: 8", 426),
        (b"Sec-WebSocket-Version: 13\r\n", b"", 426),
    ],
)
def test_handshake_that_breaks_a_clause_is_refused(old: bytes, new: bytes, status: int) -> None:
    """Every requirement of RFC 6455 section 4.2.1, one broken at a time; a wrong version gets 426 (4.2.2)."""
    head = parse_head(HANDSHAKE.replace(old, new))
    assert head is not None
    refusal = judge_handshake(head)
    assert isinstance(refusal, Refusal)
    assert refusal.status == status


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"Upgrade: websocket", b"upgrade: h2c , WebSocket"),
        (b"Connection: Upgrade", b"Connection: keep-alive\r\nConnection: UPGRADE"),
        (b"Origin: http://example.com", b"Sec-WebSocket-Extensions: permessage-deflate"),
    ],
)
def test_handshake_variants_that_are_allowed_are_accepted(old: bytes, new: bytes) -> None:
    """Lists, repeated fields and other case are legal (RFC 6455 section 4.2.1, RFC 9110 section 5.6.1)."""
    head = parse_head(HANDSHAKE.replace(old, new))
    assert head is not None
    assert judge_handshake(head) == ACCEPT


def test_handshake_of_the_library_is_accepted_by_both() -> None:
    """The library `websockets` as client makes a request we accept, with the accept value its own server gives."""
    client = ClientProtocol(parse_uri("ws://127.0.0.1:1/live"))
    client.send_request(client.connect())
    raw = b"".join(client.data_to_send())
    server = ServerProtocol()
    server.receive_data(raw)
    (request,) = server.events_received()
    head = parse_head(raw)
    assert head is not None
    assert judge_handshake(head) == server.accept(request).headers["Sec-WebSocket-Accept"].encode()  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "raw",
    [
        b"\r\n\r\n",
        b"GET / HTTP/1.1\r\n",
        b"GET /  HTTP/1.1\r\n\r\n",
        b"GET / HTTP/2.0\r\n\r\n",
        b"GET /\x7f HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost : x\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\n folded\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\ny: z\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\x00\r\n\r\n",
        b"GET / HTTP/1.1\r\nno colon\r\n\r\n",
    ],
)
def test_head_that_is_not_plainly_one_is_left_alone(raw: bytes) -> None:
    """What RFC 9112 forbids or lets a server refuse (sections 2.2, 3, 5) isn't a head for us."""
    assert parse_head(raw) is None


@pytest.mark.parametrize(
    "raw",
    [
        masked(9, b"", first=0xC0),  # reserved bit 1
        masked(9, b"", first=0xA0),  # reserved bit 2
        masked(9, b"", first=0x90),  # reserved bit 3
        masked(9, b"x", first=0x00),  # a control frame in fragments
        masked(9, bytes(126)),  # a control frame beyond 125 bytes
        masked(3, b""),
        masked(7, b""),
        masked(11, b""),
        masked(15, b""),
        masked(8, b"\x03"),  # a close code of one byte
        *(masked(8, code.to_bytes(2)) for code in (0, 999, 1004, 1005, 1006, 1015, 1016, 2999, 5000, 65_535)),
    ],
)
def test_breach_of_the_framing_fails_the_connection(raw: bytes) -> None:
    """RFC 6455 sections 5.2, 5.5 and 7.4; the library `websockets` fails each of them as well (1002, too big: 1009)."""
    faults = [said for said in read(raw) if isinstance(said, Fault)]
    assert faults == [Fault(CloseCode.PROTOCOL_ERROR)]
    server = ServerProtocol(max_size=None)
    server.receive_data(HANDSHAKE)
    server.send_response(server.accept(server.events_received()[0]))  # type: ignore[arg-type]
    server.receive_data(raw)
    assert server.parser_exc is not None


def test_length_with_its_first_bit_set_fails_the_connection() -> None:
    """RFC 6455 section 5.2: the most significant bit of a 64-bit length is 0; the greatest legal one is unwelcome."""
    assert read(bytes.fromhex("82ff8000000000000000") + MASK) == [Fault(CloseCode.PROTOCOL_ERROR)]
    assert read(bytes.fromhex("82ff7fffffffffffffff") + MASK) == [Unwelcome()]


def test_close_with_a_reason_that_is_not_utf8_fails_with_its_own_code() -> None:
    """RFC 6455 section 8.1: 1007."""
    assert read(masked(8, b"\x03\xe8\xff")) == [Fault(CloseCode.INVALID_TEXT)]


@pytest.mark.parametrize("code", [1000, 1003, 1007, 1014, 3000, 4999])
def test_close_is_said_with_the_code_to_echo(code: int) -> None:
    """RFC 6455 section 5.5.1: the code, or none; nothing after it is read."""
    assert read(masked(8, code.to_bytes(2) + "später".encode()) + masked(9, b"")) == [Closing(code)]
    assert read(masked(8, b"")) == [Closing(None)]


def test_control_frame_is_taken_at_its_limit() -> None:
    """125 bytes are a ping; 126 are not (tested above)."""
    assert read(masked(9, bytes(125))) == [Ping(bytes(125))]


@pytest.mark.parametrize("length", [0, 5, 126, 70_000])
def test_data_frame_is_unwelcome_once_and_its_close_still_read(length: int) -> None:
    """However long, it is told once, none of it is kept, and the closing handshake goes on behind it."""
    raw = masked(2, bytes(length)) + masked(1, b"again") + masked(8, b"\x03\xe8")
    assert read(raw) == [Unwelcome(), Closing(1000)]
    assert read(raw, [7] * (len(raw) // 7)) == [Unwelcome(), Closing(1000)]


def test_control_frames_are_counted() -> None:
    """As many as the limit are taken in a period; one more fails the connection."""
    frames = ClientFrames()
    assert frames.receive(masked(9, b"") * CONTROL_LIMIT) == [Ping(b"")] * CONTROL_LIMIT
    frames.renew()
    assert frames.receive(masked(10, b"") * CONTROL_LIMIT) == [Pong()] * CONTROL_LIMIT
    assert frames.receive(masked(9, b"")) == [Fault(CloseCode.NOT_EXPECTED)]
    assert frames.receive(masked(9, b"")) == []


def odd(first: int, masking: int, payload: bytes) -> bytes:
    """Return a frame that is nearly right: any first byte, perhaps no mask, lengths that may lie."""
    return bytes([first, masking | min(len(payload), 127)]) + (MASK if masking else b"") + payload


frame = st.builds(
    odd,
    st.integers(0, 255) | st.sampled_from([0x82, 0x88, 0x89, 0x8A]),
    st.sampled_from([0, 0x80, 0x80, 0x80]),
    st.binary(max_size=200),
)
good = st.builds(masked, st.sampled_from([0, 1, 2, 9, 9, 10]), st.binary(max_size=125))


@given(st.lists(frame | good, max_size=20).map(b"".join), st.data())
def test_chunking_never_changes_what_is_said(raw: bytes, data: st.DataObject) -> None:
    """Frames that are nearly right, cut anywhere: the same events, and the buffer stays bounded."""
    sizes = data.draw(st.lists(st.integers(0, 40), max_size=30))
    while sum(sizes) > len(raw):
        sizes.pop()
    assert read(raw, sizes) == read(raw)


@given(st.lists(st.tuples(st.sampled_from([9, 10]), st.binary(max_size=125)), max_size=30))
def test_control_frames_of_the_library_are_read_as_written(sent: list[tuple[int, bytes]]) -> None:
    """What the library `websockets` writes as a client, with its own random masks, comes out as it went in."""
    raw = b"".join(Frame(Opcode(opcode), payload).serialize(mask=True) for opcode, payload in sent)
    assert read(raw) == [Ping(payload) if opcode == 9 else Pong() for opcode, payload in sent]


def test_hundred_thousand_odd_frames_neither_raise_nor_pile_up() -> None:
    """Seeded: random heads, lengths that lie, truncation; ten frames a reader, every reader within its bounds."""
    rng = random.Random(6455)
    failed = unwelcome = 0
    for _ in range(10_000):
        frames = ClientFrames()
        said: list[Said] = []
        for _ in range(10):
            first = rng.choice((0x81, 0x82, 0x88, 0x89, 0x89, 0x8A, 0x8A, rng.randrange(256)))
            masking = rng.choice((0x80,) * 20 + (0,))
            payload = rng.randbytes(rng.choice((0, 1, 2, 5, 60, 125, 126)))
            raw = odd(first, masking, payload)
            said += frames.receive(raw[: rng.randrange(len(raw))] if rng.random() < 0.05 else raw)
            assert frames.pending_bytes < PENDING_LIMIT
        assert len(said) <= CONTROL_LIMIT + 2
        failed += any(isinstance(item, Fault) for item in said)
        unwelcome += Unwelcome() in said
    assert failed > 1_000
    assert unwelcome > 1_000
