"""Bytes as HTTP gives them out: one content, its codings, each with a strong tag (RFC 9110 sections 8.4 and 8.8.3).

Rules: a content is compressed at most once per coding, when first asked for; the compressed form carries no
time and no name; every coding has a tag of its own, because its bytes differ.
"""

import re
import zlib
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from hashlib import sha256

NO_CACHE = "no-cache"
FOREVER = "public, max-age=31536000, immutable"

LARGE_OCTETS = 1 << 18
QUICK = 3

_MEMBER = re.compile(r"\s*([a-z0-9*.-]+)\s*(?:;\s*q\s*=\s*([01](?:\.[0-9]{0,3})?)\s*)?", re.IGNORECASE)
_TAG = re.compile(r'(?:W/)?("[^"]*")')


class Coding(StrEnum):
    """The content codings offered, best first. "deflate" is the zlib format (RFC 9110 section 8.4.1.2)."""

    GZIP = "gzip"
    DEFLATE = "deflate"
    IDENTITY = "identity"


_WINDOW_BITS = {Coding.GZIP: 31, Coding.DEFLATE: 15}


@dataclass(frozen=True)
class Representation:
    """One content of the site. `tag` names exactly these bytes; `pack` says whether compressing is worth a try."""

    content: bytes
    content_type: str
    tag: str
    cache_control: str = NO_CACHE
    pack: bool = True
    _packed: dict[Coding, bytes] = field(default_factory=dict, compare=False)

    def choose(self, accept_encoding: str | None) -> Coding:
        """Return the best coding the client takes; plain bytes where compressing gains nothing."""
        if not self.pack:
            return Coding.IDENTITY
        coding = choose_coding(accept_encoding)
        return coding if len(self.body(coding)) < len(self.content) else Coding.IDENTITY

    def body(self, coding: Coding) -> bytes:
        """Return the content in `coding`."""
        if coding is Coding.IDENTITY:
            return self.content
        if coding not in self._packed:
            self._packed[coding] = compress(self.content, coding)
        return self._packed[coding]

    def etag(self, coding: Coding) -> str:
        """Return the strong tag of the content in `coding`, with its quotes."""
        return f'"{self.tag}"' if coding is Coding.IDENTITY else f'"{self.tag}-{coding}"'

    @cached_property
    def etags(self) -> frozenset[str]:
        """The tags of all codings."""
        return frozenset(map(self.etag, Coding))


def tag_of(content: bytes) -> str:
    """Return the tag of a content: SHA-256 in hexadecimal."""
    return sha256(content).hexdigest()


def compress(content: bytes, coding: Coding) -> bytes:
    """Return `content` in a coding; gzip with a zero time (RFC 1952), deflate as RFC 1950.

    What is large is packed faster: the loop that serves everybody waits for it.
    """
    level = QUICK if len(content) > LARGE_OCTETS else zlib.Z_DEFAULT_COMPRESSION
    packer = zlib.compressobj(level, wbits=_WINDOW_BITS[coding])
    return packer.compress(content) + packer.flush()


def choose_coding(accept_encoding: str | None) -> Coding:
    """Return the first of our codings that an Accept-Encoding takes (RFC 9110 section 12.5.3).

    Among the offered ones ours is the order; what cannot be read is taken as not said.
    """
    weights: dict[str, float] = {}
    for member in (accept_encoding or "").split(","):
        match = _MEMBER.fullmatch(member)
        if match is not None:
            weights[match[1].lower()] = float(match[2] or 1)
    for coding in (Coding.GZIP, Coding.DEFLATE):
        if weights.get(coding, weights.get("*", 0.0)) > 0:
            return coding
    return Coding.IDENTITY


def is_known(if_none_match: str | None, etag: str) -> bool:
    """Whether an If-None-Match names `etag` (weak comparison, RFC 9110 section 13.1.2)."""
    if if_none_match is None:
        return False
    return if_none_match.strip() == "*" or etag in _TAG.findall(if_none_match)
