"""Bodies in slices, read by the standard library's HTTP reader and by one that stops."""

import socket
from pathlib import Path

import pytest
from aiohttp.abc import AbstractStreamWriter

from peers import FAST, RawPeer, build_site, get, on_both_loops, request, running
from relay.shell.site.slices import SLICE_OCTETS, Slices, body_of


class Writer(AbstractStreamWriter):
    """Keeps what is written, and how much at a time."""

    def __init__(self) -> None:
        self.got: list[bytes] = []
        self.waits = 0

    async def write(self, chunk: bytes | bytearray | memoryview) -> None:
        """Keep a slice."""
        self.got.append(bytes(chunk))

    async def drain(self) -> None:
        """Count how often the slices wait."""
        self.waits += 1

    async def write_eof(self, chunk: bytes = b"") -> None:
        """Nothing ends here."""

    def enable_compression(self, encoding: str = "deflate", strategy: int | None = None) -> None:
        """Nothing is compressed here."""

    def enable_chunking(self) -> None:
        """Nothing is chunked here."""

    async def write_headers(self, status_line: str, headers: object) -> None:
        """There are no headers here."""


@pytest.mark.parametrize("length", [SLICE_OCTETS + 1, 2 * SLICE_OCTETS, 5 * SLICE_OCTETS + 7])
async def test_slices_are_the_content_and_each_waits(length: int) -> None:
    """Joined they are the bytes; none is longer than a slice; before each next one the reader is waited for."""
    content = (bytes(range(251)) * (length // 251 + 1))[:length]
    body, writer = body_of(content), Writer()
    assert isinstance(body, Slices) and body.size == length
    await body.write(writer)
    assert b"".join(writer.got) == content
    assert max(map(len, writer.got)) == SLICE_OCTETS
    assert writer.waits == len(writer.got)


def test_what_is_no_longer_than_a_slice_stays_as_it_is() -> None:
    """At the limit it is one piece already."""
    content = bytes(SLICE_OCTETS)
    assert body_of(content) is content


@on_both_loops
async def test_answer_in_slices_has_its_length_and_no_body_for_head(tmp_path: Path) -> None:
    """GET gives the bytes with Content-Length, HEAD the same length alone (RFC 9110 section 9.3.2)."""
    built = build_site(tmp_path)
    content = bytes(range(256)) * 1_024
    (built / "big.png").write_bytes(content)
    async with running(folder=built, limits=FAST) as site:
        whole, head = await get(site, "/big.png"), await get(site, "/big.png", method="HEAD")
        assert whole.body == content
        assert whole.headers["Content-Length"] == head.headers["Content-Length"] == str(len(content))
        assert whole.headers["Content-Type"] == "image/png"


@on_both_loops
async def test_kernel_keeps_about_a_slice_unsent(tmp_path: Path) -> None:
    """The socket of a page has the limit that tcp(7) names TCP_NOTSENT_LOWAT."""
    built = build_site(tmp_path)
    async with running(folder=built, limits=FAST) as site:
        peer = await RawPeer.dial(site, request("/nothing", close=False))
        await peer.receive_until(lambda got: got.endswith(b"here.\n"))
        (conversation,) = site._gate.wheel
        raw = conversation._line.get_extra_info("socket")  # type: ignore[attr-defined]
        assert raw.getsockopt(socket.IPPROTO_TCP, socket.TCP_NOTSENT_LOWAT) == SLICE_OCTETS
        peer.line.close()
