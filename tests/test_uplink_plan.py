"""Where the shore is and how it is known: what is taken, and what is said of the rest."""

from pathlib import Path

import pytest

from expeditions import changed, linked
from relay.core.errors import ExpeditionError
from relay.shell.plan.expedition import Expedition, parse_expedition
from relay.shell.plan.plain_ground import describe_uplink
from relay.shell.plan.quantities import rate_bits_per_s, say_rate
from relay.shell.plan.uplink_plan import UplinkPlan, shore_address, shore_pin


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("wss://shore.example:8444", ("shore.example", 8444)),
        ("wss://shore.example:8444/", ("shore.example", 8444)),
        ("wss://xn--lter-5qa.example:8444", ("xn--lter-5qa.example", 8444)),
        (f"wss://{'a' * 63}.example:8444", (f"{'a' * 63}.example", 8444)),
        ("wss://192.0.2.7:1", ("192.0.2.7", 1)),
        ("wss://[2001:db8::7]:65535", ("2001:db8::7", 65535)),
    ],
)
def test_address_of_a_shore_is_read(text: str, at: tuple[str, int]) -> None:
    """Names and addresses (RFC 3986; those of RFC 5737 and RFC 3849) come back, and are written as they were."""
    assert shore_address(text) == at
    assert UplinkPlan(*at).to == text.rstrip("/")


@pytest.mark.parametrize(
    "text",
    [
        "ws://shore.example:8444",
        "https://shore.example:8444",
        "wss://shore.example",
        "wss://shore.example:0",
        "wss://shore.example:65536",
        "wss://shore.example:8444/page",
        "wss://user@shore.example:8444",
        "wss://shore.example:8444?a=b",
        "wss://:8444",
        "wss://[::1:8444",
        "shore.example:8444",
        "",
    ],
)
def test_what_is_no_address_is_refused_with_an_example(text: str) -> None:
    """A remedy stands in what is said: TLS is no choice, and the port is always written."""
    with pytest.raises(ValueError, match=r'write it as "wss://shore\.example:8444"'):
        shore_address(text)


@pytest.mark.parametrize("host", ["shore..example", ".example", f"{'a' * 64}.example"])
def test_host_that_cannot_be_resolved_is_refused_with_why(host: str) -> None:
    """No resolver can be asked for it (RFC 1035 section 2.3.4: labels of 1 to 63): it is told, with an example."""
    words = r'a part of its host is empty, longer than 63 characters .*; write it as "wss://shore\.example:8444"'
    with pytest.raises(ValueError, match=words):
        shore_address(f"wss://{host}:8444")


def test_pin_is_read_and_anything_else_refused() -> None:
    """64 hexadecimal digits behind sha256: are a pin; one more or fewer aren't."""
    assert shore_pin("sha256:" + "0A" * 32) == bytes([10] * 32)
    for text in ("0a" * 32, "sha256:" + "0a" * 31, "sha256:" + "0a" * 33, "sha1:" + "0a" * 32, "sha256:" + "0g" * 32):
        with pytest.raises(ValueError, match="offing shore --check"):
            shore_pin(text)


def expedition(more: str = "", family: str = "") -> Expedition:
    """Return an expedition with a link, and more said of its second audience."""
    text = changed(*linked(more)).replace('name = "family"', f'name = "family"\n{family}')
    return parse_expedition(text, Path("/somewhere/EXPEDITION.toml"))


def test_link_of_a_file_is_read() -> None:
    """Address, pin, audiences in the order of the file, and limit arrive; without a link there is none."""
    pin = "sha256:" + "ab" * 32
    told = expedition(f'pin = "{pin}"\nlimit = "64 kbit/s"\naudiences = ["family", "public"]', "open = true").uplink
    assert told == UplinkPlan("shore.example", 8_444, bytes([0xAB] * 32), ("family", "public"), 64_000.0)


def test_whoever_can_be_reached_ashore_is_told_of_by_default() -> None:
    """Open and invited audiences in their order; one that is neither stays on the ship."""
    assert expedition().uplink == UplinkPlan("shore.example", 8_444)
    both = expedition(family="invited = true").uplink
    assert both is not None and both.audiences == ("public", "family")


TRUSTED = '\n[[audience]]\nname = "archive"\npreset = "heritage"\n'


def test_exact_places_never_go_by_the_link() -> None:
    """An audience with exact places isn't told of ashore by default, and naming it stops the start."""
    text = changed(*linked()) + TRUSTED
    told = parse_expedition(text, Path("EXPEDITION.toml")).uplink
    assert told is not None and told.audiences == ("public",)
    text = changed(*linked('audiences = ["archive"]')) + TRUSTED
    with pytest.raises(ExpeditionError, match=r"is told exact places .* never leave the ship by the link"):
        parse_expedition(text, Path("EXPEDITION.toml"))


def test_link_that_would_carry_nothing_stops_the_start() -> None:
    """Where nobody is open or invited there is nothing for a shore, and that is said."""
    text = changed(*linked()).replace("open = true\n", "")
    with pytest.raises(ExpeditionError, match="no audience is open or invited, so there is nothing for the shore"):
        parse_expedition(text, Path("EXPEDITION.toml"))


def test_link_is_told_in_plain_words() -> None:
    """Where to, who is told of there, how the shore is known, how much the link may carry, what comes back."""
    words = describe_uplink(UplinkPlan("shore.example", 8_444, bytes(32), ("public", "family"), 64_000.0))
    for part in (
        "wss://shore.example:8444",
        "by the pin",
        "public and family",
        "64 kbit/s at most",
        "acknowledgements",
    ):
        assert part in words
    other = describe_uplink(UplinkPlan("shore.example", 8_444))
    assert "authorities" in other and "without a limit" in other


@pytest.mark.parametrize(
    ("text", "bits_per_s"), [("600 bit/s", 600), ("64 kbit/s", 64_000), ("1.5 Mbit/s", 1_500_000), ("2kbit/s", 2_000)]
)
def test_rate_is_read_and_written(text: str, bits_per_s: float) -> None:
    """Decimal prefixes, as data rates have them (IEC 80000-13)."""
    assert rate_bits_per_s(text) == bits_per_s
    assert say_rate(bits_per_s) == text.replace("2kbit", "2 kbit")
