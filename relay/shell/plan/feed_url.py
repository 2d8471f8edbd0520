"""Where a feed comes from, written as a URL and read strictly.

Rules: every part that isn't understood is refused; every refusal says what is wrong and shows a form that is
right. The forms are those of `EXAMPLES`; ws follows RFC 6455 section 3, the rest are our own.
"""

import difflib
import re
import termios
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from ipaddress import IPv4Address, ip_address
from urllib.parse import parse_qsl, unquote

from relay.core.errors import OperatorError
from relay.shell.plan.host_names import UNASKED, can_be_asked_for


class Transport(StrEnum):
    """The ways in which bytes reach the relay."""

    UDP = "udp"
    TCP = "tcp"
    TCP_LISTEN = "tcp-listen"
    SERIAL = "serial"
    WS = "ws"
    WS_LISTEN = "ws-listen"
    FILE = "file"


EXAMPLES = {
    Transport.UDP: "udp://0.0.0.0:10110 or udp://239.192.0.1:60001?interface=192.0.2.10",
    Transport.TCP: "tcp://192.0.2.20:4001",
    Transport.TCP_LISTEN: "tcp-listen://0.0.0.0:4001",
    Transport.SERIAL: "serial:///dev/ttyUSB0?baud=4800",
    Transport.WS: "ws://192.0.2.20:8090/state",
    Transport.WS_LISTEN: "ws-listen://0.0.0.0:8090",
    Transport.FILE: "file:///data/station.jsonl",
}
_QUERY = {Transport.UDP: ("interface",), Transport.SERIAL: ("baud",)}
_PATHS = (Transport.SERIAL, Transport.FILE)
_WILDCARDS = ("0.0.0.0", "::")
_LISTENING = (Transport.UDP, Transport.TCP_LISTEN, Transport.WS_LISTEN, Transport.SERIAL)
BAUDS = tuple(sorted(int(name[1:]) for name in dir(termios) if re.fullmatch(r"B[1-9]\d*", name)))


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedUrl:
    """A checked feed URL.

    Network transports have `host` (no brackets) and `port`, multicast perhaps `interface` (an IPv4 address of
    this machine), serial `path` and `baud` (bits a second), file `path`.
    """

    text: str
    transport: Transport
    host: str = ""
    port: int = 0
    interface: str | None = None
    path: str = ""
    baud: int = 0

    @property
    def multicast(self) -> bool:
        """Whether the host is a multicast group."""
        return _is_multicast(self.host)

    @property
    def target(self) -> str:
        """What is dialled, listened on or opened, in words."""
        if self.transport in _PATHS:
            return self.path
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    def __str__(self) -> str:
        return self.text


def parse_feed_url(text: str) -> FeedUrl:
    """Return the checked form of a feed URL; OperatorError says what is wrong and what would be right."""
    if not re.fullmatch(r"[!-~]+", text):
        raise _fault(text, "is empty, or has spaces or characters outside ASCII (in a path, write them as %20)")
    transport = _transport(text)
    rest = text.partition("://")[2]
    if "#" in rest:
        raise _fault(text, "has a # part, which means nothing here", transport)
    place, _, query = rest.partition("?")
    authority, slash, path = place.partition("/")
    if transport in _PATHS:
        return _device_or_file(text, transport, authority, slash + path, query)
    host, port = _address(text, transport, authority)
    if transport is Transport.WS:
        return FeedUrl(text=text, transport=transport, host=host, port=port)
    if path:
        raise _fault(text, f"has a path, /{path}, which {transport} doesn't know", transport)
    interface = _query(text, transport, query).get("interface")
    if interface is not None:
        _check_interface(text, host, interface)
    return FeedUrl(text=text, transport=transport, host=host, port=port, interface=interface)


def refuse_clashes(feeds: Sequence[tuple[str, FeedUrl]]) -> None:
    """Raise OperatorError if two feeds (name, URL) would listen on one port or read one serial device."""
    for at, (name, url) in enumerate(feeds):
        for earlier, other in feeds[:at]:
            if _clash(url, other):
                what = "device" if url.transport is Transport.SERIAL else "port"
                raise OperatorError(
                    f"feed {name}: {url} and feed {earlier}: {other} would share one {what}, {_shared(url)}, and take "
                    f"each other's bytes. Give each feed a {what} of its own, or remove one of the two."
                )


def _shared(url: FeedUrl) -> str:
    return url.path if url.transport is Transport.SERIAL else str(url.port)


def _clash(url: FeedUrl, other: FeedUrl) -> bool:
    if url.transport not in _LISTENING or other.transport not in _LISTENING:
        return False
    if Transport.SERIAL in (url.transport, other.transport):
        return url.transport is other.transport and url.path == other.path
    if (url.transport is Transport.UDP) is not (other.transport is Transport.UDP) or url.port != other.port:
        return False
    if url.host == other.host:
        return url.interface is None or other.interface is None or url.interface == other.interface
    return url.host in _WILDCARDS or other.host in _WILDCARDS


def _fault(text: str, what: str, transport: Transport | None = None) -> OperatorError:
    example = EXAMPLES[transport] if transport else "; ".join(EXAMPLES.values())
    return OperatorError(f'feed URL "{text}" {what}{"" if what.endswith("?") else "."} Write it like {example}')


def _transport(text: str) -> Transport:
    scheme, mark, _ = text.partition("://")
    if not mark:
        if text.startswith("/"):
            raise _fault(text, "is a bare path: put serial:// or file:// before it", Transport.SERIAL)
        raise _fault(text, "doesn't begin with how to reach the station, such as udp://")
    if scheme in set(Transport):
        return Transport(scheme)
    close = difflib.get_close_matches(scheme.lower(), list(Transport), 1)
    if close:
        raise _fault(text, f'has an unknown beginning, {scheme}://; did you mean "{close[0]}"?', Transport(close[0]))
    raise _fault(text, f"has an unknown beginning, {scheme}://; known are {', '.join(Transport)}")


def _query(text: str, transport: Transport, query: str) -> dict[str, str]:
    known = _QUERY.get(transport, ())
    values: dict[str, str] = {}
    for key, value in parse_qsl(query, keep_blank_values=True):
        if key not in known:
            what = f"has an unknown option, {key}; known here: {', '.join(known) or 'none'}"
            raise _fault(text, what, transport)
        if key in values:
            raise _fault(text, f"says {key} twice", transport)
        values[key] = value
    return values


def _device_or_file(text: str, transport: Transport, authority: str, path: str, query: str) -> FeedUrl:
    if authority:
        what = f"needs three slashes before a full path (it reads {authority} as a machine's name)"
        raise _fault(text, what, transport)
    if re.search(r"%(?![0-9A-Fa-f]{2})|%00", path):
        raise _fault(text, "has a % that is not followed by the code of a character", transport)
    path = unquote(path)
    if path.endswith("/") or not path:
        raise _fault(text, "names no file", transport)
    values = _query(text, transport, query)
    if transport is Transport.FILE:
        return FeedUrl(text=text, transport=transport, path=path)
    if "baud" not in values:
        raise _fault(text, "doesn't say the speed of the line: add ?baud=", transport)
    baud = values["baud"]
    if not re.fullmatch(r"\d{1,8}", baud) or int(baud) not in BAUDS:
        what = f"has a speed, {baud}, that serial ports don't have; they have {', '.join(map(str, BAUDS))}"
        raise _fault(text, what, transport)
    return FeedUrl(text=text, transport=transport, path=path, baud=int(baud))


def _address(text: str, transport: Transport, authority: str) -> tuple[str, int]:
    if "@" in authority:
        raise _fault(text, "has a user name or password, which no feed takes", transport)
    match = re.fullmatch(r"(\[[^\[\]]*\]|[^:\[\]]*)(?::([^:]*))?", authority)
    if match is None:
        raise _fault(text, "has an address that can't be read; an IPv6 address stands in brackets, [::1]", transport)
    host, port = match[1], match[2]
    if not host:
        raise _fault(text, "has no host", transport)
    _check_host(text, transport, host)
    host = host.strip("[]").lower()
    if _is_multicast(host) and (transport is not Transport.UDP or ":" in host):
        what = f"has a multicast group, {host}, which only udp can join, and only over IPv4"
        raise _fault(text, what, Transport.UDP)
    return host, _port(text, transport, port)


def _check_host(text: str, transport: Transport, host: str) -> None:
    numeric = host.startswith("[") or re.fullmatch(r"[\d.]+", host)
    if numeric:
        try:
            ip_address(host.strip("[]"))
        except ValueError as error:
            raise _fault(text, f"has a host, {host}, that is not an address", transport) from error
    elif not re.fullmatch(r"[A-Za-z0-9_]([A-Za-z0-9_.-]{0,251}[A-Za-z0-9_])?", host):
        raise _fault(text, f"has a host, {host}, that is not a name or an address", transport)
    if not can_be_asked_for(host.strip("[]")):
        raise _fault(text, f"can't be reached: {UNASKED}", transport)


def _port(text: str, transport: Transport, port: str | None) -> int:
    if port is None and transport is Transport.WS:
        return 80
    if not port:
        raise _fault(text, "has no port", transport)
    if not re.fullmatch(r"\d{1,5}", port) or not 1 <= int(port) <= 65_535:
        raise _fault(text, f"has a port, {port}, that is not a number from 1 to 65535", transport)
    return int(port)


def _check_interface(text: str, host: str, interface: str) -> None:
    if not _is_multicast(host):
        what = f"has interface=, but {host} is not a multicast group (224.0.0.0 to 239.255.255.255)"
        raise _fault(text, what, Transport.UDP)
    try:
        IPv4Address(interface)
    except ValueError as error:
        what = f"has an interface, {interface}, that is not an IPv4 address of this machine"
        raise _fault(text, what, Transport.UDP) from error


def _is_multicast(host: str) -> bool:
    try:
        return ip_address(host).is_multicast
    except ValueError:
        return False
