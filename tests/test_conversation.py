"""HTTP connections: requests that cannot be read, faults of ours, those that never end, and silence in the log."""

import asyncio
import logging
from dataclasses import replace
from pathlib import Path

import pytest

from peers import FAST, UNREADABLE, RawPeer, answers, build_site, exchange, get, on_both_loops, request, running, until
from relay.shell.site.gate import Limits
from relay.shell.site.pages import Pages


@pytest.fixture
def built(tmp_path: Path) -> Path:
    """A small built site."""
    return build_site(tmp_path)


@pytest.mark.parametrize("sending", UNREADABLE)
@on_both_loops
async def test_request_that_cannot_be_read_gets_one_constant_answer(sending: bytes) -> None:
    """400 and the same words for each; the connection ends, so nothing behind it is taken for a request."""
    behind = request("/dives.json")
    async with running(limits=FAST) as site:
        (answer,) = answers(await exchange(site, sending + behind))
        assert (answer.status, answer.body) == (400, b"The request could not be read.\n")


@pytest.mark.parametrize(("asked", "answered"), [("1.0", "1.0"), ("1.1", "1.1"), ("2.0", "1.1"), ("0.9", "1.1")])
@on_both_loops
async def test_answer_is_of_a_version_that_is_kept_to(asked: str, answered: str) -> None:
    """RFC 9110 section 2.5: no server may answer in a version of HTTP that it doesn't conform to."""
    sending = request("/dives.json").replace(b" HTTP/1.1", f" HTTP/{asked}".encode())
    async with running(limits=FAST) as site:
        assert (await exchange(site, sending)).startswith(f"HTTP/{answered} ".encode())


@on_both_loops
async def test_fault_of_ours_is_a_constant_answer(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """500 and fixed words, no trace; the log has the trace and nothing of the peer; the site goes on."""

    def broken(_self: Pages, _path: str) -> None:
        raise ZeroDivisionError("the words of the fault")

    async with running(limits=FAST) as site:
        with monkeypatch.context() as patch, caplog.at_level(logging.DEBUG):
            patch.setattr(Pages, "find", broken)
            answer = await get(site, "/secret-looking-path", "Accept: text/html")
        assert (answer.status, answer.body) == (500, b"The answer could not be made.\n")
        assert "the words of the fault" in caplog.text
        assert "secret-looking-path" not in caplog.text
        assert "127.0.0.1" not in caplog.text
        assert (await get(site, "/dives.json")).status == 200


@on_both_loops
async def test_requests_leave_no_line_in_the_log(caplog: pytest.LogCaptureFixture) -> None:
    """Neither good requests nor bad ones nor viewers: who follows is nobody's business."""
    with caplog.at_level(logging.DEBUG, logger="offing"), caplog.at_level(logging.DEBUG, logger="aiohttp"):
        async with running(limits=FAST) as site:
            for sending in (request("/dives.json"), request("/nothing"), *UNREADABLE):
                await exchange(site, sending)
    assert [record for record in caplog.records if record.name != "asyncio"] == []


@on_both_loops
async def test_requests_in_a_row_on_one_connection_are_answered_in_order(built: Path) -> None:
    """HTTP pipelining (RFC 9112 section 9.3.2): three at once, and a head that is cut anywhere."""
    row = request("/nothing", close=False) + request("/", "HEAD", close=False) + request("/assets/plain.css")
    async with running(folder=built, limits=FAST) as site:
        for cut in (len(row), 1, 40, len(row) - 1):
            raw = await RawPeer.dial(site, row[:cut])
            await raw.send(row[cut:])
            found = answers(await raw.rest(), "GET", "HEAD", "GET")
            assert [answer.status for answer in found] == [404, 200, 200]
            assert found[-1].body == (built / "assets" / "plain.css").read_bytes()


@on_both_loops
async def test_idle_connection_is_ended() -> None:
    """A kept-alive connection that asks nothing more, or only begins to, is closed after `keepalive_s`."""
    async with running(limits=replace(FAST, keepalive_s=0.1)) as site:
        for beginning in (b"", b"GET /dives.json HT"):
            raw = await RawPeer.dial(site, request("/dives.json", close=False))
            await raw.receive_until(lambda got: got.endswith(b"}"))
            await raw.send(beginning)
            await raw.rest()
        await until(lambda: site.figures().connections == 0)


@on_both_loops
async def test_answer_that_is_never_taken_is_ended(built: Path) -> None:
    """A client that asks for much and reads nothing is cut off: `http_s` and as long again. Turns are given by hand."""
    (built / "big.bin").write_bytes(bytes(16 * 1024 * 1024))
    async with running(folder=built, limits=Limits(http_s=3.0, turn_s=1.0), turns=False) as site:
        raw = await RawPeer.dial(site, request("/big.bin"), receive_octets=4_096)
        await raw.receive_until(lambda got: b"\r\n\r\n" in got)
        for _ in range(5):
            site.turn()
            probe = await get(site, "/nothing")  # a cut connection is uncounted only when the loop has run
            assert probe.status == 404
            await until(lambda: site.figures().connections <= 1)
        assert site.figures().connections == 1
        site.turn()
        await until(lambda: site.figures().connections == 0)
        raw.line.close()


@on_both_loops
async def test_closing_site_finishes_the_answer_at_hand(built: Path) -> None:
    """A download that has begun arrives whole though the site closes meanwhile."""
    (built / "big.bin").write_bytes(bytes(range(256)) * 8 * 1024)
    async with running(folder=built, limits=FAST) as site:
        raw = await RawPeer.dial(site, request("/big.bin"))
        await raw.receive_until(lambda got: b"\r\n\r\n" in got)
        _, rest = await asyncio.gather(site.close(), raw.rest())
        (answer,) = answers(rest)
        assert answer.body == (built / "big.bin").read_bytes()
