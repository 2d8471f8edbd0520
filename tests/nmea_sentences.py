"""NMEA 0183 sentences for the tests: made right, made wrong, and at random."""

from collections.abc import Sequence
from functools import reduce
from operator import xor
from random import Random
from typing import Any

from relay.core.model import OBSERVATION_FIELDS, Event, Observation
from relay.core.nmea0183 import NmeaDecoder, Sounder, SounderSentence


def sentence(content: str, start: str = "$", end: str = "\r\n", *, wrong_by: int = 0) -> bytes:
    """Return a whole line with its checksum, or with one that is wrong by some bits."""
    data = content.encode("latin-1")
    return start.encode() + data + b"*%02X" % (reduce(xor, data, 0) ^ wrong_by) + end.encode()


def tag_block(text: str) -> bytes:
    """Return a tag block with its checksum."""
    return b"\\" + sentence(text, start="", end="") + b"\\"


def decoder(
    sounder: Sounder | None = Sounder.DEPTH,
    sounder_sentence: SounderSentence = SounderSentence.DPT,
    variation_deg: float | None = None,
    limit: int = 1024,
) -> NmeaDecoder:
    """Return a decoder that reads DPT as depth and knows no variation, unless told otherwise."""
    return NmeaDecoder(sounder=sounder, sounder_sentence=sounder_sentence, variation_deg=variation_deg, limit=limit)


def said(observation: Observation) -> dict[str, Any]:
    """Return the fields an observation fills."""
    pairs = ((field, getattr(observation, field)) for field in OBSERVATION_FIELDS)
    return {field: value for field, value in pairs if value is not None}


def raw_of(events: Sequence[Event]) -> bytes:
    """Return the bytes the events account for."""
    return b"".join(event.raw for event in events)


MODELS = (
    "GPGGA,130711,5012.790800,N,00806.879600,W,2,08,0.9,-4,M,46.8,M,,",
    "GNGLL,4404.14012,N,12118.85993,W,001037.00,A,A",
    "INRMC,194101,A,4426.1130,N,07140.5596,W,5.2,77.3,160906,15.8,W,A",
    "GPVTG,220.86,T,213.1,M,2.550,N,4.724,K,A",
    "SDVHW,231.3,T,229.9,M,6.6,N,12.3,K",
    "HEHDT,274.07,T",
    "SDHDG,229.8,1.2,W,1.3,E",
    "APHDM,218.634,M",
    "APROT,-0.013,A",
    "SDDPT,5.3,0.4,100",
    "SDDBT,17.7,f,5.4,M,2.9,F",
    "HCXDR,A,1.7,D,PITCH,A,-3.7,D,ROLL,C,,C,AIRTEMP",
    "GPZDA,160012.71,11,03,2004,-1,00",
    "PFEC,AIcmd,0,35,A,01062011,130711",
    "SDMTW,,C",
    "AIVDM,1,1,,B,15N4cJ`005Jrek0H@9n`DW5608EP,0",
)
NASTY = (
    *("", "0", "-0", "1", "-1", "92", "9200.0", "9000.0001", "18100.00", "18000.0001", "4460.0", "5959.9999", "360"),
    *("360.0", "361", "-360", "nan", "NaN", "inf", "-inf", "Infinity", "1e9", "1e400", "9" * 320, "1_0", " 1", "0x10"),
    *(".", "-", "+", "1.2.3", "١٢".encode().decode("latin-1"), "\xff", "\x00", "A", "V", "N", "S", "E", "W"),
    *("Q", "T", "M", "K", "f", "D", "PTCH", "ROLL", "pitch", "235960", "235961", "240000", "000000.5", "12:00:00"),
    *("310299", "310205", "000000", "010170", "311299", "2099", "9999", "0000", "12000.5", "-10.5", "1000000"),
    *("*", "$", "!", "\\", "^21", ",", ",,,,", "\r", "\n", "\r\n"),
)


def random_content(choose: Random) -> str:
    """Return a sentence with none to three fields replaced, and sometimes cut short or lengthened."""
    fields = choose.choice(MODELS).split(",")
    for _ in range(choose.choice((0, 1, 1, 1, 2, 3))):
        fields[choose.randrange(choose.random() > 0.03, len(fields))] = choose.choice(NASTY)
    if choose.random() < 0.1:
        del fields[choose.randrange(1, len(fields) + 1) :]
    if choose.random() < 0.05:
        fields += [choose.choice(NASTY)] * choose.randrange(1, 40)
    return ",".join(fields)


def random_line(choose: Random) -> bytes:
    """Return one line as a bad wire might carry it: mostly with a right checksum, sometimes damaged or in noise."""
    start = choose.choice("$$$$$$$!")
    end = choose.choice(("\r\n", "\r\n", "\r\n", "\n", "\r\n\r\n", "\n\n\n", "", "\r"))
    line = sentence(random_content(choose), start, end, wrong_by=choose.choice((0,) * 9 + (1,)))
    if choose.random() < 0.1:
        tag = tag_block(choose.choice(("s:LN1,c:1241544035", "g:1-2-3", "", "x*00")))
        line = choose.choice((tag, tag[:-1], tag + tag, tag + b"\r\n")) + line
    if choose.random() < 0.1:
        at = choose.randrange(len(line) + 1)
        line = line[:at] + choose.randbytes(choose.randrange(4)) + line[at + choose.randrange(4) :]
    return line
