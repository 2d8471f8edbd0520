"""The gate and its wheel: each limit at it and one past it; deadlines in turns."""

from dataclasses import replace

import pytest

from relay.shell.site.gate import Gate, Limits, address_of, network_of, within


def test_seats_are_limited_in_all_and_by_address() -> None:
    """At each limit the seat is given, one past it is not, and a freed one is given again."""
    gate = Gate(Limits(viewers=3, viewers_per_address=2))
    assert [gate.seat(address) for address in ("a", "a", "a", "b", "c")] == [True, True, False, True, False]
    gate.unseat("a")
    assert gate.seat("c")
    assert (gate.viewers, gate.tally.full) == (3, 2)


def test_connections_are_limited_in_all_and_by_address() -> None:
    """The same for connections of any kind."""
    gate = Gate(Limits(connections=3, connections_per_address=2))
    assert [gate.enter(address) for address in ("a", "a", "a", "b", "c")] == [True, True, False, True, False]
    gate.leave("b")
    assert gate.enter("c")
    assert (gate.connections, gate.tally.refused) == (3, 2)


def test_zero_means_no_limit_by_address() -> None:
    """Behind a proxy everybody has one address."""
    gate = Gate(Limits(viewers_per_address=0, connections_per_address=0))
    assert all(gate.seat("proxy") and gate.enter("proxy") for _ in range(1_000))


def test_first_pings_are_spread_evenly() -> None:
    """A thousand viewers that come at once are pinged in every turn of a ping period alike."""
    gate = Gate(Limits(ping_s=20, turn_s=1))
    turns = [gate.first_ping() for _ in range(1_000)]
    assert {turns.count(turn) for turn in range(1, 21)} == {50}
    assert set(turns) == set(range(1, 21))


@pytest.mark.parametrize(
    ("peer", "expected"),
    [
        (("192.0.2.7", 4_000), "192.0.2.7"),
        (("::ffff:192.0.2.7", 4_000, 0, 0), "192.0.2.7"),
        (("2001:db8:1:2:3:4:5:6", 4_000, 0, 0), "2001:db8:1:2::"),
        (("2001:db8:1:2::1", 4_000, 0, 0), "2001:db8:1:2::"),
        (("fe80::1%eth0", 4_000, 0, 3), "fe80::"),
        (None, ""),
        ("", ""),
    ],
)
def test_peer_is_counted_by_its_line(peer: object, expected: str) -> None:
    """IPv4 by address, IPv6 by /64 (addresses of documentation: RFC 5737, RFC 3849)."""
    assert address_of(peer) == expected


@pytest.mark.parametrize(
    ("host", "network"),
    [
        ("192.0.2.77", "192.0.2.0"),
        ("::ffff:192.0.2.77", "192.0.2.0"),
        ("2001:db8:7:ffff::1", "2001:db8:7::"),
        ("", ""),
    ],
)
def test_network_of_an_address(host: str, network: str) -> None:
    """The /24 of IPv4, also where it is written as IPv6; the /48 of IPv6 (addresses of RFC 5737 and RFC 3849)."""
    assert network_of((host, 9)) == network


@pytest.mark.parametrize(
    ("files", "expected"),
    [(-1, 16_000), (20_000, 16_000), (16_256, 16_000), (16_255, 15_999), (400, 200), (1, 1), (0, 1)],
)
def test_crowd_leaves_files_for_the_desk_and_the_journal(files: int, expected: int) -> None:
    """So many connections are let in as leave 256 of the files that the process may open, or half; -1 is no bound."""
    assert within(Limits(), files) == replace(Limits(), connections=expected)
