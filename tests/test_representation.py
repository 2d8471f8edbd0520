"""Contents and their codings: what the standard library unpacks, and the examples of RFC 9110."""

import gzip
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.shell.site.representation import (
    LARGE_OCTETS,
    Coding,
    Representation,
    choose_coding,
    compress,
    is_known,
    tag_of,
)

CONTENT = b"east 25 m, north 50 m; " * 200


@given(st.binary(max_size=2_000))
def test_codings_are_unpacked_by_the_standard_library(content: bytes) -> None:
    """gzip (RFC 1952) by the module gzip, deflate (RFC 1950) by zlib."""
    assert gzip.decompress(compress(content, Coding.GZIP)) == content
    assert zlib.decompress(compress(content, Coding.DEFLATE)) == content


@pytest.mark.parametrize("octets", [LARGE_OCTETS, LARGE_OCTETS + 1])
@pytest.mark.parametrize("coding", [Coding.GZIP, Coding.DEFLATE])
def test_large_content_is_packed_faster_but_packed(octets: int, coding: Coding) -> None:
    """On either side of the limit the content comes back, in a small part of its size."""
    content = (CONTENT * (octets // len(CONTENT) + 1))[:octets]
    packed = compress(content, coding)
    assert zlib.decompress(packed, 47) == content  # 32 + 15: zlib finds out itself whether it is gzip or zlib
    assert len(packed) < octets // 50


def test_gzip_tells_no_time_and_no_name() -> None:
    """RFC 1952 section 2.3: flags 0 (no name), MTIME 0."""
    assert compress(CONTENT, Coding.GZIP)[3:8] == bytes(5)


@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        # The examples of RFC 9110 section 12.5.3.
        ("compress, gzip", Coding.GZIP),
        ("", Coding.IDENTITY),
        ("*", Coding.GZIP),
        ("compress;q=0.5, gzip;q=1.0", Coding.GZIP),
        ("gzip;q=1.0, identity; q=0.5, *;q=0", Coding.GZIP),
        (None, Coding.IDENTITY),
        ("deflate", Coding.DEFLATE),
        ("DEFLATE, br", Coding.DEFLATE),
        ("gzip;q=0, deflate", Coding.DEFLATE),
        ("gzip;q=0.0", Coding.IDENTITY),
        ("gzip;q=0, *", Coding.DEFLATE),
        ("gzip;q=loud", Coding.IDENTITY),
        ("br, zstd", Coding.IDENTITY),
        (",;=q, gzip ;q=0.1", Coding.GZIP),
    ],
)
def test_coding_is_negotiated(accept: str | None, expected: Coding) -> None:
    """The first of ours that the client takes."""
    assert choose_coding(accept) == expected


@given(st.text(max_size=80))
def test_negotiation_never_raises(accept: str) -> None:
    """Any header gives a coding that we have."""
    assert choose_coding(accept) in Coding


def test_content_that_gains_nothing_stays_as_it_is() -> None:
    """Random-looking bytes, and what is packed already, are not packed again."""
    short = Representation(b"x", "text/plain", "tag")
    packed = Representation(CONTENT, "image/png", "tag", pack=False)
    assert short.choose("gzip") == packed.choose("gzip") == Coding.IDENTITY


def test_content_is_packed_once() -> None:
    """The same bytes object is given out again."""
    found = Representation(CONTENT, "text/plain", tag_of(CONTENT))
    assert found.body(Coding.GZIP) is found.body(Coding.GZIP)
    assert found.body(Coding.IDENTITY) is CONTENT


def test_every_coding_has_its_own_strong_tag() -> None:
    """RFC 9110 section 8.8.3.3: different codings are different representations."""
    found = Representation(CONTENT, "text/plain", tag_of(CONTENT))
    tags = {found.etag(coding) for coding in Coding}
    assert len(tags) == 3
    assert all(tag.startswith('"') and tag.endswith('"') for tag in tags)


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        # The examples of RFC 9110 section 13.1.2.
        ('"xyzzy"', True),
        ('W/"xyzzy"', True),
        ('"xyzzy", "r2d2xxxx", "c3piozzzz"', True),
        ('W/"r2d2xxxx", W/"xyzzy"', True),
        ("*", True),
        ('"r2d2xxxx"', False),
        ("xyzzy", False),
        ("", False),
        (None, False),
    ],
)
def test_known_tag_is_recognised(header: str | None, expected: bool) -> None:
    """Weak comparison, lists, and the star."""
    assert is_known(header, '"xyzzy"') is expected
