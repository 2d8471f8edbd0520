"""What a row says in words: exactly what was read, by whichever format, and nothing that a terminal obeys."""

import json

import msgpack
import pytest

from relay.core.decision import Say, write_decision
from relay.core.find import Find, FindPlace
from relay.core.model import Row, RowKind
from relay.shell.proofs.row_words import MOST_MESSAGES, MOST_READ, MOST_SHOWN, row_words, utc, words


def said(data: bytes, kind: RowKind = RowKind.STREAM, source: str = "bow") -> str:
    """Return what is said of a row with these bytes."""
    return "\n".join(row_words(Row(7, 61_000_000, 1_777_890_013.25, source, kind, data)))


# GGA: the sentence of the example in the documentation of the library pynmeagps; its checksum by that library.
GGA = b"$GNGGA,103607.00,5327.03942,N,00214.42462,W,1,06,5.88,56.0,M,48.5,M,,*64\r\n"


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (GGA, "read as NMEA 0183, GGA: latitude 53.45065"),
        (b'{"vehicle": "Moth", "depth_m": 1120.25}\n', "read as JSON, station message: vehicle Moth, depth 1120.25 m"),
        (msgpack.packb({"vehicle": "Moth", "depth_m": 7.5}), "read as MessagePack, station message: vehicle Moth"),
        (b"hello", "no whole message; it may be a piece of one"),
        (b"", "no whole message"),
        (b"$SDDPT,1.92,0.0,100*70\r\n", "read as NMEA 0183, DPT: a whole message; what it means here"),
        (b"\xfd\x00", "read as MAVLink: no whole message"),
    ],
)  # fmt: skip
def test_bytes_are_read_by_the_format_that_they_begin_as(data: bytes, told: str) -> None:
    """The feed's configuration is not in a proof: the first byte tells what it can be."""
    assert told in said(data)


def test_moments_and_source_are_told() -> None:
    """The wall clock as a date, the journal's own clock in its own unit."""
    lines = said(GGA, RowKind.WHOLE).split("\n")
    assert lines[0] == "received: 2026-05-04 10:20:13.250 UTC by the ship's wall clock; one whole message from 'bow'"
    assert lines[1] == "moment: 61000000 microseconds of the journal's own clock (minute 1)"
    assert lines[2] == f"bytes: {GGA.decode().strip()}"
    assert utc(1e300) == "1e+300 s"


def test_decision_is_told_member_by_member_and_what_is_none_is_said() -> None:
    """With who took it; bytes that are no decision are not guessed at."""
    told = said(write_decision(Say(text="The boiler."), "the chief"), RowKind.DECISION)
    assert "do: say\nwho: the chief\ntext: The boiler." in told
    find = Find(name="Bell", what="a bell", depth_m=1120.5, place=FindPlace(latitude_deg=-38.5, longitude_deg=-21.5))
    told = said(write_decision(find, "the chief"), RowKind.DECISION)
    assert "do: find" in told
    assert "what: a bell" in told
    assert '"latitude_deg": -38.5' in told
    assert "depth: 1120.5 m" in told
    assert "adds" not in told and "False" not in told
    assert "not a decision that this Offing reads" in said(b'{"do": "dance"}', RowKind.DECISION)
    assert "not a decision that this Offing reads" in said(b"\xff", RowKind.DECISION)


def test_long_and_hostile_rows_are_cut_and_harmless() -> None:
    """A row of thousands of messages, one of a megabyte, one that would command the terminal."""
    many = said(b'{"depth_m": 1}\n' * 50)
    assert many.count("read as JSON, station message") == MOST_MESSAGES
    assert "and 30 messages more" in many
    assert len(said(b"x" * 1_000_000)) < 3 * MOST_SHOWN + 300
    assert "(1000000 bytes in all; the proof has them)" in said(b"x" * 1_000_000)
    long = said(b"$" * (MOST_READ + 1))
    assert f"not read as messages: what follows its first {MOST_READ} bytes" in long
    assert "not read as messages" not in said(b"$" * MOST_READ)
    hostile = json.dumps({"note": "a\x1b[2J\nPROVED"}).encode() + b"\n"
    told = said(hostile, source="\x1b]0;x\n")
    assert "\x1b" not in told
    assert not any(line.startswith("PROVED") for line in told.split("\n"))


def test_names_of_values_lose_their_unit() -> None:
    """As the field's name has it."""
    assert [words(name) for name in ("latitude_deg", "rate_of_turn_deg_min", "note")] == [
        "latitude",
        "rate of turn",
        "note",
    ]
