"""Hosts as the files name them: the very ones are taken that the system can be asked for, and the rest told at once."""

import socket
from pathlib import Path

import pytest

from expeditions import changed
from relay.core.errors import ExpeditionError
from relay.shell.plan.expedition import parse_expedition
from relay.shell.plan.host_names import can_be_asked_for

ADDRESSES = ["192.0.2.7", "::1", "2001:db8::192.0.2.7", "fe80::1%eth0"]
NAMES = [
    "localhost",
    "shore.example",
    "shore.example.",
    "xn--lter-5qa.example",
    "älter.example",
    "a_b",
    "a" * 63 + ".b",
]
NONE = ["gps..local", ".example", "example..", "a" * 64, "a" * 64 + ".b", "fe80::1%eth..0", "ä" * 63 + ".example"]


@pytest.mark.parametrize("host", ADDRESSES + NAMES)
def test_address_or_name_is_taken(host: str) -> None:
    """Addresses of both kinds, names, those beyond ASCII as they are written and as they are asked for (RFC 5890)."""
    assert can_be_asked_for(host)


@pytest.mark.parametrize("host", NONE)
def test_what_the_system_cannot_be_asked_for_is_not_taken(host: str) -> None:
    """A label that is empty or, as it is asked for, beyond 63 octets (RFC 1035): Python asks no resolver for these."""
    assert not can_be_asked_for(host)
    with pytest.raises(UnicodeError):
        socket.getaddrinfo(host, 0)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('listen = "127.0.0.1:0"', 'listen = "page..local:8080"'),
        ('"udp://127.0.0.1:10110"', '"tcp://gps..local:4001"'),
        ('"udp://127.0.0.1:10110"', '"ws://gps..local:4001"'),
    ],
)
def test_file_with_such_a_host_is_refused_with_its_line(old: str, new: str) -> None:
    """Before anything is dialled: the line, what is wrong with it, and what to write."""
    text = changed(old, new)
    line = next(number for number, each in enumerate(text.splitlines(), 1) if new in each)
    with pytest.raises(
        ExpeditionError, match=rf"line {line}: .*\.\.local.*: a part of its host is empty.* [Ww]rite it"
    ):
        parse_expedition(text, Path("EXPEDITION.toml"))
