"""A picture that goes with an annotation: re-encoded pixels and nothing else, checked byte for byte before it counts.

Rules: a `Still` can't be made of anything but a JPEG (ITU-T T.81) with three components, one fixed JFIF segment
(ITU-T T.871) and what decoding needs: no other application segment, no comment, nothing behind its end. Whoever
re-encoded it, metadata is refused here. It is bounded in bytes and in pixels. In the journal it stands with the
SHA-256 of the original it was made of, which is never released.
"""

import re
from base64 import b64decode, b64encode
from dataclasses import dataclass

from relay.core.errors import OperatorError

OCTET_LIMIT = 96 * 1024
SIDE_LIMIT = 1_024
STILLS_A_DIVE = 60
START, END = b"\xff\xd8", b"\xff\xd9"
# Version 1.1, aspect ratio 1 to 1, no thumbnail: one form, so that not even a density tells of a camera.
JFIF = b"\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"
_FRAMES = (0xC0, 0xC2)  # baseline and progressive, table B.1
_SCAN = 0xDA
_TABLES = (0xC4, 0xDB, 0xDD)  # Huffman and quantisation tables, restart interval
_IN_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7]", re.DOTALL)  # B.1.1.5: stuffed zeros and restart markers go on
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Still:
    """`jpeg`: the bytes as they are released; `original`: SHA-256 of the original in hexadecimal."""

    jpeg: bytes
    original: str

    def __post_init__(self) -> None:
        """Raise OperatorError unless this may be released."""
        jpeg_size(self.jpeg)
        if not _DIGEST.fullmatch(self.original):
            raise OperatorError("the still's original is told by its SHA-256 in hexadecimal")

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return jpeg_size(self.jpeg)


def write_still(still: Still) -> dict[str, str]:
    """Return a still as it stands in a journal row or a message."""
    return {"jpeg": b64encode(still.jpeg).decode(), "original": still.original}


def read_still(value: object) -> Still:
    """Return the still in a journal row or a message; OperatorError says what is wrong with it."""
    if not isinstance(value, dict) or set(value) != {"jpeg", "original"}:
        raise OperatorError("a still has a jpeg (base64) and the SHA-256 of its original")
    jpeg, original = value["jpeg"], value["original"]
    if not isinstance(jpeg, str) or not isinstance(original, str) or len(jpeg) > 2 * OCTET_LIMIT:
        raise OperatorError(f"a still's jpeg is base64 of at most {OCTET_LIMIT} bytes, its original a text")
    try:
        return Still(b64decode(jpeg, validate=True), original)
    except ValueError as error:
        raise OperatorError(f"the still's jpeg is not base64: {error}") from error


def jpeg_size(data: bytes) -> tuple[int, int]:
    """Return width and height of a JPEG that may be released; OperatorError says at which byte it may not."""
    if not 0 < len(data) <= OCTET_LIMIT:
        raise OperatorError(f"a still has at most {OCTET_LIMIT} bytes, not {len(data)}")
    if not data.startswith(START + JFIF):
        raise OperatorError("a still is a JPEG that begins with the one JFIF segment that is released")
    size, at = None, len(START + JFIF)
    while data[at : at + 2] != END:
        marker, length = _segment(data, at)
        if marker in _FRAMES and size is None:
            size = _frame_size(data[at + 4 : at + 2 + length])
        elif marker not in _TABLES and (marker != _SCAN or size is None):
            raise OperatorError(f"the still has a segment FF{marker:02X} at byte {at}, which is not released")
        at += 2 + length
        if marker == _SCAN:
            at = _behind_scan(data, at)
    if at + 2 != len(data):
        raise OperatorError(f"the still has {len(data) - at - 2} bytes behind its end")
    if size is None:
        raise OperatorError("the still has no picture in it")
    return size


def _segment(data: bytes, at: int) -> tuple[int, int]:
    """Return marker and length of the segment at a byte; the length counts itself (B.1.1.4)."""
    length = int.from_bytes(data[at + 2 : at + 4])
    if data[at : at + 1] != b"\xff" or length < 2 or at + 2 + length > len(data):
        raise OperatorError(f"the still is not a whole JPEG: no segment at byte {at}")
    return data[at + 1], length


def _frame_size(header: bytes) -> tuple[int, int]:
    """Return width and height of a frame header (B.2.2): eight bits, three components."""
    if len(header) != 15 or header[0] != 8 or header[5] != 3:
        raise OperatorError("a still has three components of eight bits")
    height, width = int.from_bytes(header[1:3]), int.from_bytes(header[3:5])
    if not (0 < width <= SIDE_LIMIT and 0 < height <= SIDE_LIMIT):
        raise OperatorError(f"a still has at most {SIDE_LIMIT} pixels a side, not {width} × {height}")
    return width, height


def _behind_scan(data: bytes, at: int) -> int:
    marker = _IN_SCAN.search(data, at)
    if marker is None:
        raise OperatorError("the still is cut off")
    return marker.start()
