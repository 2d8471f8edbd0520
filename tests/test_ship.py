"""The running relay: what it says when something is wrong."""

import asyncio
import errno
import json
import logging
import os
import socket
import threading
from pathlib import Path

import pytest

from disk_life import SECOND, Life, SetTime, Told, day, make_site, untold
from expeditions import RIGHT, changed
from nmea_sentences import sentence
from peers import until
from relay.core.channel import Due
from relay.core.errors import OperatorError, OurFault
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.release import Kind
from relay.core.wire import Recording
from relay.shell.desk.control import NAME as CONTROL
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.clock import MachineTime
from relay.shell.record.journal import Journal, JournalFile, read_marks, read_rows
from relay.shell.released.outlet import Outlet
from relay.shell.released.recording import load_recording
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship


@pytest.mark.parametrize("fault", [ValueError, KeyError, ZeroDivisionError])
async def test_fault_that_quotes_a_position_is_told_by_its_kind_alone(
    fault: type[Exception], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever breaks while rows are read stops the release; neither log nor alarm repeats its words (R1)."""

    def broken(*_: object) -> None:
        raise fault("Observation(latitude_deg=-38.61472, longitude_deg=-21.93306)")

    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    with caplog.at_level(logging.DEBUG):
        await ship.start()
        monkeypatch.setattr(Pipeline, "receive", broken)
        ship.decide(b'{"do": "begin"}', "a test")
        await until(lambda: ship.stopped is not None)
        alarms = ship.alarms()
        await ship.close()
    said = caplog.text + "".join(alarms)
    assert fault.__name__ in said
    assert "38.6" not in said
    assert "21.9" not in said


async def test_fault_of_ours_with_words_of_its_own_says_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A fault that Offing words itself is told whole: its words are written here and hold no value of the input."""

    def broken(*_: object) -> None:
        raise OurFault("two records of one number")

    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    monkeypatch.setattr(Pipeline, "receive", broken)
    ship.decide(b'{"do": "begin"}', "a test")
    await until(lambda: ship.stopped is not None)
    await ship.close()
    assert "two records of one number" in caplog.text
    assert ship.stopped == "two records of one number"


async def test_alarms_name_vehicles_and_no_place(tmp_path: Path) -> None:
    """A vehicle outside the declared area is told by its name: not where, nor how far (R1)."""
    area = '[area]\nname = "the invented bank"\ncentre = [-38.61472, -21.93306]\nradius = "3 km"\n'
    moth = '[[vehicle]]\nname = "Moth"'
    expedition = parse_expedition(changed(moth, area + moth), tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    astray = {"vehicle": "Moth", "latitude_deg": -38.71234, "longitude_deg": -21.81234, "depth_m": 50.0}
    ship.pipeline.receive(Row(1, 1, 0.0, "station", RowKind.WHOLE, json.dumps(astray).encode() + b"\n"))
    alarms = ship.alarms()
    await ship.close()
    assert alarms == ["Moth is outside the declared area"]


async def test_alarm_of_contradicting_stations_tells_how_far_apart_they_are(tmp_path: Path) -> None:
    """Two stations that tell one vehicle's place too differently are an alarm; what it says is a distance, no place."""
    listens = 'from = "tcp-listen://127.0.0.1:4010"'
    expedition = parse_expedition(
        changed(listens, f'{listens}\nvehicle = "Lantern"\nstandby_for = "position"'), tmp_path / "EXPEDITION.toml"
    )
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    now_us = ship.status()["now_us"]
    fix = b'{"latitude_deg": -38.61472, "longitude_deg": -21.93306}\n'
    other = sentence("GPGGA,,3836.8332,S,02155.9836,W,1,08,0.9,0.0,M,0.0,M,,")
    ship.pipeline.receive(Row(1, now_us, 0.0, "position", RowKind.WHOLE, other))
    ship.pipeline.receive(Row(2, now_us, 0.0, "station", RowKind.WHOLE, fix))
    alarms = ship.alarms()
    await ship.close()
    assert alarms == ["two stations contradict each other about Lantern by 93 m: its place isn't released"]


STALLED = "the journal takes nothing"


async def test_fault_of_the_disk_that_ends_while_alarms_are_gathered_is_told_or_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The journal's own thread ends it at any moment: an alarm has words all the same."""
    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    found: list[str] = []
    for lasts in range(4):
        looks = iter([STALLED] * lasts)
        with monkeypatch.context() as patch:
            patch.setattr(Journal, "fault", property(lambda _, looks=looks: next(looks, None)))
            found += ship.alarms()
    await ship.close()
    assert STALLED in found
    assert all(isinstance(words, str) for words in found)


@pytest.mark.parametrize(
    ("faults", "alarms", "told"),
    [
        ([None, None], [], None),
        ([STALLED, STALLED], ["another"], STALLED),
        ([STALLED, STALLED], [STALLED], None),
        ([STALLED, None], [], None),
    ],
)
def test_script_asks_of_a_fault_that_lasts_whether_the_desk_was_told(
    faults: list[str | None], alarms: list[str], told: str | None
) -> None:
    """One that was over when the alarms were gathered is none that the desk should have been told."""
    looks = iter(faults)
    assert untold(lambda: next(looks), lambda: alarms) == told


async def test_page_whose_port_is_taken_says_what_to_change(tmp_path: Path) -> None:
    """No trace of the program: which port, why, and the line to write."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        text = RIGHT.replace("127.0.0.1:0", f"127.0.0.1:{port}").replace(
            "udp://127.0.0.1:10110", "udp://127.0.0.1:10191"
        )
        expedition = parse_expedition(text, tmp_path / "EXPEDITION.toml")
        ship = Ship(expedition, MachineTime(), new_site(expedition))
        words = rf'127.0.0.1:{port} \(Address already in use\): stop what .* \[public\] listen = "127.0.0.1:{port + 1}"'
        with pytest.raises(OperatorError, match=words):
            await ship.start()
        await ship.close()


async def test_stop_that_comes_with_new_rows_stops_all_the_same(tmp_path: Path) -> None:
    """Rows wake the release at the very moment at which it is told to end: it ends, and isn't only woken."""
    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    ship.decide(b'{"do": "begin"}', "a test")
    await until(lambda: ship.pipeline.next_us() is not None)
    serving = asyncio.ensure_future(ship.serve())
    for _ in range(10):
        await asyncio.sleep(0)  # every job waits for something now, the release for its next moment
    ship._durable([])
    serving.cancel()
    await asyncio.wait({serving}, timeout=5)
    ended = serving.done()
    serving.cancel()
    await asyncio.wait({serving})
    await ship.close()
    assert ended


async def test_checkpoint_waits_until_the_recordings_before_it_are_kept(tmp_path: Path) -> None:
    """While the disk doesn't take a dive's end, a restart would grow that dive again; afterwards it needn't (R5)."""

    def next_dive() -> int:
        kept = json.loads(read_marks(tmp_path / "private" / "journal.db")["checkpoint"])
        return int(kept["audiences"]["public"]["next_dive"])

    life = Life(make_site(tmp_path), SetTime(), Told(lambda note: None))
    await life.begin()
    (tmp_path / "released").mkdir()
    (tmp_path / "released" / "public").touch()  # no folder can be made there
    await life.play(day(), 42 * SECOND)
    await life.settle()
    assert next_dive() == 1
    assert any("dive-001.recording can't be written" in alarm for alarm in life.ship.alarms())
    (tmp_path / "released" / "public").unlink()
    await life.play(day(), 44 * SECOND + SECOND // 2)
    await life.settle()
    await life.end()
    assert load_recording(tmp_path / "released" / "public" / "dive-001.recording").closed
    assert next_dive() == 2


async def test_disk_that_fails_as_a_dive_begins_is_told_and_the_next_start_sends_the_dive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was told can't be read: the release stops with file and reason, and nothing of the dive is lost (R4, R5)."""
    exists, path = Path.exists, make_site(tmp_path)
    recording = tmp_path / "released" / "families" / "dive-001.recording"

    def failing(asked: Path) -> bool:
        if asked == recording:
            raise OSError(errno.EIO, os.strerror(errno.EIO), str(asked))
        return exists(asked)

    with monkeypatch.context() as planted:
        life = Life(path, SetTime(), Told(lambda note: None))
        await life.begin()
        planted.setattr(Path, "exists", failing)
        await life.play(day(), 42 * SECOND)
        await life.settle()
        alarms = life.ship.alarms()
        await life.end()
    words = f"{recording} can't be read: Input/output error: see to its disk, then start the relay again"
    assert f"the release has stopped: {words}" in alarms
    assert not recording.exists()
    life = Life(path, SetTime("boot 0", 42 * SECOND), Told(lambda note: None))
    await life.begin()
    await life.play(day(), 50 * SECOND)
    await life.settle()
    await life.end()
    assert life.ship.stopped is None
    assert load_recording(recording).closed


async def test_checkpoint_stays_behind_what_a_stopped_release_never_let_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault strikes at a dive's end, where no dive is under way behind it: the next start ends it once (R5)."""
    release, path = Outlet.release, make_site(tmp_path)

    def failing(outlet: Outlet, due: Due) -> None:
        if due.record.kind is Kind.END and due.record.audience == "families":
            raise ZeroDivisionError
        release(outlet, due)

    def kept() -> Recording:
        return load_recording(tmp_path / "released" / "families" / "dive-001.recording")

    with monkeypatch.context() as planted:
        planted.setattr(Outlet, "release", failing)
        life = Life(path, SetTime(), Told(lambda note: None))
        await life.begin()
        await life.play(day(), 44 * SECOND + SECOND // 2)
        await life.settle()
        await life.end()
    assert life.ship.stopped is not None
    before = kept()
    assert not before.closed
    life = Life(path, SetTime("boot 0", 44 * SECOND + SECOND // 2), Told(lambda note: None))
    await life.begin()
    await life.play(day(), 50 * SECOND)
    await life.settle()
    await life.end()
    assert life.ship.stopped is None
    assert kept().closed
    assert [record.data for record in kept().records[:-1]] == [record.data for record in before.records]


@pytest.mark.parametrize("name", ["_control", "desk", "site", "inviting"])
async def test_part_that_fails_to_close_keeps_no_other_open(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The journal's thread ends, what waits is written, and the folder may be had again, as by the next start."""

    async def failing(*_: object) -> None:
        raise OSError(errno.EROFS, "planted")

    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    ship.decide(b'{"do": "begin"}', "a test")
    with monkeypatch.context() as planted:
        planted.setattr(type(getattr(ship, name)), "close", failing)
        with pytest.raises(OSError, match="planted"):
            await ship.close()
    writing = [thread for thread in threading.enumerate() if thread.name == "journal"]
    if writing and ship._journal is not None:
        await ship._journal.close()  # else the tests would never end
    await getattr(ship, name).close()
    assert writing == []
    JournalFile(expedition.private).close()
    assert any(b'"do": "begin"' in row.data for row in read_rows(expedition.private / "journal.db"))


async def test_socket_that_a_disk_keeps_is_no_reason_not_to_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that became read-only: the operator's socket stays, and the next start replaces it."""
    unlink = Path.unlink

    def refused(path: Path, missing_ok: bool = False) -> None:
        if path.name == CONTROL and path.exists():
            raise OSError(errno.EROFS, "planted")
        unlink(path, missing_ok)

    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    with monkeypatch.context() as planted:
        planted.setattr(Path, "unlink", refused)
        await ship.close()
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    await ship.close()
