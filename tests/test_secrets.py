"""What follows from a site's key, and that it doesn't show."""

from collections import Counter

import pytest

from relay.core.secrets import DATUM_REACH_M, Secrets


def test_unit_agrees_with_hmac_sha256_of_rfc_4231() -> None:
    """The draw is HMAC-SHA256: with the 32-byte key of 0x0b padded case, recomputed with hashlib alone (RFC 2104)."""
    from hashlib import sha256

    key, label = bytes([0x0B] * 32), b"Hi There"
    block = key.ljust(64, b"\0")
    inner = sha256(bytes(b ^ 0x36 for b in block) + label).digest()
    outer = sha256(bytes(b ^ 0x5C for b in block) + inner).digest()
    assert Secrets(key).unit("Hi There") == int.from_bytes(outer[:7], "big") / 2**56


def test_shift_lies_in_the_disc_and_fills_it() -> None:
    """Over many sites the shift is spread over the disc: a quarter of the shifts within half the radius."""
    reaches = [sum(axis**2 for axis in Secrets(n.to_bytes(32, "big")).shift_m) ** 0.5 for n in range(2_000)]
    assert max(reaches) < DATUM_REACH_M
    assert 0.22 < sum(reach < DATUM_REACH_M / 2 for reach in reaches) / 2_000 < 0.28


def test_extra_ticks_are_uniform_and_within_bounds() -> None:
    """Each extra delay from none to the most comes about equally often, and differs between dives."""
    secrets = Secrets(bytes(32))
    counts = Counter(secrets.extra_ticks("public", dive, 4) for dive in range(5_000))
    assert set(counts) == {0, 1, 2, 3, 4}
    assert all(900 < count < 1_100 for count in counts.values())


def test_key_has_32_bytes_and_is_not_in_the_repr() -> None:
    """A short key is refused, and printing secrets tells nothing."""
    with pytest.raises(ValueError, match="32 bytes"):
        Secrets(bytes(31))
    secrets = Secrets(bytes(range(32)))
    assert bytes(range(32)).hex() not in repr(secrets)
    assert repr(bytes(range(32))) not in repr(secrets)


def test_evidence_key_is_the_sites_own_and_a_rehearsal_keeps_it() -> None:
    """Drawn from the key by HMAC-SHA256 (RFC 2104) under a word of its own; run again it is the same."""
    import hmac

    secrets = Secrets(bytes(range(32)))
    assert secrets.evidence_key == hmac.digest(bytes(range(32)), b"evidence", "sha256")
    assert secrets.evidence_key == secrets.for_rehearsal().evidence_key
    assert secrets.evidence_key not in (secrets.signing_seed, secrets.for_rehearsal().signing_seed)
