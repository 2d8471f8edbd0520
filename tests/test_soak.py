"""The soak, short: what `make soak` shows for hours, in seconds; and each thing it must find, planted."""

import os
import subprocess
import sys
from collections.abc import Callable
from io import BytesIO
from math import pi, sin
from pathlib import Path
from subprocess import PIPE
from types import SimpleNamespace
from typing import Any

import msgpack
import pytest

import invariants
import run_soak
from run_soak import SETTLES_MIB, Course, Life, Soak, family, soak, unbacked_octets
from soak_crowd import Crowd, Told
from soak_voyage import Weather

QUICK = Weather(calm_s=(0.6, 1.2), dark_s=(0.3, 0.6), leave_per_s=0.2)


@pytest.mark.slow
async def test_short_soak_loses_doubles_and_hurries_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty viewers, two vehicles, a link that fails: each record once and in order, none early.

    The rules are looked at over what it left, and what doesn't hold is wrong of the soak.
    """
    told: list[str] = []
    looked_at: list[tuple[Path, list[str]]] = []

    def check(folder: Path) -> list[str]:
        looked_at.append((folder, invariants.check(folder)))
        return ["R5: planted"]

    monkeypatch.setattr(run_soak, "check", check)
    soaked = await soak(tmp_path, Course(0.1, 20, 1.0, weather=QUICK), told.append)
    assert looked_at == [(tmp_path, [])]
    assert soaked.wrong == ["R5: planted"]
    assert soaked.voyage.cuts >= 2
    assert set(soaked.ashore.told.had) == {20}
    assert len(soaked.aboard.told.frames) >= 5
    assert soaked.ashore.told.seen["left"] >= 5
    assert any(words.startswith("20 of 20 viewers hold all") for words in told)
    sent = [path.read_bytes() for path in sorted((tmp_path / "sent").iterdir())]
    assert sum(len(list(msgpack.Unpacker(BytesIO(data)))) for data in sent) == soaked.voyage.reports
    assert (tmp_path / "written_to_stations").read_bytes() == b""
    assert all(life.memory[-1] > 10 and life.handles[-1] > 10 for life in soaked.lives)


SECONDS = 7200
FRAMES = [msgpack.packb([1, seq, 3 if seq == 99 else 1, 72.0 * seq, b"x" * 300]) for seq in range(100)]


def crowd_of(frames: list[bytes], late_s: Callable[[int], float]) -> Crowd:
    """Return a crowd that was told frames, each so long after the moment it was due."""
    crowd = Crowd(0, 2)
    crowd.told.frames, crowd.told.ended = list(frames), True
    crowd.told.dive_s = [msgpack.unpackb(frame)[3] for frame in frames]
    crowd.told.first_s = [1000 + 60 + dive_s + late_s(at) for at, dive_s in enumerate(crowd.told.dive_s)]
    for viewer in crowd.viewers:
        viewer.held = len(frames)
    return crowd


def soaked(folder: Path, late_s: Callable[[int], float] = lambda at: 0.01) -> Soak:
    """Return a soak that went well, as far as `late_s` lets it."""
    for name in ("aboard/released", "ashore"):
        (folder / name / "public").mkdir(parents=True)
        (folder / name / "public" / "dive-001.recording").write_bytes(b"".join(FRAMES))
    aboard, ashore = SimpleNamespace(expedition=folder / "aboard" / "E"), SimpleNamespace(folder=folder / "ashore")
    here: Any = SimpleNamespace(ship=aboard, shore=ashore, begun_s=1000.0, cuts=1, reports=1, back=b"")
    found = Soak(here, crowd_of(FRAMES, lambda at: 0.02), crowd_of(FRAMES, late_s), 60.0, SECONDS, lambda words: None)
    found._from_s = 1000.0
    return found


def life(grows: float = 0.0, opens: float = 0.0) -> Life:
    """Return what a process held that grows by so many MiB and files in an hour."""
    times_s = [1000.0 + 10 * at for at in range(SECONDS // 10)]
    memory = [60 + 0.1 * (at % 3) + grows * at / 360 for at in range(len(times_s))]
    return Life("ship", 1, times_s, memory, [float(int(30 + opens * at / 360)) for at in range(len(times_s))])


def test_nothing_is_found_where_nothing_is_wrong(tmp_path: Path) -> None:
    """A soak that went well is judged so: memory may grow by what is kept of the records, and settle."""
    well = soaked(tmp_path)
    well.lives = [life(), life(grows=0.5)]
    well.judge()
    assert well.wrong == []


@pytest.mark.parametrize(
    ("grown", "word"),
    [(life(grows=1.5), "memory grows"), (life(opens=1.0), "open files grow from 30 to 31")],
    ids=["memory", "files"],
)
def test_leak_of_a_process_is_found(grown: Life, word: str, tmp_path: Path) -> None:
    """A MiB and a half in an hour, or one file: it is said of which process."""
    leaky = soaked(tmp_path)
    leaky.lives = [grown]
    leaky.judge()
    assert leaky.wrong == [f"ship: {word}"]


@pytest.mark.parametrize(("seconds", "wrong"), [(SECONDS, ["ship: memory grows"]), (SECONDS - 1, [])])
def test_growth_that_is_not_certain_is_too_much_in_a_long_run(seconds: int, wrong: list[str], tmp_path: Path) -> None:
    """A MiB and a half in an hour, in swings so wide that it might be less: two hours may not have it, less may."""
    uncertain, swinging = soaked(tmp_path), life()
    swinging.memory = [60 + 1.5 * at / 360 + 1.2 * sin(2 * pi * at / 130) for at in range(len(swinging.at_s))]
    found = uncertain._slope(swinging.at_s, swinging.memory)
    assert found is not None and found.low < SETTLES_MIB and 1.25 < found.per_hour < 2
    uncertain.seconds, uncertain.lives = seconds, [swinging]
    uncertain.judge()
    assert uncertain.wrong == wrong


def test_memory_that_no_file_backs_is_counted_where_it_is() -> None:
    """proc(5): its own pages, those it shares, and those that were swapped out; a process that has ended has none."""
    status = "Name:\tpython\nRssAnon:\t  10 kB\nRssFile:\t  400 kB\nRssShmem:\t  2 kB\nVmSwap:\t  30 kB\n"
    assert unbacked_octets(status) == 42 * 1024
    assert unbacked_octets("Name:\tpython\nState:\tZ (zombie)\n") == 0


def test_viewers_lines_are_no_files_that_grow(tmp_path: Path) -> None:
    """As many viewers as are there at the moment aren't counted, whoever else comes or goes."""
    crowd, found = Crowd(0, 3), Life("shore", os.getpid())
    found.look(1.0)
    found.viewers = crowd
    for viewer in crowd.viewers[:2]:
        viewer._transport = SimpleNamespace()  # type: ignore[assignment]
    with (tmp_path / "one").open("w"), (tmp_path / "two").open("w"):
        found.look(2.0)
    assert found.handles[0] == found.handles[1] > 2


GONE = 1 << 30  # above every number that a process may have (proc(5), pid_max)


def test_child_that_ends_meanwhile_holds_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Between a process and its children being listed and being looked at, one may end; the relay itself may not."""
    assert family(GONE) == [GONE]
    with subprocess.Popen([sys.executable, "-c", "print(flush=True); input()"], stdin=PIPE, stdout=PIPE) as still:
        assert still.stdin is not None and still.stdout is not None
        still.stdout.readline()
        alone, with_child = Life("ship", still.pid), Life("ship", still.pid)
        alone.look(1.0)
        monkeypatch.setattr(run_soak, "family", lambda process: [process, GONE])
        with_child.look(1.0)
        still.stdin.close()
    assert with_child.handles == alone.handles
    assert with_child.memory[0] == pytest.approx(alone.memory[0], abs=1)
    with pytest.raises(FileNotFoundError):
        Life("ship", GONE).look(1.0)


@pytest.mark.parametrize(("wrong", "code"), [([], 0), (["R5: planted"], 1)])
def test_what_a_soak_left_stays_where_something_was_wrong(
    wrong: list[str], code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """It is named; without anything wrong nothing stays, unless it was asked for."""

    async def soak(folder: Path, course: Course, tell: Callable[[str], None]) -> Any:
        (folder / "left").touch()
        return SimpleNamespace(wrong=wrong)

    monkeypatch.setattr(run_soak, "soak", soak)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr("sys.argv", ["run_soak.py"])
    assert run_soak.main() == code
    folder = Path(capsys.readouterr().out.splitlines()[0].rpartition(" ")[2])
    assert folder.is_relative_to(tmp_path)
    assert (folder / "left").exists() == bool(wrong)


@pytest.mark.parametrize(
    ("late_s", "word"),
    [
        (lambda at: 0.01 + at * 2e-3, "aboard records drift"),
        (lambda at: 0.01 - 0.02 * (at == 50), "aboard a record came 0.010 s before its delay was over"),
        (lambda at: 0.01 + 9.0 * (at == 50), "aboard a record came 9.0 s late"),
    ],
    ids=["drift", "early", "late"],
)
def test_drift_of_the_embargo_is_found(late_s: Callable[[int], float], word: str, tmp_path: Path) -> None:
    """A tenth of a second more in an hour, one record early by ten, one nine seconds late."""
    drifting = soaked(tmp_path, late_s)
    drifting.judge()
    assert [words[: len(word)] for words in drifting.wrong] == [word]


def test_records_that_lack_or_differ_are_found(tmp_path: Path) -> None:
    """One viewer without the last record; another record ashore than aboard, among followers and on the disk."""
    found = soaked(tmp_path)
    found.ashore.viewers[0].held -= 1
    found.ashore.told.frames[3] = b"another"
    (tmp_path / "ashore" / "public" / "dive-001.recording").write_bytes(b"".join(FRAMES[:-1]))
    found.judge()
    assert found.wrong == [
        "ashore other records came than aboard",
        "1 viewers lack records",
        "on the shore's disk lie other records",
    ]


def test_viewer_that_is_told_something_twice_or_out_of_order_says_so() -> None:
    """A record that was told already, one too many numbers on, or other bytes than the first viewer got."""
    told = Told()
    assert told.take(0, FRAMES[0])
    assert told.take(0, FRAMES[0])
    assert (told.had, told.wrong) == ([2], [])
    assert not told.take(1, FRAMES[0])
    assert not told.take(1, FRAMES[2])
    assert not told.take(0, FRAMES[1])
    assert told.wrong == [
        "record 1.0 where 1.1 was due",
        "record 1.2 where 1.1 was due",
        "another record than the others got as 1.0",
    ]
