"""What every answer of the public port carries, and what none of them says."""

from pathlib import Path

import pytest

from peers import FAST, UNREADABLE, build_site, exchange, get, on_both_loops, request, running, upgrade
from released import dive

CSP = {
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self' blob:",
    "connect-src 'self'",
    "base-uri 'none'",
    "form-action 'none'",
    "frame-ancestors 'none'",
}
RECORDING = "/recordings/public/dive-001.recording"


@pytest.fixture
def built(tmp_path: Path) -> Path:
    """A small built site."""
    return build_site(tmp_path)


@on_both_loops
async def test_every_answer_carries_the_same_headers_and_no_clock(built: Path) -> None:
    """A policy for the browser on every kind of answer; nothing that tells a time, a program or a file."""
    sendings = [
        *(request(target, close=True) for target in ("/", "/assets/plain.css", "/dives.json", RECORDING, "/nothing")),
        request("/", "GET", "If-None-Match: *"),
        request("/live"),
        request("/", "POST", "Content-Length: 0"),
        b"A" * 8_192,
        upgrade("audience=nobody") + b"\x88\x80\x00\x00\x00\x00",
        *UNREADABLE,
    ]
    seen = set()
    async with running(folder=built, limits=FAST) as site:
        site.publish(dive(1, 1)[0])
        for sending in sendings:
            head = (await exchange(site, sending)).partition(b"\r\n\r\n")[0].decode()
            status, *lines = head.split("\r\n")
            fields = {name.lower(): value for name, _, value in (line.partition(": ") for line in lines)}
            seen.add(status.split(" ")[1])
            assert set(fields["content-security-policy"].split("; ")) == CSP
            assert (fields["x-content-type-options"], fields["referrer-policy"]) == ("nosniff", "no-referrer")
            assert not {"date", "server", "last-modified", "expires", "age", "set-cookie"} & set(fields)
            assert len(lines) == len(fields)
    assert seen == {"101", "200", "304", "400", "404", "405", "426", "431"}


@on_both_loops
async def test_socket_origins_are_added_to_where_the_page_may_connect() -> None:
    """For browsers whose 'self' leaves out the websocket of the same origin."""
    async with running(limits=FAST, socket_origins=["wss://dive.example"]) as site:
        policy = (await get(site, "/dives.json")).headers["Content-Security-Policy"]
        assert "connect-src 'self' wss://dive.example;" in policy
