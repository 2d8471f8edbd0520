"""The ship's signature: by the book (RFC 8032), for one audience, of every byte, and of nothing else."""

import json
from pathlib import Path

import msgpack
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ed25519_by_the_book as book
from dives import SECRETS, SIGNER, sealed
from handed_on import overlong
from make_wire_vectors import records
from relay.core.errors import RecordingError
from relay.core.seal import KEY_OCTETS, Signer, is_sealed, is_signed, parse_key
from relay.core.secrets import Secrets
from relay.core.wire import SIGNATURE_OCTETS, decode, encode, pad_start

VECTORS = json.loads((Path(__file__).parent / "vectors" / "ed25519.json").read_text())["vectors"]
FRAMES = [sealed(record) for record in records()]


@pytest.mark.parametrize("vector", VECTORS, ids=[vector["name"] for vector in VECTORS])
def test_keys_and_the_books_signatures_are_the_standards(vector: dict[str, str]) -> None:
    """RFC 8032, section 7.1: the public key of each seed is ours; the oracle of these tests signs as it says."""
    seed, message = bytes.fromhex(vector["seed"]), bytes.fromhex(vector["message"])
    assert Signer(seed).key.hex() == book.public_key(seed).hex() == vector["key"]
    assert book.sign(seed, message).hex() == vector["signature"]


def test_record_is_signed_as_the_document_says_and_as_the_book_does() -> None:
    """Every kind, by the oracle alone: word, audience, the record's bytes up to its pad's content; then zero."""
    for frame in FRAMES:
        pad = msgpack.unpackb(frame)[5]
        told = frame[: len(frame) - len(pad)]
        signature = book.sign(SECRETS.signing_seed, b"offing record 1\0public\0" + told)
        assert pad == signature + bytes(len(pad) - SIGNATURE_OCTETS)


def test_sealing_changes_nothing_but_the_room_that_was_left_for_it() -> None:
    """A signed frame is as long as the unsigned one and tells the same; signed once more it is the same bytes."""
    for record, frame in zip(records(), FRAMES, strict=True):
        bare = encode(record)
        start = pad_start(bare)
        assert len(frame) == len(bare)
        assert frame[:start] == bare[:start]
        assert not any(bare[start:])
        assert decode(frame).body == decode(bare).body
        assert SIGNER.seal("public", frame) == SIGNER.seal("public", bare) == frame


def test_signature_is_made_of_what_was_released_and_the_key_alone() -> None:
    """Another signer of the same seed, later: the same bytes (RFC 8032, section 5.1.6: the nonce is no chance)."""
    frame = encode(records()[2])
    assert {Signer(SECRETS.signing_seed).seal("public", frame) for _ in range(50)} == {FRAMES[2]}


def test_whatever_byte_is_altered_the_signature_is_no_longer_hers() -> None:
    """Every bit of a frame, the signature's and the padding's among them, or the frame is none any more."""
    frame = FRAMES[3]
    assert is_sealed(SIGNER.key, "public", frame)
    for at in range(8 * len(frame)):
        altered = bytearray(frame)
        altered[at // 8] ^= 1 << at % 8
        try:
            assert not is_sealed(SIGNER.key, "public", bytes(altered)), at
        except RecordingError:
            continue


@pytest.mark.parametrize("other", ["press", "", "publi", "public\0", "Public"])
def test_record_for_one_audience_is_none_for_another(other: str) -> None:
    """Who hands on what was released to somebody else is found out."""
    assert all(is_sealed(SIGNER.key, "public", frame) for frame in FRAMES)
    assert not any(is_sealed(SIGNER.key, other, frame) for frame in FRAMES)


def test_record_of_another_site_is_not_hers() -> None:
    """Another site's key, and no key at all."""
    stranger = Signer(Secrets(bytes(32)).signing_seed)
    assert stranger.key != SIGNER.key
    for key in (stranger.key, bytes(KEY_OCTETS), SIGNER.key[:-1], b""):
        assert not is_sealed(key, "public", FRAMES[0])


def test_unsigned_record_is_not_hers() -> None:
    """What `encode` leaves in the pad is nobody's signature."""
    assert not any(is_sealed(SIGNER.key, "public", encode(record)) for record in records())


SHORT, NO_PAD = (msgpack.packb([1, 1, 1, 0, None, pad]) for pad in (b"", None))


LONG = overlong(FRAMES[0])  # a pad of bin 32 (the specification at msgpack.org)


@pytest.mark.parametrize("frame", [b"", b"\xc0", FRAMES[0][:-1], FRAMES[0] + b"\0", SHORT, NO_PAD, LONG])
def test_what_is_no_frame_is_neither_signed_nor_judged(frame: bytes) -> None:
    """Whoever hands such bytes over is told that they are no record."""
    with pytest.raises(RecordingError):
        SIGNER.seal("public", frame)
    with pytest.raises(RecordingError):
        is_sealed(SIGNER.key, "public", frame)


def test_frame_of_before_signatures_has_no_room_for_one() -> None:
    """A pad that is too short is never written over."""
    bare = msgpack.packb([1, 1, 3, 15, None]).replace(b"\x95", b"\x96", 1)
    for octets, takes in ((SIGNATURE_OCTETS, True), (SIGNATURE_OCTETS - 1, False)):
        frame = bare + b"\xc5" + octets.to_bytes(2, "big") + bytes(octets)
        if takes:
            assert is_sealed(SIGNER.key, "public", SIGNER.seal("public", frame))
            continue
        with pytest.raises(RecordingError, match="too short"):
            SIGNER.seal("public", frame)


@settings(deadline=None, max_examples=60)
@given(st.binary(max_size=200), st.sampled_from(["record", "guests", "uplink"]), st.binary(max_size=20))
def test_signature_under_one_word_says_nothing_under_another(data: bytes, word: str, more: bytes) -> None:
    """Whatever is signed: neither another word, nor more or fewer bytes, nor another length of signature will do."""
    signature = SIGNER.sign(word, data)
    assert is_signed(SIGNER.key, word, data, signature)
    for other in {"record", "guests", "uplink"} - {word}:
        assert not is_signed(SIGNER.key, other, data, signature)
    assert not more or not is_signed(SIGNER.key, word, data + more, signature)
    assert not is_signed(SIGNER.key, word, data, signature[:-1])
    assert not is_signed(SIGNER.key, word, data, signature + b"\0")


def test_signature_has_one_form() -> None:
    """Its number plus the group's order is refused (RFC 8032, section 5.1.7), so nobody makes a second one of one."""
    signature = SIGNER.sign("record", b"x")
    number = int.from_bytes(signature[32:], "little") + book.L
    assert not is_signed(SIGNER.key, "record", b"x", signature[:32] + number.to_bytes(32, "little"))


def test_key_is_written_in_one_way() -> None:
    """64 small hexadecimal digits; anything else is refused in words."""
    text = SIGNER.key.hex()
    assert parse_key(text) == SIGNER.key
    for wrong in ("", text[2:], text + "00", text.upper(), f" {text}", "z" * 64):
        with pytest.raises(ValueError, match="64 hexadecimal digits"):
            parse_key(wrong)


def test_seed_is_of_the_sites_key_and_is_not_it() -> None:
    """Another site, another seed; 32 bytes, no more, no less; neither the seed nor the site's key is the public one."""
    assert SECRETS.signing_seed != Secrets(bytes(32)).signing_seed
    assert len({SECRETS.key, SECRETS.signing_seed, SIGNER.key}) == 3
    for seed in (b"", bytes(31), bytes(33)):
        with pytest.raises(ValueError, match="32 bytes"):
            Signer(seed)
