"""The secrets of a site, all drawn from one key: datum shift, turn, the extra delay of each dive.

Rules: the key comes from the system's secure source once per site (the shell draws and keeps it); everything
else is HMAC-SHA256 (RFC 2104) of a label under that key, so a dive run again gives the same bytes; nothing here
is ever logged, published or shown.
"""

import hmac
from dataclasses import dataclass, replace
from math import cos, pi, sin, sqrt

DATUM_REACH_M = 5_000.0


@dataclass(frozen=True, slots=True, repr=False)
class Secrets:
    """A site's 32-byte key and what follows from it."""

    key: bytes
    rehearsing: bool = False

    def __post_init__(self) -> None:
        if len(self.key) != 32:
            raise ValueError("a site's key has 32 bytes")

    def unit(self, label: str) -> float:
        """Return the number in [0, 1) that belongs to `label`."""
        digest = hmac.digest(self.key, label.encode(), "sha256")
        return int.from_bytes(digest[:7], "big") / 2**56

    @property
    def signing_seed(self) -> bytes:
        """The 32 bytes from which the site's signing key is made (`seal.Signer`); a rehearsal has another one."""
        return hmac.digest(self.key, b"rehearsal" if self.rehearsing else b"signing", "sha256")

    @property
    def evidence_key(self) -> bytes:
        """The 32 bytes from which everything of the evidence tree is drawn (`minute_tree.Evidence`)."""
        return hmac.digest(self.key, b"evidence", "sha256")

    def for_rehearsal(self) -> "Secrets":
        """Return the same secrets with a signing key apart: what was rehearsed never passes for what was released."""
        return replace(self, rehearsing=True)

    @property
    def turn_deg(self) -> float:
        """By how much the published frame is turned against north."""
        return 360.0 * self.unit("turn")

    @property
    def shift_m(self) -> tuple[float, float]:
        """East and north of the anchor in the published frame, uniform over a disc of `DATUM_REACH_M`."""
        reach = DATUM_REACH_M * sqrt(self.unit("datum reach"))
        bearing = 2 * pi * self.unit("datum bearing")
        return reach * sin(bearing), reach * cos(bearing)

    def extra_ticks(self, audience: str, dive: int, most: int) -> int:
        """Return the secret extra delay of a dive in ticks, uniform over 0 to `most`."""
        return int((most + 1) * self.unit(f"extra {audience} {dive}"))
