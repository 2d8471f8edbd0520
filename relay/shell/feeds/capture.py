"""Read a capture file for a rehearsal: its bytes, unchanged, each piece with the time at which it came.

Rules:

1. The pieces joined are the bytes of the file (after gunzip where it ends in `.gz`). A telemetry log alone gives its
   frames and noise without the 8-byte times between them, which were never on the wire.
2. Times never go back. Where a capture's own clock does, it is held until the capture has caught up.
3. A capture says when its pieces came: NMEA 0183 by the times in its sentences, a telemetry log by its record times,
   station messages by `t`. One that says nothing is played at a given rate; Offing does not make one up.

Times are Unix seconds where the capture tells the date; else seconds after the midnight before its first time; at
a given rate, seconds after its first piece.
"""

import gzip
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import reduce
from io import BytesIO
from math import isfinite
from operator import xor
from pathlib import Path

import msgspec

from relay.core.errors import CaptureError
from relay.core.mavlink import split_tlog
from relay.core.ranges import out_of_range

DAY_S = 86_400.0
LARGEST_BYTES = 1 << 30

FORMATS = {
    ".nmea": "nmea0183",
    ".txt": "nmea0183",
    ".log": "nmea0183",
    ".tlog": "mavlink",
    ".jsonl": "station-json",
}


@dataclass(frozen=True, slots=True)
class CapturedChunk:
    """Bytes of a capture and the time at which they came (see the module's text for whose time)."""

    t_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class SentenceTime:
    """What one sentence tells of the time: seconds after midnight UTC, and that midnight in Unix seconds if told."""

    time_of_day_s: float
    midnight_s: float | None


def format_of(path: Path) -> str:
    """Return the feed format of a capture file by its name: nmea0183, mavlink or station-json.

    Raises CaptureError for a name that tells none.
    """
    suffixes = [suffix.lower() for suffix in path.suffixes]
    if suffixes and suffixes[-1] == ".gz":
        suffixes.pop()
    if suffixes and suffixes[-1] in FORMATS:
        return FORMATS[suffixes[-1]]
    known = ", ".join(FORMATS)
    raise CaptureError(f"{path}: the name does not tell what is in it; rename it to end in {known}, or those with .gz")


def read_capture(path: Path, *, rate: float | None, largest_bytes: int = LARGEST_BYTES) -> Iterator[CapturedChunk]:
    """Return the pieces of a capture with times that never go back: lines, or frames of a telemetry log.

    `rate` (lines per second) times a capture that tells no time itself; one that does keeps its own. The file is
    read and timed at once, in memory, up to `largest_bytes`. Raises CaptureError if it cannot be read or timed.
    """
    if rate is not None and not (isfinite(rate) and rate > 0.0):
        raise CaptureError(f"{path}: a rate of {rate} lines per second cannot be played; give --rate above zero")
    capture_format = format_of(path)
    data = unpacked(path, read_file(path, largest_bytes), largest_bytes)
    if capture_format == "mavlink":
        return _telemetry_chunks(path, data)
    times = _sentence_times if capture_format == "nmea0183" else _message_times
    return _line_chunks(path, data, times, rate)


def read_file(path: Path, largest_bytes: int = LARGEST_BYTES) -> bytes:
    """Return the bytes of a file as they are, or raise CaptureError."""
    try:
        with path.open("rb") as file:
            data = file.read(largest_bytes + 1)
    except FileNotFoundError as error:
        raise CaptureError(f"{path}: there is no such file; check the path") from error
    except OSError as error:
        raise CaptureError(
            f"{path}: cannot be read ({error.strerror}); check that it is a file you may read"
        ) from error
    return _sized(path, data, largest_bytes)


def unpacked(path: Path, data: bytes, largest_bytes: int = LARGEST_BYTES) -> bytes:
    """Return what a file of this name and these bytes holds: unzipped if it ends in .gz; or raise CaptureError."""
    if path.suffix.lower() != ".gz":
        return data
    try:
        with gzip.open(BytesIO(data)) as file:
            return _sized(path, file.read(largest_bytes + 1), largest_bytes)
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise CaptureError(f"{path}: not a whole gzip file ({error}); copy it again from its source") from error


def _sized(path: Path, data: bytes, largest_bytes: int) -> bytes:
    if not data:
        raise CaptureError(f"{path}: the file is empty; choose another capture")
    if len(data) > largest_bytes:
        raise CaptureError(f"{path}: larger than {largest_bytes} bytes; cut it into parts and give one of them")
    return data


def _telemetry_chunks(path: Path, data: bytes) -> Iterator[CapturedChunk]:
    """Return the frames of a telemetry log; noise before the first record comes with that record's time."""
    pieces = list(split_tlog(data))
    first_s = next((t_s for t_s, _ in pieces if t_s), None)
    if first_s is None:
        raise CaptureError(f"{path}: no telemetry log record in it; a .tlog has an 8-byte time before each frame")
    return _held(pieces, first_s)


def _held(pieces: list[tuple[float, bytes]], clock_s: float) -> Iterator[CapturedChunk]:
    for t_s, piece in pieces:
        clock_s = max(clock_s, t_s)
        yield CapturedChunk(clock_s, piece)


def _line_chunks(
    path: Path, data: bytes, times: Callable[[bytes], list[tuple[int, float]]], rate: float | None
) -> Iterator[CapturedChunk]:
    """Return the lines of the data, timed by `times`, or by the rate where those are none."""
    known = times(data)
    if known:
        return _spread(data, known)
    if rate is None:
        raise CaptureError(f"{path}: nothing in it tells the time; say how fast it was, with --rate LINES_PER_SECOND")
    return (CapturedChunk(index / rate, line) for index, line in enumerate(_lines(data)))


def _lines(data: bytes) -> Iterator[bytes]:
    """Yield the lines with their ends."""
    start = 0
    while start < len(data):
        end = data.find(b"\n", start) + 1 or len(data)
        yield data[start:end]
        start = end


def _spread(data: bytes, known: list[tuple[int, float]]) -> Iterator[CapturedChunk]:
    """Yield each line with its known time, or one spread evenly between the known times around it.

    `known` holds (line number, time), in order and never empty. Lines before the first time get the first, lines
    after the last the last.
    """
    last = 0
    for index, line in enumerate(_lines(data)):
        while last + 1 < len(known) and known[last + 1][0] <= index:
            last += 1
        yield CapturedChunk(_between(known[last], known[min(last + 1, len(known) - 1)], index), line)


def _between(before: tuple[int, float], after: tuple[int, float], index: int) -> float:
    """Return the time of a line that stands between two known ones, as its share of the lines is of the time."""
    if index <= before[0] or before == after:
        return before[1]
    share = (index - before[0]) / (after[0] - before[0])
    return min(before[1] + share * (after[1] - before[1]), after[1])


def _message_times(data: bytes) -> list[tuple[int, float]]:
    """Return (line number, `t`) of each station message; one without `t` came with the message before it."""
    reader = msgspec.json.Decoder(_Timed)
    known: list[tuple[int, float]] = []
    for index, line in enumerate(_lines(data)):
        try:
            t_s = reader.decode(line).t
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            t_s = None
        if t_s is not None and out_of_range("clock_s", t_s) is None:
            known.append((index, max(t_s, known[-1][1]) if known else t_s))
        elif known:
            known.append((index, known[-1][1]))
    return known


class _Timed(msgspec.Struct):
    """The one field of a station message that times it."""

    t: float | None = None


def _sentence_times(data: bytes) -> list[tuple[int, float]]:
    """Return (line number, time) of each sentence that tells one, the clock held where it goes back.

    A sentence without a date belongs to the day that puts it nearest to the one before: a rollover at midnight goes
    on, and a gap of half a day or more without a date cannot be told. Times before the first date move to its day.
    """
    known: list[tuple[int, float]] = []
    clock_s = 0.0
    dated = False
    for index, line in enumerate(_lines(data)):
        told = sentence_time(line)
        if told is None:
            continue
        if told.midnight_s is not None:
            t_s = told.midnight_s + told.time_of_day_s
            if known and not dated:
                shift_s = round((t_s - known[-1][1]) / DAY_S) * DAY_S
                known = [(number, undated_s + shift_s) for number, undated_s in known]
            dated = True
        elif known:
            t_s = clock_s + (told.time_of_day_s - clock_s + DAY_S / 2) % DAY_S - DAY_S / 2
        else:
            t_s = told.time_of_day_s
        clock_s = t_s
        known.append((index, max(t_s, known[-1][1]) if known else t_s))
    return known


def sentence_time(line: bytes) -> SentenceTime | None:
    """Return the time in one NMEA 0183 sentence with a good checksum: ZDA, RMC, GGA or GLL; None if it tells none."""
    body, star, checksum = line.rstrip(b"\r\n").partition(b"*")
    if not (body.startswith(b"$") and star and checksum.upper() == b"%02X" % reduce(xor, body[1:], 0)):
        return None
    fields = body.split(b",")
    place = _TIME_FIELD.get(fields[0][-3:])
    if place is None or len(fields) <= place:
        return None
    time_of_day_s = _time_of_day(fields[place])
    return None if time_of_day_s is None else SentenceTime(time_of_day_s, _midnight(fields))


_TIME_FIELD = {b"ZDA": 1, b"RMC": 1, b"GGA": 1, b"GLL": 5}


def _time_of_day(field: bytes) -> float | None:
    """Read hhmmss.ss."""
    whole, _, fraction = field.partition(b".")
    if len(whole) != 6 or not whole.isdigit() or not (fraction or b"0").isdigit():
        return None
    hours, minutes, seconds = int(whole[:2]), int(whole[2:4]), int(whole[4:])
    if hours > 23 or minutes > 59 or seconds > 60:
        return None
    return hours * 3600.0 + minutes * 60.0 + seconds + float(b"0." + (fraction or b"0"))


def _midnight(fields: list[bytes]) -> float | None:
    """Read the date of ZDA (day, month, year) or RMC (ddmmyy; 69 to 99 are before 2000, as POSIX strptime has it)."""
    try:
        if fields[0].endswith(b"ZDA"):
            day, month, year = int(fields[2]), int(fields[3]), int(fields[4])
        elif fields[0].endswith(b"RMC") and len(fields[9]) == 6:
            day, month, year = int(fields[9][:2]), int(fields[9][2:4]), int(fields[9][4:])
            year += 1900 if year >= 69 else 2000
        else:
            return None
        midnight_s = datetime(year, month, day, tzinfo=UTC).timestamp()
    except (ValueError, IndexError, OverflowError):
        return None
    return midnight_s if out_of_range("clock_s", midnight_s) is None else None
