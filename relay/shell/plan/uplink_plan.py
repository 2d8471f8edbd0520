"""What an expedition file says of the link: where the shore is, how it is known, who is told of there, how much may go.

Rules: ValueError says what is wrong and what to write instead.
"""

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from relay.shell.plan.host_names import UNASKED, can_be_asked_for

_PIN = re.compile(r"sha256:([0-9a-fA-F]{64})", re.ASCII)
_HOST = re.compile(r"[A-Za-z0-9.:-]{1,253}", re.ASCII)


@dataclass(frozen=True, slots=True)
class UplinkPlan:
    """The link to the shore. `pin`: SHA-256 of the shore's certificate (DER), None for the system's authorities.

    `invited`: which of the audiences are shown by invitation alone.
    """

    host: str
    port: int
    pin: bytes | None = None
    audiences: tuple[str, ...] = ("public",)
    limit_bits_per_s: float | None = None
    invited: frozenset[str] = frozenset()

    @property
    def to(self) -> str:
        """The shore's address as it is written."""
        return f"wss://{f'[{self.host}]' if ':' in self.host else self.host}:{self.port}"


def shore_address(text: str) -> tuple[str, int]:
    """Return host and port of "wss://HOST:PORT"."""
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    plain = host is not None and _HOST.fullmatch(host) and text.rstrip("/").lower() == f"wss://{_netloc(host, port)}"
    if host is None or not plain or not port:
        raise ValueError(f'{text!r} is not where a shore listens; write it as "wss://shore.example:8444"')
    if not can_be_asked_for(host):
        raise ValueError(f'{text!r} is not where a shore listens: {UNASKED}; write it as "wss://shore.example:8444"')
    return host, port


def _netloc(host: str, port: int | None) -> str:
    return f"{f'[{host}]' if ':' in host else host}:{port}"


def shore_pin(text: str) -> bytes:
    """Return the 32 bytes of "sha256:HEX"."""
    found = _PIN.fullmatch(text)
    if found is None:
        raise ValueError(
            f'{text!r} is not the pin of a certificate; write it as `offing shore --check` prints it: "sha256:" and 64 '
            "hexadecimal digits"
        )
    return bytes.fromhex(found[1])
