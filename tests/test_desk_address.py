"""Where the desk may listen: this machine or the ship's own network, by the registries of special addresses."""

import re
from pathlib import Path

import pytest

from expeditions import RIGHT
from relay.core.errors import ExpeditionError
from relay.shell.plan.desk_address import hosts_of, near_address, web_name
from relay.shell.plan.expedition import parse_expedition

# The first and the last address of each block: RFC 1122 section 3.2.1.3, RFC 1918 section 3, RFC 3927 section 2.1,
# RFC 4193 section 3.1, RFC 4291 sections 2.5.3 and 2.5.6.
NEAR = """127.0.0.1 127.255.255.255 10.0.0.0 10.255.255.255 172.16.0.0 172.31.255.255 192.168.0.0 192.168.255.255
169.254.0.0 169.254.255.255 ::1 fc00:: fdff:ffff:ffff:ffff:ffff:ffff:ffff:ffff fe80:: febf:ffff::1""".split()
# One before or behind each, "any", documentation (RFC 5737, RFC 3849), shared (RFC 6598), multicast, mapped.
FAR = """126.255.255.255 128.0.0.0 9.255.255.255 11.0.0.0 172.15.255.255 172.32.0.0 192.167.255.255 192.169.0.0
169.253.255.255 169.255.0.0 0.0.0.0 :: ::2 fbff:: fe00:: fec0:: 192.0.2.1 2001:db8::1 100.64.0.1 224.0.0.1 ff02::1
255.255.255.255 ::ffff:10.0.0.1 ::ffff:192.0.2.1""".split()


@pytest.mark.parametrize("host", NEAR)
def test_near_address_may_be_listened_on(host: str) -> None:
    """Loopback, private and link-local addresses, up to the edges of their blocks."""
    assert near_address(host, 8090)[1] == 8090


@pytest.mark.parametrize("host", FAR)
def test_any_other_address_stops_the_start(host: str) -> None:
    """An address that the world may reach, or all of them at once, is refused with its line and the way out."""
    listen = f"[{host}]:8090" if ":" in host else f"{host}:8090"
    text = RIGHT + f'\n[desk]\nlisten = "{listen}"\n'
    with pytest.raises(ExpeditionError, match=r"can be reached from other networks than the ship's.*127\.0\.0\.1:8090"):
        parse_expedition(text, Path("EXPEDITION.toml"))


@pytest.mark.parametrize(
    "listen", ["relay.example:8090", "8090", "127.0.0.1", "127.0.0.1:99999", "127.0.0.1:x", ":8090"]
)
def test_name_or_nonsense_stops_the_start(listen: str) -> None:
    """What a name stands for can change overnight, so the address itself is wanted."""
    with pytest.raises(ExpeditionError, match=r"EXPEDITION\.toml line \d+: desk\.listen|\[desk\]"):
        parse_expedition(RIGHT + f'\n[desk]\nlisten = "{listen}"\n', Path("EXPEDITION.toml"))


@pytest.mark.parametrize(
    ("public", "desk"), [("127.0.0.1", "127.0.0.1"), ("0.0.0.0", "192.168.7.2"), ("[::]", "[::1]")]
)
def test_port_of_the_page_is_not_the_desks(public: str, desk: str) -> None:
    """One port for both is refused where they would meet."""
    text = RIGHT.replace("127.0.0.1:0", f"{public}:8080") + f'\n[desk]\nlisten = "{desk}:8080"\n'
    with pytest.raises(ExpeditionError, match=re.escape("port 8080 is that of the page: give the desk another")):
        parse_expedition(text, Path("EXPEDITION.toml"))


def test_desk_is_there_only_if_the_file_says_so() -> None:
    """Without [desk] there is none; with it alone it is on this machine."""
    assert parse_expedition(RIGHT, Path("EXPEDITION.toml")).desk is None
    assert parse_expedition(RIGHT + "\n[desk]\n", Path("EXPEDITION.toml")).desk == ("127.0.0.1", 8090)


def test_desk_is_spoken_to_by_its_own_names_alone() -> None:
    """A loopback desk has the names that browsers give it; one on the network has its address, port 80 also without."""
    assert hosts_of("127.0.0.1", 8090) == {"127.0.0.1:8090", "localhost:8090", "[::1]:8090"}
    assert hosts_of("192.168.7.2", 8090) == {"192.168.7.2:8090"}
    assert hosts_of("192.168.7.2", 80) == {"192.168.7.2:80", "192.168.7.2"}
    assert hosts_of("fd00::7", 8090) == {"[fd00::7]:8090"}
    assert hosts_of("fe80::7%eth0", 8090) == {"[fe80::7]:8090"}
    assert (web_name("fd00::7", 8090), web_name("10.0.0.7", 8090)) == (
        "http://[fd00::7]:8090/",
        "http://10.0.0.7:8090/",
    )
