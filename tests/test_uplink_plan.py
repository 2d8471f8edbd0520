"""Where the shore is and how it is known: what is taken, and what is said of the rest."""

import pytest

from relay.shell.uplink_plan import UplinkPlan, shore_address, shore_pin


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("wss://shore.example:8444", ("shore.example", 8444)),
        ("wss://shore.example:8444/", ("shore.example", 8444)),
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


def test_pin_is_read_and_anything_else_refused() -> None:
    """64 hexadecimal digits behind sha256: are a pin; one more or fewer aren't."""
    assert shore_pin("sha256:" + "0A" * 32) == bytes([10] * 32)
    for text in ("0a" * 32, "sha256:" + "0a" * 31, "sha256:" + "0a" * 33, "sha1:" + "0a" * 32, "sha256:" + "0g" * 32):
        with pytest.raises(ValueError, match="offing shore --check"):
            shore_pin(text)
