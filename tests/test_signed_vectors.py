"""The vectors that the page's check of signatures is held to are what the relay signs."""

import json

import ed25519_by_the_book as book
import make_signed_vectors
from relay.core.wire import pad_start


def test_signed_vectors_are_still_what_the_relay_signs() -> None:
    """A byte that changes is a change of the wire, or of what is signed."""
    assert json.loads(make_signed_vectors.PATH.read_text()) == make_signed_vectors.vectors()


def test_signed_vectors_are_signed_as_the_standard_says() -> None:
    """RFC 8032, section 5.1.6, by the oracle that shares nothing with the library: a stranger's first record."""
    frame = make_signed_vectors.strangers_dive()[0]
    start = pad_start(frame)
    assert frame[start : start + 64] == book.sign(bytes(range(1, 33)), b"offing record 1\0public\0" + frame[:start])
