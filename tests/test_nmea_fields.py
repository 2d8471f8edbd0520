"""Fields of NMEA 0183 sentences, against what pynmeagps, whose tables they are read by, makes of the whole sentence."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pynmeagps import NMEAReader
from pynmeagps.exceptions import NMEAParseError, NMEATypeError
from pynmeagps.nmeatypes_core import VALNONE
from pynmeagps.nmeatypes_get import NMEA_PAYLOADS_GET

from relay.core.nmea_fields import NUMBER, Fields, Impossible

KINDS = ("DBT", "DPT", "GGA", "GLL", "HDG", "HDM", "HDT", "RMC", "ROT", "VHW", "VTG", "XDR", "ZDA")
SAID = ("", "0", "12", "-7.25", "+3.", ".5", "1_0", " 4", "nan", "inf", "1e2", "x", "-", "A", "M", "T", "N", "9" * 40)
WRITTEN = ("101112.00", "251126", "5012.7908", "00806.8796")
PRINTABLE = st.characters(min_codepoint=32, max_codepoint=126, exclude_characters=",*$!\\")
TEXTS = st.sampled_from(SAID + WRITTEN) | st.text(PRINTABLE, max_size=8)


def parsed(content: str) -> object | None:
    """Return pynmeagps's message, None where it refuses the sentence."""
    try:
        return NMEAReader.parse(f"${content}*00\r\n".encode("ascii"), validate=VALNONE)
    except (NMEAParseError, NMEATypeError):
        return None


@pytest.mark.parametrize("kind", KINDS)
@given(texts=st.lists(TEXTS, max_size=17))
def test_refused_as_pynmeagps_refuses(kind: str, texts: list[str]) -> None:
    """A sentence with a field that pynmeagps takes for no number is refused, used here or not; any other isn't."""
    content = ",".join([f"GP{kind}", *texts])
    message = parsed(content)
    if message is None:
        with pytest.raises(Impossible, match="malformed field"):
            Fields(content, 0)
        return
    fields = Fields(content, 0)
    for name, told in NMEA_PAYLOADS_GET[kind].items():
        if told == "DE" and NUMBER.fullmatch(fields.text(name)):
            assert fields.number(name) == getattr(message, name)


def test_refuses_and_takes_some_of_each() -> None:
    """Of each kind there are sentences of both sorts, so that the check above can fail."""
    for kind in KINDS:
        blank = ",".join([f"GP{kind}", *[""] * 8])
        assert parsed(blank) is not None
        refused = kind != "GLL"  # its table has no number
        assert (parsed(",".join([f"GP{kind}", *["x"] * 8])) is None) == refused
