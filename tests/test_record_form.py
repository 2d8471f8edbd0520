"""What a release log writes is of the form; a value of another type, out of bounds or missing is refused."""

from pathlib import Path
from typing import Any

import msgpack
import pytest

from relay.core.errors import RecordingError
from relay.core.record_form import check_form
from relay.core.wire import Recording, footer, read_recording
from released import dive, dive_with_everything, dive_with_heads, dive_with_stills

DEMO = Path(__file__).parents[1] / "recordings" / "demo-dive.recording"
NAN, INFINITE = float("nan"), float("inf")


def recording(*changes: tuple[int, list[Any], Any], frames: list[Any] | None = None) -> Recording:
    """Return a recording of which some values are others: of which record, by what way within it, and what."""
    records = [msgpack.unpackb(frame.data) for frame in frames or dive_with_everything(2)]
    for record, way, value in changes:
        owner = records[record]
        for step in way[:-1]:
            owner = owner[step]
        owner[way[-1]] = value
    packed = [msgpack.packb(record) for record in records]
    return read_recording(b"".join(packed) + footer(packed))


@pytest.mark.parametrize(
    "data",
    [
        DEMO.read_bytes(),
        *(b"".join(frame.data for frame in frames) for frames in (dive(1, 3), dive_with_everything(2))),
        b"".join(frame.data for frame in dive_with_heads(3, [bytes(32)])),
        b"".join(frame.data for frame in dive_with_stills(4, [])),
    ],
)
def test_what_a_release_log_writes_is_of_the_form(data: bytes) -> None:
    """No recording of Offing's own is refused, the committed one of the demo least."""
    check_form(read_recording(data))


# In `dive_with_everything`: 0 the header, 1 and 4 ticks, 2 a head, 3 and 5 targets, 7 the end; a body stands at 4.
@pytest.mark.parametrize("value", [7, [], NAN, True])
@pytest.mark.parametrize("name", ["expedition", "audience", "vehicles", "tick_s", "delay_s", "place", "area"])
def test_header_must_say_what_readers_work_with(name: str, value: object) -> None:
    """Each name is there, and what it says is of its kind: a list is no number, and nothing is none by chance."""
    if (name, value) in (("vehicles", []), ("tick_s", 7)):
        value = [7] if name == "vehicles" else 0
    with pytest.raises(RecordingError, match=rf"^record 0, which begins the dive, doesn't say its {name} "):
        check_form(recording((0, [4, name], value)))


@pytest.mark.parametrize(
    ("record", "way", "value"),
    [
        (1, [3], NAN),
        (1, [3], "0"),
        (7, [3], 1e10),
        (1, [4], None),
        (1, [4], []),
        (1, [4, 0], "reporting"),
        (1, [4, 0], ["reporting"] * 9),
        (1, [4, 0, 0], None),
        (1, [4, 0, 3], "10"),
        (1, [4, 0, 3], INFINITE),
        (1, [4, 0, 3], True),
        (1, [4, 0, 5], 5),
        (1, [4, 0, 10], None),
        (1, [4, 0, 10], "-38.6"),
        (2, [4], None),
        (2, [4], []),
        (2, [4, 0], bytes(31)),
        (3, [4], 5),
        (3, [4], [0, "Boiler"]),
        (3, [4, 0], 2),
        (3, [4, 0], -1),
        (3, [4, 0], "Lantern"),
        (3, [4, 1], ["Boiler"]),
        (3, [4, 2], None),
    ],
)
def test_record_of_another_form_is_told_by_its_number(record: int, way: list[Any], value: object) -> None:
    """A type, a bound, a length: whatever a reader would fall over is refused before it is read."""
    with pytest.raises(RecordingError, match=rf"^record {record} isn't of the form"):
        check_form(recording((record, way, value)))


def test_older_recording_with_fewer_names_is_of_the_form() -> None:
    """A name that may say nothing may be missing, as before there was one."""
    older = recording()
    for name in ("area", "swath_m", "cell_m", "depth_step_m", "heading_step_deg"):
        del older.header[name]
    check_form(older)


def test_more_than_the_form_is_left_alone() -> None:
    """A name, a column and a kind of a later Offing are no fault: a reader passes them over (rule of the wire)."""
    more = recording((0, [4, "later"], 7), (1, [4, 0], ["reporting", *[None] * 11, "later"]), (7, [2], 99))
    check_form(more)
