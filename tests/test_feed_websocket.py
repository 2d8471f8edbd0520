"""Websocket feeds, against the octets of RFC 6455 and stations of another implementation."""

import asyncio
import base64
import hashlib
import socket
from contextlib import AsyncExitStack
from pathlib import Path

import pytest
from aiohttp import ClientSession, WSServerHandshakeError

from feed_stations import (
    LIMIT_S,
    Bell,
    WebsocketDiallingStation,
    WebsocketListeningStation,
    dial,
    read_to_the_end,
    turn,
)
from feed_talk import (
    QUICK,
    Shelf,
    Waits,
    each_loop,
    on,
    patterned,
    push_until_stuck,
    talk,
)
from relay.shell.feeds import feeds
from relay.shell.feeds.feeds import FeedLimits, open_feed, parse_feed_url

WEBSOCKETS = ["ws", "ws-listen"]


SAMPLE_KEY, SAMPLE_ACCEPT = b"dGhlIHNhbXBsZSBub25jZQ==", b"s3pPLMBiTxaQ9kYGzzhZRbK+xOo="  # RFC 6455 section 1.3
MASKED_HELLO = bytes.fromhex("81 85 37 fa 21 3d 7f 9f 4d 51 58")  # section 5.7
HELLO = bytes.fromhex("81 05 48 65 6c 6c 6f")
HELLO_IN_TWO = bytes.fromhex("01 03 48 65 6c 80 02 6c 6f")
PING = bytes.fromhex("89 85 37 fa 21 3d 7f 9f 4d 51 58")  # the section's ping, with the mask of its other examples


def masked(first: int, payload: bytes) -> bytes:
    """Return a client's frame with a mask of zeros (RFC 6455 section 5.2), 126 to 65,535 bytes long."""
    return bytes([first, 0x80 | 126]) + len(payload).to_bytes(2, "big") + bytes(4) + payload


async def handshaken(feed: feeds.Feed) -> socket.socket:
    """Return a connection to a listening websocket feed after the opening handshake, written out by hand."""
    loop = asyncio.get_running_loop()
    connection = await dial(feed)
    await loop.sock_sendall(
        connection,
        b"GET /state HTTP/1.1\r\nHost: relay\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        b"Sec-WebSocket-Key: " + SAMPLE_KEY + b"\r\nSec-WebSocket-Version: 13\r\n"
        b"Sec-WebSocket-Extensions: permessage-deflate\r\n\r\n",
    )
    answer = b""
    while not answer.endswith(b"\r\n\r\n"):
        answer += await loop.sock_recv(connection, 1)
    assert answer.startswith(b"HTTP/1.1 101 ")
    assert SAMPLE_ACCEPT in answer
    assert b"sec-websocket-extensions" not in answer.lower()
    return connection


@each_loop
def test_feed_websocket_waits_for_room(loop: str, tmp_path: Path) -> None:
    """While the sink is full websocket messages are not read, so the station's writes stop; then all arrive."""

    async def scenario() -> None:
        async with talk("ws-listen", tmp_path) as conversation:
            raw = await handshaken(conversation.feed)
            conversation.shelf.fill()
            message = patterned(60_000, 3)
            frame = masked(0x82, message)
            waiting = bytearray()

            def push(_: bytes) -> int:
                if not waiting:
                    waiting.extend(frame)
                sent = raw.send(waiting)
                del waiting[:sent]
                return sent

            pushed = len(await push_until_stuck(push, conversation))
            assert conversation.feed.state == "not reading: the journal has no room"
            conversation.shelf.clear()
            messages = pushed // len(frame)
            await conversation.until(lambda: len(conversation.shelf.taken) >= messages)
            assert conversation.shelf.taken == [("lantern", message, True)] * messages
            raw.close()

    on(loop, scenario())


@each_loop
def test_websocket_listen_reads_the_frames_of_the_standard(loop: str, tmp_path: Path) -> None:
    """RFC 6455's own octets are read; all that comes back is the pong that its section 5.5.3 asks for."""

    async def scenario() -> None:
        async with talk("ws-listen", tmp_path) as conversation:
            raw = await handshaken(conversation.feed)
            raw.send(MASKED_HELLO + PING + b"\x81\x80\x00\x00\x00\x00" + MASKED_HELLO)
            await conversation.until(lambda: len(conversation.shelf.taken) == 2)
            assert conversation.shelf.taken == [("lantern", b"Hello", True)] * 2
            assert await asyncio.get_running_loop().sock_recv(raw, 100) == bytes.fromhex("8a 05 48 65 6c 6c 6f")
            stopping = asyncio.create_task(conversation.stop())
            assert await asyncio.get_running_loop().sock_recv(raw, 100) == bytes.fromhex("88 02 03 e9")  # going away
            raw.send(bytes.fromhex("88 82 00 00 00 00 03 e9"))
            assert await read_to_the_end(raw) == []
            await stopping
            raw.close()

    on(loop, scenario())


@each_loop
def test_websocket_dial_reads_the_frames_of_the_standard(loop: str) -> None:
    """A dialled station's frames, whole and in fragments, are read; the relay sends its handshake and a close."""

    async def scenario() -> None:
        bell = Bell()
        shelf, loop_ = Shelf(bell), asyncio.get_running_loop()
        with socket.create_server(("127.0.0.1", 0)) as listener:
            listener.setblocking(False)
            url = parse_feed_url(f"ws://127.0.0.1:{listener.getsockname()[1]}/state?all=1")
            feed = open_feed("lantern", url, shelf, limits=QUICK, changed=bell.ring)
            task = asyncio.create_task(feed.run())
            raw, _ = await loop_.sock_accept(listener)
            asked = b""
            while not asked.endswith(b"\r\n\r\n"):
                asked += await loop_.sock_recv(raw, 1)
            assert asked.startswith(b"GET /state?all=1 HTTP/1.1\r\n")
            assert b"sec-websocket-extensions" not in asked.lower()  # so that frames are the station's own octets
            raw.send(accepting(asked) + HELLO + HELLO_IN_TWO)
            await bell.until(lambda: len(shelf.taken) == 2)
            assert shelf.taken == [("lantern", b"Hello", True)] * 2
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            (left,) = [b"".join(await read_to_the_end(raw))]
            assert left[:2] in (b"", b"\x88\x82")  # a masked close frame with its two-byte code, nothing else
            assert len(left) in (0, 8)
            raw.close()

    on(loop, scenario())


def accepting(asked: bytes) -> bytes:
    """Return the server's answer to an opening handshake (RFC 6455 section 4.2.2)."""
    key = next(line.split(b": ")[1] for line in asked.split(b"\r\n") if line.lower().startswith(b"sec-websocket-key"))
    accept = base64.b64encode(
        hashlib.sha1(key + b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11", usedforsecurity=False).digest()
    )
    return (
        b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        b"Sec-WebSocket-Accept: " + accept + b"\r\n\r\n"
    )


@pytest.mark.parametrize("kind", WEBSOCKETS)
async def test_websocket_text_and_binary_are_taken(kind: str, tmp_path: Path) -> None:
    """Text messages arrive as their UTF-8 bytes, binary ones as they are."""
    async with talk(kind, tmp_path) as conversation:
        station = conversation.station
        assert isinstance(station, WebsocketListeningStation | WebsocketDiallingStation)
        await station.say_text('{"note": "Grüße"}')
        await station.say(b"\xff\x00")
        await conversation.until(lambda: len(conversation.shelf.taken) == 2)
        assert [data for _, data, _ in conversation.shelf.taken] == ['{"note": "Grüße"}'.encode(), b"\xff\x00"]


@pytest.mark.parametrize("kind", WEBSOCKETS)
async def test_websocket_message_bound(kind: str, tmp_path: Path) -> None:
    """A message of the greatest length is taken; one byte more ends the connection, and the feed goes on."""
    async with talk(kind, tmp_path, limits=FeedLimits(message_bytes=1000, farewell_s=0.1)) as conversation:
        await conversation.station.say(b"x" * 1000)
        await conversation.until(lambda: conversation.shelf.size == 1000)
        await conversation.station.say(b"x" * 1001)
        await conversation.until(lambda: any("longer than 1000 bytes" in state for state in conversation.states))
        await conversation.station.meet(conversation.feed, conversation.bell)
        await conversation.station.say(b"after")
        await conversation.until(lambda: conversation.shelf.bytes == b"x" * 1000 + b"after")


@pytest.mark.parametrize(
    "garbage",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(300),
        b"GET / HTTP/1.1\r\nHost: relay\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: relay\r\nContent-Length: 5\r\n\r\nhello",
        b"\r\n" * 200,
        b"$HEHDT,12.5,T*1B\r\n" * 2000,
    ],
)
async def test_websocket_listen_stranger_does_no_harm(garbage: bytes, tmp_path: Path) -> None:
    """A stranger that doesn't speak websocket is closed, and the station is heard all the while."""
    async with talk("ws-listen", tmp_path, limits=FeedLimits(dial_s=1.0, farewell_s=0.1)) as conversation:
        stranger = await dial(conversation.feed)
        await asyncio.get_running_loop().sock_sendall(stranger, garbage)
        await conversation.station.say(b"1")
        await conversation.until(lambda: conversation.shelf.bytes == b"1")
        await read_to_the_end(stranger)  # at once, or when the limit for the handshake is over
        stranger.close()
        assert conversation.feed.counters.connections == 1


async def test_websocket_listen_pings_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An hour on the loop's clock brings no ping: all that a silent station ever gets is the close."""
    async with talk("ws-listen", tmp_path, limits=FeedLimits(farewell_s=0.1), meet=False) as conversation:
        await conversation.bell.until(lambda: conversation.feed.bound is not None)
        raw, loop = await handshaken(conversation.feed), asyncio.get_running_loop()
        await conversation.until(lambda: conversation.feed.state.startswith("connected to"))
        clock = loop.time
        monkeypatch.setattr(loop, "time", lambda: clock() + 3600.0)
        for _ in range(10):
            await turn()
        await conversation.stop()
        assert b"".join(await read_to_the_end(raw)) == bytes.fromhex("88 02 03 e9")
        raw.close()


async def test_websocket_listen_stops_while_a_stranger_hangs(tmp_path: Path) -> None:
    """A stranger that says nothing doesn't hold a stop up, however long it may take for its handshake."""
    async with talk("ws-listen", tmp_path, limits=FeedLimits(dial_s=1000.0, farewell_s=0.1)) as conversation:
        stranger = await dial(conversation.feed)
        await asyncio.get_running_loop().sock_sendall(stranger, b"GET / HTTP/1.1\r\n")
        await conversation.station.say(b"1")
        await conversation.until(lambda: bool(conversation.shelf.taken))
        async with asyncio.timeout(LIMIT_S):
            await conversation.stop()
        assert await read_to_the_end(stranger) == []
        stranger.close()


@pytest.mark.parametrize(
    ("frame", "why"),
    [
        (HELLO, "an unmasked frame from a client, section 5.1"),
        (masked(0xF2, b"x" * 200), "reserved bits, section 5.2"),
        (masked(0x83, b"x" * 200), "a reserved opcode, section 5.2"),
        (masked(0x80, b"x" * 200), "a continuation of nothing, section 5.4"),
    ],
)
async def test_websocket_listen_broken_frame_ends_its_connection_alone(frame: bytes, why: str, tmp_path: Path) -> None:
    """A station that breaks RFC 6455 is closed; another one on the same feed is heard on."""
    async with talk("ws-listen", tmp_path) as conversation:
        raw = await handshaken(conversation.feed)
        raw.send(frame)
        parts = b"".join(await read_to_the_end(raw))
        assert parts[:1] in (b"\x88", b""), why
        raw.close()
        await conversation.station.say(b"1")
        await conversation.until(lambda: conversation.shelf.bytes.endswith(b"1"))
        assert not conversation.task.done()


async def test_websocket_text_that_is_not_utf_8_is_kept_as_it_came(tmp_path: Path) -> None:
    """A text message that isn't UTF-8 is bad bytes like any other, kept for the journal; it ends its connection."""
    async with talk("ws-listen", tmp_path, meet=False) as conversation:
        await conversation.bell.until(lambda: conversation.feed.bound is not None)
        raw = await handshaken(conversation.feed)
        raw.send(masked(0x81, "κ水🜄 ".encode() * 20))
        raw.send(masked(0x81, b"caf\xe9 " * 40))
        close = (await read_to_the_end(raw))[0]
        assert close[:1] == b"\x88" and close[2:4] == (1007).to_bytes(2, "big")  # RFC 6455 sections 8.1 and 7.4.1
        await conversation.until(lambda: len(conversation.shelf.taken) == 2)
        assert [data for _, data, _ in conversation.shelf.taken] == ["κ水🜄 ".encode() * 20, b"caf\xe9 " * 40]
        await conversation.until(lambda: "isn't UTF-8" in conversation.feed.state)
        raw.close()
        await conversation.station.meet(conversation.feed, conversation.bell)


async def test_websocket_listen_refuses_browsers(tmp_path: Path) -> None:
    """A page in a browser, which always sends an Origin (RFC 6455 section 10.2), can't speak as a station."""
    async with talk("ws-listen", tmp_path, meet=False) as conversation, ClientSession() as session:
        await conversation.bell.until(lambda: conversation.feed.bound is not None)
        assert conversation.feed.bound is not None
        address = f"http://127.0.0.1:{conversation.feed.bound[1]}/"
        with pytest.raises(WSServerHandshakeError) as caught:
            await session.ws_connect(address, origin="http://page.example")
        assert caught.value.status == 403
        await conversation.station.meet(conversation.feed, conversation.bell)


async def test_websocket_listen_bound_of_stations(tmp_path: Path) -> None:
    """At the bound all stations are heard; one past it is closed with 1013, try again later, and counted."""
    async with (
        talk("ws-listen", tmp_path, limits=FeedLimits(connections=2, farewell_s=0.1)) as conversation,
        AsyncExitStack() as stack,
    ):
        assert conversation.feed.bound is not None
        session = await stack.enter_async_context(ClientSession())
        address = f"http://127.0.0.1:{conversation.feed.bound[1]}/"
        second = await session.ws_connect(address)
        await second.send_bytes(b"2")
        await conversation.until(lambda: conversation.shelf.bytes == b"2")
        third = await session.ws_connect(address)
        await third.receive()
        assert third.close_code == 1013
        assert conversation.feed.counters.refused == 1
        await conversation.station.say(b"1")
        await conversation.until(lambda: conversation.shelf.bytes == b"21")
        await second.close()


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\n\r\n", "the station answered with HTTP status 404"),
        (b"$HEHDT,12.5,T*1B\r\n", "the station doesn't speak websocket"),
        (b"", "the station doesn't speak websocket"),
        (
            b"HTTP/1.1 302 Found\r\nLocation: ws://192.0.2.7:1/\r\nContent-Length: 0\r\n\r\n",
            "the station doesn't speak websocket",
        ),
    ],
)
async def test_websocket_dial_wrong_answer_is_told_and_tried_again(answer: bytes, words: str) -> None:
    """A station that answers wrongly, or sends the relay on to another machine, is left and dialled again."""
    bell = Bell()
    waits, loop = Waits(bell), asyncio.get_running_loop()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.setblocking(False)
        url = parse_feed_url(f"ws://127.0.0.1:{listener.getsockname()[1]}")
        feed = open_feed("lantern", url, Shelf(bell), sleep=waits.sleep, changed=bell.ring)
        task = asyncio.create_task(feed.run())
        raw, _ = await loop.sock_accept(listener)
        await loop.sock_recv(raw, 4096)
        raw.send(answer)
        raw.close()
        await bell.until(lambda: bool(waits.asked))
        assert feed.state == f"waiting 0.5 s before dialling again: {words}"
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def test_websocket_listen_fault_of_ours_stops_the_feed(tmp_path: Path) -> None:
    """An exception on our side of the sink is raised by the feed, not swallowed by the websocket library."""
    async with talk("ws-listen", tmp_path) as conversation:

        def broken(source: str, data: bytes, whole: bool) -> bool:
            raise ZeroDivisionError

        conversation.shelf.take = broken  # type: ignore[method-assign]
        await conversation.station.say(b"1")
        with pytest.raises(ZeroDivisionError):
            await asyncio.wait_for(conversation.task, LIMIT_S)
        conversation.task = asyncio.create_task(turn())
