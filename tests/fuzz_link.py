"""Fuzz targets of the link between ship and shore, the stream between shores, and what followers send.

Properties: what is read is written again as the same bytes; how a good stream was cut changes nothing; what waits is
bounded; nothing is raised but LinkError, InvitationError, or for a follower's bytes nothing at all (RFC 6455).
"""

import zlib

from dives import SIGNER
from fuzz_target import Target, pieces, result_or
from relay.core.errors import InvitationError, LinkError
from relay.core.guests import Guest, Listing, find_guest, read_listing, write_listing
from relay.core.history import History
from relay.core.stream_order import Verdict, judge, read_position, say_position
from relay.core.subscriber import parse_ask
from relay.core.uplink_talk import (
    MESSAGE_OCTETS,
    Ack,
    Frames,
    Guests,
    Held,
    Keep,
    Message,
    Packing,
    Unpacking,
    read_ack,
    read_challenge,
    read_proof,
    read_standing,
    write_ack,
    write_challenge,
    write_proof,
    write_standing,
)
from relay.core.websocket import PENDING_LIMIT, ClientFrames, Head, Refusal, accept_key, judge_handshake, parse_head
from relay.shell.site.representation import Coding, choose_coding, is_known
from released import dive

_DIVE = dive(1, 6)
_FRAMES = [frame.data for frame in _DIVE]
_AUDIENCES = 2


def _greetings(data: bytes) -> None:
    """What is said before the stream, at both ends: each is written in one way alone."""
    said = data[1:]
    match data[0] % 4 if data else 0:
        case 0:
            nonce = result_or(LinkError, lambda: read_challenge(said))
            assert isinstance(nonce, str) or write_challenge(nonce) == said
        case 1:
            proof = result_or(LinkError, lambda: read_proof(said))
            assert isinstance(proof, str) or write_proof(*proof) == said
        case 2:
            standing = result_or(LinkError, lambda: read_standing(said))
            assert isinstance(standing, str) or write_standing(*standing) == said
        case _:
            ack = result_or(LinkError, lambda: read_ack(said, _AUDIENCES))
            assert isinstance(ack, str) or write_ack(ack) == said


_GREETINGS = [
    b"\0" + write_challenge(bytes(32)),
    b"\1" + write_proof(SIGNER.key, bytes(64)),
    b"\2" + write_standing({"public": Held(3, 41, 2, bytes(range(32)), True), "family": Held()}),
    b"\3" + write_ack(Ack(40_000, 12, (7, 0))),
]


def _stream(data: bytes) -> None:
    """The ship's stream at the shore: deflated bytes as they came, or (an odd first byte) messages deflated here."""
    cut, whole = pieces(data)
    if data and data[0] % 2:
        deflate = zlib.compressobj(9)
        cut = [deflate.compress(piece) + deflate.flush(zlib.Z_SYNC_FLUSH) for piece in cut]
        whole = b"".join(cut)
    one, other = _unpacked(cut), _unpacked([whole])
    (few, wrong), (many, also) = sorted((one, other), key=lambda found: len(found[0]))
    assert (wrong, few) == (also, many[: len(few)] if wrong else many)  # a fault ends it sooner in a longer piece
    packing = Packing()
    again = [piece for message in one[0] for piece in packing.pack(message)]
    assert _unpacked(again) == (one[0], "")


def _unpacked(cut: list[bytes]) -> tuple[list[Message], str]:
    unpacking, messages = Unpacking(), list[Message]()
    try:
        for piece in cut:
            messages.extend(unpacking.feed(piece))
    except LinkError as error:
        return messages, type(error).__name__
    assert sum(len(frame) for message in messages[-1:] for frame in getattr(message, "frames", ())) < MESSAGE_OCTETS
    return messages, ""


def _packed(*messages: Message) -> bytes:
    packing = Packing()
    return b"".join(piece for message in messages for piece in packing.pack(message))


_MESSAGES = (Keep(), Frames("public", tuple(_FRAMES[:3])), Guests(b"listing"), Frames("family", (b"a", b"")))
_PLAIN = zlib.decompressobj().decompress(_packed(*_MESSAGES))
_LISTING = write_listing(Listing(7, {"0a1b2c3d": Guest("0a1b2c3d", "family", bytes(32), 1_900_000_000)}), SIGNER)


def _listing(data: bytes) -> None:
    """A list of guests that the ship did sign, for whoever hasn't her key gets no further than the signature."""
    signed = SIGNER.sign("guests", data) + data
    found = result_or(InvitationError, lambda: read_listing(SIGNER.key, signed))
    if isinstance(found, Listing):
        assert read_listing(SIGNER.key, write_listing(found, SIGNER)) == found
    result_or(InvitationError, lambda: read_listing(SIGNER.key, data))


def _shelf() -> History:
    history = History("public")
    for frame in _DIVE[:4]:
        history.append(frame)
    return history


def _stream_message(data: bytes) -> None:
    """A message of the stream between shores: a header that names what it follows, a line, and a frame."""
    header, _, frame = data.partition(b"\n")
    position = read_position(header.decode("latin-1"))
    assert position is None or read_position(say_position(position)) == position
    history = _shelf()
    before = history.head
    verdict = judge(history, SIGNER.key, frame, position)
    assert verdict is not Verdict.NEXT or frame in _FRAMES[4:], "taken, and not what the ship signed to follow"
    assert history.head == before


def _head(data: bytes) -> None:
    """The head of a follower's request, and all that is read out of it."""
    head = parse_head(data)
    if head is None:
        return
    lines = [f"{head.method} {head.target} {head.version}", *(f"{name}: {value}" for name, value in head.fields)]
    assert parse_head("\r\n".join([*lines, "", ""]).encode("latin-1")) == head
    judged = judge_handshake(head)
    assert isinstance(judged, Refusal) or judged == accept_key(head.values("sec-websocket-key")[0])
    ask = parse_ask(head.query)
    assert ask is None or (ask.audience and (ask.position is None or ask.position.dive > 0))
    _fields(head)


def _fields(head: Head) -> None:
    for name in ("accept-encoding", "if-none-match"):
        for value in head.values(name):
            assert choose_coding(value) in Coding
            assert is_known(value, '"tag"') in (True, False)
    for member in head.members("sec-websocket-protocol"):
        assert find_guest({}, member.removeprefix("guest."), 0.0) is None


_HEAD = (
    b"GET /live?audience=public&dive=3&after=41 HTTP/1.1\r\nHost: ship.example\r\nUpgrade: websocket\r\n"
    b"Connection: keep-alive, Upgrade\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n"
    b"Sec-WebSocket-Protocol: offing, guest.0a1b2c3d.AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA\r\n"
    b'Accept-Encoding: gzip;q=0.5, deflate, *;q=0\r\nIf-None-Match: W/"tag", "tag"\r\n\r\n'
)


def _frames(data: bytes) -> None:
    """A follower's websocket frames."""
    cut, whole = pieces(data)
    reader, said = ClientFrames(), []
    for piece in cut:
        said += reader.receive(piece)
        assert reader.pending_bytes <= PENDING_LIMIT
    assert said == ClientFrames().receive(whole)


_FRAME_SEEDS = [b"\0\x89\x82\1\2\3\4hi", b"\3\x88\x82\0\0\0\0\3\xe8", b"\1\x8a\x80\0\0\0\0",
                b"\2\x81\xfe\0\x80\0\0\0\0ab", b"\0\x88\x85\0\0\0\0\3\xe8\xc3\xa9x\x8a\x80\0\0\0\0",
                b"\5\x82\xff\0\0\0\0\0\0\0\1\0\0\0\0x"]  # fmt: skip

TARGETS = (
    Target("link-greetings", _greetings, _GREETINGS, 512),
    Target("link-stream", _stream, [b"\x08" + _packed(*_MESSAGES), b"\x0b" + _PLAIN, b"\1" + _PLAIN[:90]], 2_048),
    Target("guests-listing", _listing, [_LISTING[64:], _LISTING], 1_024),
    Target(
        "stream-message", _stream_message, [b"1.3\n" + _FRAMES[4], b"1.2\n" + _FRAMES[3], b"0.-1\n" + _FRAMES[0]], 512
    ),
    Target("request-head", _head, [_HEAD, b"GET / HTTP/1.0\r\n\r\n"], 1_024),
    Target("follower-frames", _frames, _FRAME_SEEDS, 512),
)
