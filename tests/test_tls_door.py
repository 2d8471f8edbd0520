"""A site that speaks TLS itself: the standard library's `ssl` and the library `websockets` are the peers."""

import asyncio
import ssl
import time
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from websockets.asyncio.client import connect

from peers import FAST, PATIENCE_S, RawPeer, on_both_loops, publish, request, reset, take, until, upgrade
from relay.core.errors import OperatorError
from relay.shell.site.gate import Limits
from relay.shell.site.site import Site
from relay.shell.site.tls_door import site_tls
from released import EXPEDITION, dive, endless_dive
from shores import pem_files, with_certificates


@asynccontextmanager
async def secured(folder: Path, limits: Limits = FAST) -> AsyncIterator[Site]:
    """Run a site with TLS on a free port of the loopback."""
    with_certificates(folder, "site")
    site = Site(EXPEDITION, ("public",), limits=limits)
    async with asyncio.timeout(PATIENCE_S):
        await site.start("127.0.0.1", 0, site_tls(folder / "site.pem", folder / "site.key"))
        try:
            yield site
        finally:
            await site.close()


def trusting() -> ssl.SSLContext:
    """Return a client's TLS that takes the site's certificate, its name and its dates being right, and no other."""
    return ssl.create_default_context(cadata=pem_files()[0].decode())


async def said(site: Site, sending: bytes, tls: ssl.SSLContext) -> bytes:
    """Send a request over TLS and return all that comes until the site ends it."""
    reader, writer = await asyncio.open_connection(*site.address, ssl=tls)
    writer.write(sending)
    answer = await reader.read()
    writer.close()
    return answer


@on_both_loops
async def test_pages_and_live_socket_come_over_tls(tmp_path: Path) -> None:
    """A request, a viewer and a head that nobody can read, each as on a port without TLS."""
    async with secured(tmp_path) as site:
        host, port = site.address
        async with connect(f"wss://{host}:{port}/live?audience=public", ssl=trusting(), compression=None) as viewer:
            await until(lambda: site.figures().viewers == {"public": 1})
            sent = publish(site, dive(1, 40))
            assert await take(viewer, len(sent)) == sent
        answer = await said(site, request("/dives.json"), trusting())
        assert answer.startswith(b"HTTP/1.1 200 OK\r\n") and b'"records": 42' in answer
        assert b"431" in await said(site, b"GET / HTTP/1.1\r\nX: " + b"x" * 9_000, trusting())
        await until(lambda: site.figures().connections == 0)


@on_both_loops
async def test_head_that_comes_with_the_end_of_the_handshake_is_read(tmp_path: Path) -> None:
    """A client that sends its request in the same segment as its last handshake message loses nothing of it."""
    async with secured(tmp_path) as site:
        came, going = ssl.MemoryBIO(), ssl.MemoryBIO()
        client = trusting().wrap_bio(came, going, server_hostname="127.0.0.1")
        with pytest.raises(ssl.SSLWantReadError):
            client.do_handshake()
        peer = await RawPeer.dial(site, going.read())
        await until_shaken(client, came, peer)
        client.write(request("/dives.json"))
        await peer.send(going.read())
        had = len(peer.received)
        came.write((await peer.rest())[had:])
        assert client.read(65_536).startswith(b"HTTP/1.1 200 OK")


async def until_shaken(client: ssl.SSLObject, came: ssl.MemoryBIO, peer: RawPeer) -> None:
    """Read until the client's handshake is done, and leave its last message unsent."""
    had = 0
    while True:
        await peer.receive_until(lambda got, had=had: len(got) > had)  # type: ignore[misc]
        came.write(peer.received[had:])
        had = len(peer.received)
        try:
            client.do_handshake()
        except ssl.SSLWantReadError:
            continue
        return


@pytest.mark.parametrize("is_late", [False, True])
async def test_handshakes_count_against_the_limits_and_end_in_time(is_late: bool, tmp_path: Path) -> None:
    """Peers that never finish take the places of connections and no others, and lose them after `handshake_s`.

    So they do on a machine that is so busy that a pass of the loop comes long after.
    """
    limits = replace(FAST, connections=20, connections_per_address=20, handshake_s=0.2)
    async with secured(tmp_path, limits) as site:
        peers = [await RawPeer.dial(site, b"\x16\x03\x01") for _ in range(25)]
        await until(lambda: site.figures().tally.refused == 5)
        assert site.figures().connections == 20
        late_s = time.monotonic() + 5 * limits.handshake_s
        while is_late and time.monotonic() < late_s:
            pass
        await asyncio.gather(*(peer.rest() for peer in peers))
        await until(lambda: site.figures().connections == 0)
        assert site.figures().tally.unfinished == 20
        assert (await said(site, request("/dives.json"), trusting())).startswith(b"HTTP/1.1 200 OK")


NOT_TLS = [request("/"), upgrade(), b"\x16\x03\x01\x00\x05hello", bytes(200)]


@pytest.mark.parametrize("sending", NOT_TLS, ids=range(len(NOT_TLS)))
async def test_what_is_not_tls_gets_nothing_of_the_site(
    sending: bytes, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """No page, no word that tells the program, no line in the log."""
    async with secured(tmp_path) as site:
        publish(site, dive(1, 1))
        got = await (await RawPeer.dial(site, sending)).rest()
        assert len(got) <= 7  # an alert record of TLS: RFC 8446 sections 5.1 and 6
        assert b"HTTP" not in got
        await until(lambda: site.figures().connections == 0)
        assert caplog.records == []


async def test_old_tls_is_refused(tmp_path: Path) -> None:
    """TLS 1.1 is not spoken (RFC 8996)."""
    async with secured(tmp_path) as site:
        old = trusting()
        with pytest.warns(DeprecationWarning, match="TLSv1"):
            old.minimum_version, old.maximum_version = ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1
        with pytest.raises((ssl.SSLError, ConnectionError)):
            await said(site, request("/"), old)


async def shaken(site: Site, receive_octets: int | None = None) -> tuple[RawPeer, Callable[[bytes], bytes]]:
    """Return a client over TLS that is only a socket, its handshake done, and what seals what it sends."""
    came, going = ssl.MemoryBIO(), ssl.MemoryBIO()
    client = trusting().wrap_bio(came, going, server_hostname="127.0.0.1")
    with pytest.raises(ssl.SSLWantReadError):
        client.do_handshake()
    peer = await RawPeer.dial(site, going.read(), receive_octets)
    await until_shaken(client, came, peer)

    def seal(sending: bytes) -> bytes:
        client.write(sending)
        return going.read()

    return peer, seal


async def raw_viewer(site: Site, receive_octets: int | None = None) -> RawPeer:
    """Return such a client that has asked for the live records."""
    peer, seal = await shaken(site, receive_octets)
    await peer.send(seal(upgrade()))
    return peer


@on_both_loops
async def test_viewer_that_takes_nothing_is_dropped_and_the_others_get_all(tmp_path: Path) -> None:
    """Over TLS, too, what waits for a stalled viewer is bounded: at most 150 KB, kernel and ciphers included."""
    async with secured(tmp_path) as site:
        stalled = await raw_viewer(site, receive_octets=4_096)
        url = "wss://{}:{}/live?audience=public".format(*site.address)
        async with connect(url, ssl=trusting(), compression=None) as viewer:
            await until(lambda: site.figures().viewers == {"public": 2})
            sent = 0
            for frame in dive(1, 2_000):
                publish(site, [frame])
                assert await take(viewer, 1) == [frame.data]
                sent += len(frame.data)
                if site.figures().tally.too_slow:
                    break
        assert site.figures().tally.too_slow == 1
        assert sent < 150_000
        stalled.line.close()


@on_both_loops
async def test_viewer_that_is_reset_costs_nobody_a_record(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A record in every pass of the loop, as viewers are reset one after another: who stays has each of them.

    TLS lets go of its transport a pass before the viewer is told: a record comes between the two.
    """
    frames = endless_dive()
    async with secured(tmp_path) as site:
        url = "wss://{}:{}/live?audience=public".format(*site.address)
        async with connect(url, ssl=trusting(), compression=None) as viewer, AsyncExitStack() as lines:
            leaving = [await raw_viewer(site) for _ in range(10)]
            for peer in leaving:
                lines.callback(peer.line.close)
            await until(lambda: site.figures().viewers == {"public": 11})
            for gone, peer in enumerate(leaving):
                reset(peer.line)
                sent: list[bytes] = []
                while site.figures().viewers == {"public": len(leaving) + 1 - gone}:
                    sent += publish(site, [next(frames)])
                    await asyncio.sleep(0)
                assert await take(viewer, len(sent)) == sent
            assert site.figures().tally.too_slow == 0
    assert caplog.records == []


def test_files_that_cannot_be_used_are_named(tmp_path: Path) -> None:
    """Missing, no PEM, and a key of another certificate."""
    with_certificates(tmp_path, "site")
    pem, key = tmp_path / "site.pem", tmp_path / "site.key"
    with pytest.raises(OperatorError, match=r"none\.pem can't be read: No such file"):
        site_tls(tmp_path / "none.pem", key)
    with pytest.raises(OperatorError, match=r"site\.key holds no certificate in PEM.*are the two files swapped"):
        site_tls(key, pem)
