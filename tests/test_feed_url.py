"""Feed URLs: every form read, every malformed one refused with what is wrong and what would be right."""

from typing import Any
from urllib.parse import quote, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st
from websockets.uri import parse_uri

from relay.core.errors import OperatorError
from relay.shell.plan.feed_url import BAUDS, EXAMPLES, FeedUrl, Transport, parse_feed_url, refuse_clashes

GOOD: list[tuple[str, dict[str, Any]]] = [
    ("udp://0.0.0.0:10110", {"transport": Transport.UDP, "host": "0.0.0.0", "port": 10110}),
    ("udp://127.255.255.255:1", {"transport": Transport.UDP, "host": "127.255.255.255", "port": 1}),
    ("udp://[::1]:65535", {"transport": Transport.UDP, "host": "::1", "port": 65535}),
    ("udp://239.192.0.1:60001", {"transport": Transport.UDP, "host": "239.192.0.1", "port": 60001}),
    (
        "udp://239.192.0.1:60001?interface=192.0.2.10",
        {"transport": Transport.UDP, "host": "239.192.0.1", "port": 60001, "interface": "192.0.2.10"},
    ),
    ("tcp://station-a.local:4001", {"transport": Transport.TCP, "host": "station-a.local", "port": 4001}),
    ("tcp://xn--lter-5qa.example:4001", {"transport": Transport.TCP, "host": "xn--lter-5qa.example", "port": 4001}),
    (f"tcp://{'a' * 63}.example:1", {"transport": Transport.TCP, "host": f"{'a' * 63}.example", "port": 1}),
    ("tcp-listen://0.0.0.0:4001", {"transport": Transport.TCP_LISTEN, "host": "0.0.0.0", "port": 4001}),
    (
        "serial:///dev/ttyUSB0?baud=4800",
        {"transport": Transport.SERIAL, "path": "/dev/ttyUSB0", "baud": 4800},
    ),
    ("ws://Station-A/state?all=1", {"transport": Transport.WS, "host": "station-a", "port": 80}),
    ("ws://[::1]:8090", {"transport": Transport.WS, "host": "::1", "port": 8090}),
    ("ws-listen://127.0.0.1:8090", {"transport": Transport.WS_LISTEN, "host": "127.0.0.1", "port": 8090}),
    ("file:///data/dive%201.jsonl", {"transport": Transport.FILE, "path": "/data/dive 1.jsonl"}),
]

BAD = [
    ("", "is empty"),
    ("udp://0.0.0.0:1 0110", "has spaces"),
    ("udp://0.0.0.0:10110\n", "has spaces"),
    ("tcp://zwölf:1", "characters outside ASCII"),
    ("0.0.0.0:10110", "doesn't begin with how to reach the station"),
    ("/dev/ttyUSB0", "is a bare path: put serial:// or file:// before it"),
    ("udq://0.0.0.0:10110", 'unknown beginning, udq://; did you mean "udp"?'),
    ("UDP://0.0.0.0:10110", 'did you mean "udp"?'),
    ("tcplisten://0.0.0.0:4001", 'did you mean "tcp-listen"?'),
    ("wss://a:1", 'did you mean "ws"?'),
    ("carrier-pigeon://a:1", "known are udp, tcp, tcp-listen, serial, ws, ws-listen, file"),
    ("udp://:10110", "has no host"),
    ("ws://", "has no host"),
    ("udp://0.0.0.0", "has no port"),
    ("udp://0.0.0.0:", "has no port"),
    ("tcp://a:0", "not a number from 1 to 65535"),
    ("tcp://a:65536", "not a number from 1 to 65535"),
    ("tcp://a:-1", "not a number from 1 to 65535"),
    ("tcp://a:http", "not a number from 1 to 65535"),
    ("tcp://::1:4001", "an IPv6 address stands in brackets"),
    ("tcp://[::1:4001", "an IPv6 address stands in brackets"),
    ("tcp://[zz]:4001", "is not an address"),
    ("tcp://300.1.1.1:4001", "is not an address"),
    ("tcp://10.0.1:4001", "is not an address"),
    ("tcp://a_b!:4001", "is not a name or an address"),
    ("tcp://gps..local:4001", "a part of its host is empty"),
    ("ws://gps..local:4001", "a part of its host is empty"),
    ("udp://[fe80::1%eth..0]:4001", "a part of its host is empty"),
    (f"tcp://{'a' * 64}.example:4001", "longer than 63 characters"),
    ("tcp://a:b@c:4001", "user name or password"),
    ("tcp://a:4001#top", "has a # part"),
    ("tcp://a:4001/state", "has a path, /state, which tcp doesn't know"),
    ("ws-listen://0.0.0.0:8090/state", "has a path, /state"),
    ("tcp://a:4001?baud=4800", "unknown option, baud; known here: none"),
    ("udp://0.0.0.0:1?bogus", "unknown option, bogus; known here: interface"),
    ("udp://239.192.0.1:1?interface=192.0.2.1&interface=192.0.2.1", "says interface twice"),
    ("udp://192.0.2.255:1?interface=192.0.2.1", "192.0.2.255 is not a multicast group"),
    ("udp://240.0.0.1:1?interface=192.0.2.1", "240.0.0.1 is not a multicast group"),
    ("udp://239.192.0.1:1?interface=eth0", "interface, eth0, that is not an IPv4 address"),
    ("udp://239.192.0.1:1?interface=", "interface, , that is not an IPv4 address"),
    ("tcp://239.192.0.1:4001", "which only udp can join"),
    ("ws-listen://224.0.0.1:4001", "which only udp can join"),
    ("udp://[ff02::1]:4001", "only over IPv4"),
    ("serial://dev/ttyUSB0?baud=4800", "needs three slashes"),
    ("serial:///dev/ttyUSB0", "doesn't say the speed of the line: add ?baud="),
    ("serial:///dev/ttyUSB0?baud=", "that serial ports don't have"),
    ("serial:///dev/ttyUSB0?baud=4801", "that serial ports don't have"),
    ("serial:///dev/ttyUSB0?baud=fast", "that serial ports don't have"),
    ("serial:///dev/ttyUSB0?baud=4800&parity=even", "unknown option, parity; known here: baud"),
    ("serial:///?baud=4800", "names no file"),
    ("file://", "names no file"),
    ("file://data/a.jsonl", "needs three slashes"),
    ("file:///data/", "names no file"),
    ("file:///a%zz.jsonl", "% that is not followed by the code of a character"),
    ("file:///a%00.jsonl", "% that is not followed by the code of a character"),
    ("file:///a.jsonl?baud=4800", "unknown option, baud; known here: none"),
]


@pytest.mark.parametrize(("text", "parts"), GOOD)
def test_url_good_form_gives_its_parts(text: str, parts: dict[str, Any]) -> None:
    """Every form of the contract is read into its parts, and prints as it was written."""
    assert parse_feed_url(text) == FeedUrl(text=text, **parts)
    assert str(parse_feed_url(text)) == text


@pytest.mark.parametrize(("text", "parts"), GOOD)
def test_url_agrees_with_the_standard_library(text: str, parts: dict[str, Any]) -> None:
    """Host and port are those that Python's urllib.parse.urlsplit (RFC 3986) finds."""
    url, split = parse_feed_url(text), urlsplit(text)
    assert (split.hostname or "") == url.host
    assert (split.port or (80 if url.transport is Transport.WS else 0)) == url.port


@pytest.mark.parametrize("text", [text for text, parts in GOOD if parts["transport"] is Transport.WS])
def test_url_websocket_agrees_with_the_websockets_library(text: str) -> None:
    """Host and port of a ws URL are those the websockets library (RFC 6455 section 3) dials."""
    url, theirs = parse_feed_url(text), parse_uri(text)
    assert (theirs.host.strip("[]"), theirs.port) == (url.host, url.port)


@pytest.mark.parametrize(("text", "what"), BAD)
def test_url_malformed_is_refused_with_words(text: str, what: str) -> None:
    """A malformed URL is refused with the URL itself, what is wrong, and a form that is right."""
    with pytest.raises(OperatorError) as caught:
        parse_feed_url(text)
    message = str(caught.value)
    assert what in message
    assert f'"{text}"' in message
    assert any(f"Write it like {example}" in message for example in EXAMPLES.values())


def test_url_examples_are_themselves_right() -> None:
    """What a refusal shows as right is accepted, and there is an example of every transport."""
    shown = [parse_feed_url(text) for example in EXAMPLES.values() for text in example.split(" or ")]
    assert {url.transport for url in shown} == set(Transport)


@pytest.mark.parametrize("port", [1, 65_535])
def test_url_port_is_taken_at_both_limits(port: int) -> None:
    """The least and the greatest port are accepted (one past each is among the malformed)."""
    assert parse_feed_url(f"tcp://a:{port}").port == port


@pytest.mark.parametrize("baud", [4800, 38_400])
def test_url_baud_knows_the_speeds_of_nmea_0183(baud: int) -> None:
    """4800 and 38400 bits a second, the two speeds of NMEA 0183 (from memory), are accepted."""
    assert baud in BAUDS
    assert parse_feed_url(f"serial:///dev/ttyS0?baud={baud}").baud == baud


@given(st.text(max_size=60))
def test_url_any_text_is_read_or_refused(text: str) -> None:
    """Any text at all is either read or refused with an OperatorError, never anything else."""
    for form in (text, f"udp://{text}", f"serial:///{text}", f"ws://{text}"):
        try:
            url = parse_feed_url(form)
        except OperatorError:
            continue
        assert url.text == form


@given(st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), min_size=1, max_size=40))
def test_url_path_survives_percent_encoding(name: str) -> None:
    """Any file name, percent-encoded (urllib.parse.quote), comes back as it was."""
    path = "/data/" + name.replace("/", "_")
    assert parse_feed_url(f"file://{quote(path)}").path == path


CLASHES = [
    ("udp://127.0.0.1:5000", "udp://127.0.0.1:5000"),
    ("udp://0.0.0.0:5000", "udp://127.0.0.1:5000"),
    ("udp://239.192.0.1:5000", "udp://0.0.0.0:5000"),
    ("udp://239.192.0.1:5000", "udp://239.192.0.1:5000?interface=192.0.2.1"),
    ("tcp-listen://127.0.0.1:5000", "ws-listen://127.0.0.1:5000"),
    ("ws-listen://127.0.0.1:5000", "ws-listen://0.0.0.0:5000"),
    ("serial:///dev/ttyS0?baud=4800", "serial:///dev/ttyS0?baud=9600"),
]
FRIENDS = [
    ("udp://127.0.0.1:5000", "udp://127.0.0.1:5001"),
    ("udp://127.0.0.1:5000", "udp://127.0.0.2:5000"),
    ("udp://127.0.0.1:5000", "tcp-listen://127.0.0.1:5000"),
    ("udp://239.192.0.1:5000", "udp://239.192.0.2:5000"),
    ("udp://239.192.0.1:5000?interface=192.0.2.1", "udp://239.192.0.1:5000?interface=198.51.100.1"),
    ("tcp://a:5000", "tcp://a:5000"),
    ("tcp://127.0.0.1:5000", "tcp-listen://127.0.0.1:5000"),
    ("serial:///dev/ttyS0?baud=4800", "serial:///dev/ttyS1?baud=4800"),
    ("file:///a.jsonl", "file:///a.jsonl"),
]


@pytest.mark.parametrize(("first", "second"), CLASHES)
def test_clash_names_both_feeds_and_what_to_do(first: str, second: str) -> None:
    """Two feeds that would take each other's bytes are refused, in either order, by name and with a remedy."""
    for one, two in ((first, second), (second, first)):
        feeds = [("station-a", parse_feed_url(one)), ("station-b", parse_feed_url(two))]
        with pytest.raises(OperatorError, match=r"feed station-b: .* and feed station-a: .* would share one") as caught:
            refuse_clashes(feeds)
        assert "5000" in str(caught.value) or "/dev/ttyS0" in str(caught.value)
        assert "of its own" in str(caught.value)


@pytest.mark.parametrize(("first", "second"), FRIENDS)
def test_clash_lets_feeds_apart_be(first: str, second: str) -> None:
    """Feeds that don't take each other's bytes are let be."""
    refuse_clashes([("station-a", parse_feed_url(first)), ("station-b", parse_feed_url(second))])
