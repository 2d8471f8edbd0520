"""What others wrote, printed: nothing of it acts on a terminal or looks like a line of ours."""

import json
import unicodedata

from hypothesis import given, settings
from hypothesis import strategies as st

from relay.shell.released.printable import as_json, printable, printable_lines

HARMLESS = "Isoline Marr, 38,6° – «wrack» № 7 λ 沈船"


def test_a_name_stays_as_it_is() -> None:
    """Letters of any script; a no-break space is a space."""
    assert HARMLESS == printable(HARMLESS)
    assert "20 m" == printable("20\N{NO-BREAK SPACE}m")


def test_what_acts_on_a_terminal_is_shown_as_unreadable() -> None:
    """ECMA-48's escape (7-bit and 8-bit), a line's end, a turn of the writing direction (Unicode's UAX 9)."""
    for control in (
        "\x1b[2J",
        "\x9b2J",
        "\r",
        "\n",
        "\x07",
        "\N{RIGHT-TO-LEFT OVERRIDE}",
        "\N{LINE SEPARATOR}",
        "\udc80",
    ):
        assert printable(f"a{control}b") == f"a\N{REPLACEMENT CHARACTER}{control[1:]}b"
    assert "one\ntwo\N{REPLACEMENT CHARACTER}" == printable_lines("one\ntwo\r")


@settings(max_examples=50)
@given(st.text())
def test_nothing_that_is_a_control_or_a_format_is_left(text: str) -> None:
    """By Unicode's own categories, and no longer than it was."""
    assert not {unicodedata.category(letter) for letter in printable(text)} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert len(text) == len(printable(text))


def test_json_of_what_others_wrote_acts_on_no_terminal_and_stays_the_same_value() -> None:
    """RFC 8259 section 7 lets any character be escaped: what acts on a terminal is, and is read back as it was."""
    told = {"note": "\N{RIGHT-TO-LEFT OVERRIDE}\x9b2J \x1b[2J \U000e0041 \N{LINE SEPARATOR}\n", "ship": HARMLESS}
    for indent in (None, 2):
        text = as_json(told, indent=indent)
        assert all(letter.isprintable() or letter == "\n" for letter in text)
        assert json.loads(text) == told
        assert HARMLESS in text
