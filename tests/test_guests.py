"""Guests, tokens and the signed listing: who gets in, and that nobody else can write the list."""

import hashlib
from dataclasses import fields, replace

import msgpack
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from relay.core import guests
from relay.core.errors import InvitationError
from relay.core.guests import (
    GUESTS_LIMIT,
    LISTING_LIMIT,
    Guest,
    Listing,
    digest_of,
    find_guest,
    read_listing,
    write_listing,
)
from relay.core.seal import Signer

SIGNER = Signer(bytes(range(32)))
SECRET = "A" * 43
ADA = Guest("00000001", "family", digest_of(SECRET), 2_000)
BOB = Guest("0000000b", "funders", digest_of("B" * 43))
KNOWN = {ADA.id: ADA, BOB.id: BOB}


def test_digest_is_sha_256_of_the_characters() -> None:
    """As `hashlib` has it, an implementation of FIPS 180-4."""
    assert digest_of(SECRET) == hashlib.sha256(SECRET.encode("ascii")).digest()


def test_token_finds_its_guest_until_the_invitation_ends() -> None:
    """At the last second it counts, one past it doesn't; one without an end always does."""
    assert find_guest(KNOWN, f"{ADA.id}.{SECRET}", 1_999.9) == ADA
    assert find_guest(KNOWN, f"{ADA.id}.{SECRET}", 2_000.0) is None
    assert find_guest(KNOWN, f"{BOB.id}.{'B' * 43}", 1e12) == BOB


@pytest.mark.parametrize(
    "token",
    [
        "",
        ".",
        ADA.id,
        f"{ADA.id}.",
        f"{ADA.id}.{'B' * 43}",
        f"{BOB.id}.{SECRET}",
        f"{ADA.id}.{SECRET}A",
        f"{ADA.id}.{SECRET[1:]}",
        f"{ADA.id}.{SECRET}\n",
        f" {ADA.id}.{SECRET}",
        f"0000000A.{SECRET}",
        f"99999999.{SECRET}",
        f"{ADA.id}.{ADA.digest.hex()}",
        f"{ADA.id}.\udcff",
        f"{ADA.id}.{SECRET}" * 1_000,
    ],
)
def test_token_that_is_not_whole_finds_nobody(token: str) -> None:
    """Not by its id alone, not by another's secret, not by what is kept of the secret, not with anything about it."""
    assert find_guest(KNOWN, token, 0.0) is None


def test_every_changed_character_of_a_token_makes_it_nobodys() -> None:
    """There is no character that doesn't count."""
    token = f"{ADA.id}.{SECRET}"
    for at, character in enumerate(token):
        other = "1" if character != "1" else "2"
        assert find_guest(KNOWN, token[:at] + other + token[at + 1 :], 0.0) is None


def test_secret_is_compared_in_constant_time_and_unknown_ids_cost_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each token, whole, wrong or malformed, is digested once and compared once, by `hmac.compare_digest`."""
    compared: list[tuple[int, int]] = []
    digested: list[str] = []
    compare, digest = guests.hmac.compare_digest, guests.digest_of
    monkeypatch.setattr(guests.hmac, "compare_digest", lambda a, b: compared.append((len(a), len(b))) or compare(a, b))
    monkeypatch.setattr(guests, "digest_of", lambda secret: digested.append(secret) or digest(secret))
    for token in (f"{ADA.id}.{SECRET}", f"{ADA.id}.{'B' * 43}", f"99999999.{SECRET}", "nothing", ""):
        find_guest(KNOWN, token, 0.0)
    assert compared == [(32, 32)] * 5
    assert len(digested) == 5


def test_nobody_is_let_in_by_what_nobody_has() -> None:
    """The digest that stands for an unknown id is no guest's, even if a secret had it."""
    assert find_guest({}, f"99999999.{SECRET}", 0.0) is None
    unlucky = replace(ADA, digest=bytes(32))
    assert find_guest({ADA.id: unlucky}, f"{ADA.id}.{SECRET}", 0.0) is None


def test_listing_comes_back_as_it_was_written() -> None:
    """Number and guests, in their order."""
    assert read_listing(SIGNER.key, write_listing(Listing(7, KNOWN), SIGNER)) == Listing(7, KNOWN)


def test_listing_is_signed_as_the_library_verifies() -> None:
    """Its first 64 bytes are the Ed25519 signature (`cryptography`) of the word and the rest."""
    data = write_listing(Listing(7, KNOWN), SIGNER)
    key = Ed25519PublicKey.from_public_bytes(SIGNER.key)
    key.verify(data[:64], b"offing guests 1\0" + data[64:])


def test_listing_holds_ids_audiences_digests_and_ends_alone() -> None:
    """A guest has no other fields, so no name has a place in what leaves the ship."""
    assert [field.name for field in fields(Guest)] == ["id", "audience", "digest", "until_s"]
    _, number, rows = msgpack.unpackb(write_listing(Listing(7, KNOWN), SIGNER)[64:])
    assert number == 7
    assert rows == [[guest.id, guest.audience, guest.digest, guest.until_s] for guest in KNOWN.values()]


def test_listing_with_any_byte_changed_is_refused() -> None:
    """Nobody ashore can add a guest, prolong an invitation or bring one back."""
    data = write_listing(Listing(7, KNOWN), SIGNER)
    for at, octet in enumerate(data):
        with pytest.raises(InvitationError, match="not the ship's"):
            read_listing(SIGNER.key, data[:at] + bytes((octet ^ 1 << at % 8,)) + data[at + 1 :])
        with pytest.raises(InvitationError, match="not the ship's"):
            read_listing(SIGNER.key, data[:at])


def test_listing_of_another_hand_or_another_word_is_refused() -> None:
    """A signature for something else is none for a list of guests."""
    data = write_listing(Listing(7, KNOWN), SIGNER)
    with pytest.raises(InvitationError, match="not the ship's"):
        read_listing(Signer(bytes(32)).key, data)
    with pytest.raises(InvitationError, match="not the ship's"):
        read_listing(SIGNER.key, SIGNER.sign("uplink", data[64:]) + data[64:])


def _signed(told: object) -> bytes:
    packed = msgpack.packb(told)
    key = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    return key.sign(b"offing guests 1\0" + packed) + packed


ROW = ["00000001", "family", bytes(32), None]


@pytest.mark.parametrize(
    "told",
    [
        None,
        7,
        [1, 7],
        [2, 7, []],
        [1, -1, []],
        [1, True, []],
        [1, 7, [ROW, ROW]],
        [1, 7, [ROW[:3]]],
        [1, 7, [[*ROW, "Ada"]]],
        [1, 7, [["1", *ROW[1:]]]],
        [1, 7, [["0000000G", *ROW[1:]]]],
        [1, 7, [[ROW[0], "Family", *ROW[2:]]]],
        [1, 7, [[*ROW[:2], bytes(31), None]]],
        [1, 7, [[*ROW[:3], 1.5]]],
        [1, 7, [[*ROW[:3], -1]]],
    ],
)
def test_listing_of_another_form_is_refused_even_if_it_is_signed(told: object) -> None:
    """Nothing of it is taken."""
    with pytest.raises(InvitationError, match="run the same on both sides"):
        read_listing(SIGNER.key, _signed(told))


def test_listing_has_room_for_so_many_and_not_for_one_more() -> None:
    """The longest rows of as many guests as there may be fit; one more is refused."""
    most = {f"{at:08x}": Guest(f"{at:08x}", "a" * 40, bytes(32), (1 << 40) - 1) for at in range(GUESTS_LIMIT + 1)}
    data = write_listing(Listing((1 << 63) - 1, most), SIGNER)
    assert len(data) <= LISTING_LIMIT
    with pytest.raises(InvitationError):
        read_listing(SIGNER.key, data)
    most.popitem()
    assert len(read_listing(SIGNER.key, write_listing(Listing(1, most), SIGNER)).guests) == GUESTS_LIMIT
