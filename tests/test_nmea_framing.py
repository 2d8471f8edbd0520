"""Frames, tag blocks, noise and limits: cut the same however the bytes arrive, and none lost."""

import csv
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nmea_sentences import sentence, tag_block
from relay.core.model import PassedOver, Rejected
from relay.core.nmea_framing import Frame, Framer, Piece, checksum, frame_fault

GOOD = sentence("GPHDT,274.07,T")


def cut(chunks: Iterable[bytes], limit: int = 1024) -> list[Piece]:
    """Return the pieces of a stream, end included, checking at each step that every byte is accounted for."""
    framer, pieces, received = Framer(limit), list[Piece](), b""
    for chunk in chunks:
        received += chunk
        pieces += framer.receive(chunk)
        assert b"".join(piece.raw for piece in pieces) + framer.pending == received
        assert len(framer.pending) <= limit
    pieces += framer.end()
    assert b"".join(piece.raw for piece in pieces) == received
    assert framer.pending == b""
    return pieces


def single_bytes(data: bytes) -> list[bytes]:
    """Return the chunks of a stream that comes byte by byte."""
    return [data[at : at + 1] for at in range(len(data))]


def outline(pieces: list[Piece]) -> list[str]:
    """Return one word or reason for each piece."""
    return [piece.reason if isinstance(piece, Rejected) else type(piece).__name__ for piece in pieces]


@pytest.mark.parametrize("stated_right", [True, False])
def test_checksum_agrees_with_published_examples(shared_data: Path, stated_right: bool) -> None:
    """Examples printed in "NMEA Revealed" (gpsd): 27 carry the right checksum, 13 a wrong one."""
    with (shared_data / "vectors" / "nmea-published-examples.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if (row["checksum_ok"] == "1") is stated_right]
    for row in rows:
        line = row["sentence"].encode() + b"\r\n"
        (frame,) = cut([line])
        assert isinstance(frame, Frame)
        assert frame_fault(frame) == (None if stated_right else "wrong checksum")
        assert checksum(frame.content.encode()) == int(row["computed_checksum"], 16)
    assert len(rows) == (27 if stated_right else 13)


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        (b"$GPHDT,274.07,T*03\r\n", None),
        (b"$GPHDT,274.07,T*03\n", None),
        (b"$GPHDT,274.07,T*02\r\n", "wrong checksum"),
        (b"$GPHDT,274.07,T\r\n", "no checksum"),
        (b"$GPHDT,274.07,T*\r\n", "malformed checksum"),
        (b"$GPHDT,274.07,T*3\r\n", "malformed checksum"),
        (b"$GPHDT,274.07,T*003\r\n", "malformed checksum"),
        (b"$GPHDT,274.07,T*03 \r\n", "malformed checksum"),
        (b"$GPHDT,274.07,T*0G\r\n", "malformed checksum"),
        (b"$\r\n", "no checksum"),
        (sentence("GPHDT,\x80,T"), "characters outside printable ASCII"),
        (sentence("GPHDT,\x00,T"), "characters outside printable ASCII"),
    ],
)
def test_sentence_checksum_is_mandatory_and_two_digits(line: bytes, fault: str | None) -> None:
    """A frame is good only with a right checksum of two hexadecimal digits over printable ASCII."""
    (frame,) = cut([line])
    assert isinstance(frame, Frame)
    assert frame_fault(frame) == fault


def test_checksum_digits_may_be_small() -> None:
    """Hexadecimal digits count in either case."""
    (frame,) = cut([b"$SDDBT,7.8,f,2.4,M,1.3,F*0d\r\n"])
    assert isinstance(frame, Frame)
    assert frame_fault(frame) is None


def test_tag_block_of_a_published_example_is_verified() -> None:
    """The example that several public descriptions of tag blocks print (M0r13n/pyais among them) carries 4A."""
    tag = b"\\g:1-2-73874,n:157036,s:r003669945,c:1241544035*4A\\"
    ais = b"!AIVDM,1,1,,B,15N4cJ`005Jrek0H@9n`DW5608EP,0*13\r\n"
    (frame,) = cut([tag + ais])
    assert frame == Frame(tag + ais, tag, ais[:-2])
    assert frame_fault(frame) is None
    (damaged,) = cut([tag.replace(b"157036", b"157037") + ais])
    assert isinstance(damaged, Frame)
    assert frame_fault(damaged) == "wrong tag block checksum"


@pytest.mark.parametrize(
    ("stream", "pieces"),
    [
        (GOOD + GOOD, ["Frame", "Frame"]),
        (b"\r\n" + GOOD + b"\r\n\n" + GOOD, ["Frame", "Frame"]),
        (GOOD + b"\r\n", ["Frame", "PassedOver"]),
        (GOOD[:-2], ["Frame"]),
        (GOOD[:-2] + GOOD, ["Frame", "Frame"]),
        (b"$GPHDT,27" + GOOD, ["Frame", "Frame"]),
        (b"noise" + GOOD, ["noise between sentences", "Frame"]),
        (b"noise\r\nmore" + GOOD + b"rest", ["noise between sentences"] * 2 + ["Frame", "noise between sentences"]),
        (b"\n\nnoise\n" + GOOD, ["noise between sentences", "Frame"]),
        (tag_block("s:LN1") + GOOD, ["Frame"]),
        (tag_block("s:LN1") + tag_block("g:1-2-3") + GOOD, ["Frame"]),
        (b"\\s:LN1\\" + GOOD, ["Frame"]),
        (b"\\\\" + GOOD, ["Frame"]),
        (tag_block("s:LN1") + b"\r\n" + GOOD, ["Frame", "Frame"]),
        (tag_block("s:LN1"), ["Frame"]),
        (b"\\s:LN1" + GOOD, ["tag block not closed", "Frame"]),
        (b"\\s:LN1\r\n" + GOOD, ["tag block not closed", "Frame"]),
        (b"\\s:LN1", ["tag block not closed"]),
        (b"\\", ["tag block not closed"]),
        (b"\\\r\n", ["tag block not closed"]),
        (b"\\s:LN" + tag_block("s:LN1") + GOOD, ["tag block not closed", "Frame"]),
        (tag_block("s:LN1") + b"\\g:1\r\n" + GOOD, ["tag block not closed", "Frame"]),
        (tag_block("s:LN1") + b"\\\r\n" + GOOD, ["tag block not closed", "Frame"]),
        (tag_block("s:LN1") + b"\\" + GOOD, ["tag block not closed", "Frame"]),
        (b"", []),
    ],
)
def test_framer_finds_the_frames_again(stream: bytes, pieces: list[str]) -> None:
    """Lost line ends, noise, bare line ends and broken tag blocks cost no more than what they touch."""
    assert outline(cut([stream])) == pieces
    assert cut(single_bytes(stream)) == cut([stream])


def test_bare_line_ends_belong_to_the_next_frame() -> None:
    """Empty lines are no frames of their own as long as a frame follows."""
    assert [piece.raw for piece in cut([GOOD + b"\r\n\n" + GOOD])] == [GOOD, b"\r\n\n" + GOOD]


def test_line_of_limit_bytes_is_a_frame() -> None:
    """At the limit a line passes whole."""
    (frame,) = cut([GOOD], limit=len(GOOD))
    assert isinstance(frame, Frame)
    assert cut(single_bytes(GOOD), limit=len(GOOD)) == [frame]


def test_line_past_the_limit_is_rejected() -> None:
    """One byte past the limit it is rejected, and the sentence after it is found."""
    pieces = cut([GOOD + b"$A*41\n"], limit=len(GOOD) - 1)
    assert outline(pieces) == ["line over the limit", "Frame"]
    assert pieces[0].raw == GOOD[:-1]
    assert cut(single_bytes(GOOD + b"$A*41\n"), limit=len(GOOD) - 1) == pieces


def test_frame_without_line_end_keeps_below_the_limit() -> None:
    """Without a line end the last frame may be one byte short of the limit, not equal to it."""
    bare = GOOD[:-2]
    assert outline(cut([bare], limit=len(bare) + 1)) == ["Frame"]
    assert outline(cut([bare], limit=len(bare))) == ["line over the limit"]


def test_tag_block_counts_towards_the_limit() -> None:
    """Tag block and sentence together fit the limit or are rejected."""
    line = tag_block("s:LN1") + GOOD
    assert outline(cut([line], limit=len(line))) == ["Frame"]
    assert outline(cut([line], limit=len(line) - 1)) == ["line over the limit", "PassedOver"]


def test_bare_line_ends_never_cost_a_sentence() -> None:
    """Line ends that do not fit in front of a sentence are given up as an empty line, at the limit and past it."""
    assert [piece.raw for piece in cut([b"\n\n" + GOOD], limit=len(GOOD) + 2)] == [b"\n\n" + GOOD]
    assert cut([b"\n\n" + GOOD], limit=len(GOOD) + 1)[0] == PassedOver(b"\n\n", "blank", "empty line")
    assert cut([b"\n\n" + GOOD], limit=len(GOOD) + 1)[1].raw == GOOD
    assert [len(piece.raw) for piece in cut([b"\n" * 200], limit=82)] == [82, 82, 36]


def test_noise_behind_a_line_over_the_limit_is_noise() -> None:
    """What is left of a line over the limit is told from the noise on the next line."""
    pieces = cut([b"x" * 12 + b"\nnoise\n"], limit=10)
    assert outline(pieces) == ["line over the limit"] * 2 + ["noise between sentences"]


def test_endless_line_falls_into_bounded_pieces() -> None:
    """A stream without line ends is rejected piece by piece, in one chunk as in many, and then read again."""
    stream = b"$" + b"x" * 2_000_000 + b"\r\n" + GOOD
    pieces = cut([stream], limit=1000)
    assert outline(pieces) == ["line over the limit"] * 2001 + ["Frame"]
    assert {len(piece.raw) for piece in pieces[:2000]} == {1000}


@pytest.mark.parametrize("limit", [0, -1])
def test_framer_refuses_a_limit_below_one(limit: int) -> None:
    """A limit that holds no byte is our own fault."""
    with pytest.raises(ValueError, match="limit"):
        Framer(limit)


ALPHABET = [b"$", b"!", b"\\", b"\r", b"\n", b"*", b"A", b"41", b"s:1*78", b"$A*41\r\n", tag_block("s:1"), b"\xff"]


@settings(deadline=None)  # the machine is shared
@given(
    parts=st.lists(st.sampled_from(ALPHABET), max_size=30),
    limit=st.integers(1, 40),
    cuts=st.lists(st.integers(0, 200), max_size=8),
)
def test_chunking_never_changes_pieces(parts: list[bytes], limit: int, cuts: list[int]) -> None:
    """Whole, in any chunks and byte by byte give the same pieces at any limit, all bytes accounted for."""
    stream = b"".join(parts)
    edges = [0, *sorted(min(place, len(stream)) for place in cuts), len(stream)]
    whole = cut([stream], limit)
    assert cut([stream[start:stop] for start, stop in pairwise(edges)], limit) == whole
    assert cut(single_bytes(stream), limit) == whole
    assert all(len(piece.raw) <= limit for piece in whole)
