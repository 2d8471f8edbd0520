"""Release logs on the shore's disk: what is held is durable, in order, signed, and never told differently."""

import errno
import os
import resource
from pathlib import Path

import pytest

from handed_on import overlong
from logs_ashore import FIRST, SECOND, TOLD, frames_of, held, opened, take
from relay.core.errors import NoRoomError, ShoreError
from relay.core.uplink_talk import Held
from relay.core.wire import footer
from relay.shell.released.recording import load_recording
from released import dive, programme
from shores import SIGNER, STRANGER, sealed


@pytest.mark.parametrize("lost", ["all", "a sector", "the end of a record"])
def test_zeros_of_a_power_cut_take_nothing_that_was_held(lost: str, tmp_path: Path) -> None:
    """A file may have its new length and, in some sectors, not its bytes: what was durable before stays held."""
    with opened(tmp_path) as logs:
        take(logs, SECOND[:2])
    path = next(tmp_path.rglob("dive-*.recording"))
    before, new = path.read_bytes(), b"".join(SECOND[2:])
    zeros = {"all": (0, len(new)), "a sector": (0, 512 - len(before) % 512), "the end of a record": (40, len(new))}
    start, end = zeros[lost]
    left = before + new[:start] + bytes(end - start) + new[end:]
    path.write_bytes(left)
    with opened(tmp_path) as logs:
        assert frames_of(logs) == SECOND[:2]
        assert len(logs.set_aside) == 1 and "zeros" in logs.set_aside[0]
        assert next(tmp_path.rglob("*.set-aside")).read_bytes() == left
        take(logs, SECOND)
    with opened(tmp_path) as logs:
        assert (frames_of(logs), logs.set_aside) == (SECOND, [])


def test_what_is_taken_is_a_recording_and_is_there_after_a_restart(tmp_path: Path) -> None:
    """Files are what the ship's own are, byte for byte, and read back they are held again."""
    with opened(tmp_path) as logs:
        assert take(logs, [*FIRST[:2], TOLD[0]]) == [*FIRST[:2], TOLD[0]]
        assert take(logs, [*FIRST[2:], *SECOND, TOLD[1]]) == [*FIRST[2:], *SECOND, TOLD[1]]
        before = held(logs)
    assert before["funders"] == Held()
    assert (before["public"].dive, before["public"].seq, before["public"].programme) == (2, 3, 1)
    assert (tmp_path / "public" / "dive-001.recording").read_bytes() == b"".join(FIRST) + footer(FIRST)
    assert load_recording(tmp_path / "public" / "dive-001.recording").closed
    assert (tmp_path / "public" / "dive-002.recording").read_bytes() == b"".join(SECOND)
    with opened(tmp_path) as logs:
        assert (held(logs), frames_of(logs)) == (before, FIRST + SECOND)


def test_same_frames_again_change_nothing(tmp_path: Path) -> None:
    """Whatever comes twice is new once."""
    with opened(tmp_path) as logs:
        take(logs, FIRST[:3])
        assert take(logs, FIRST) == FIRST[3:]
        assert take(logs, FIRST + TOLD) == TOLD
        assert take(logs, TOLD) == []
        assert frames_of(logs) == FIRST


OTHER = sealed(dive(1, 5))
REFUSED = {
    "a stranger's": (sealed(dive(2, 0), STRANGER), "record 0 of dive 2 isn't signed by this ship for public"),
    "another audience's": (sealed(dive(2, 0, audience="funders")), "isn't signed by this ship for public"),
    "unsigned": ([dive(2, 0)[0].data], "isn't signed"),
    "one octet altered": ([SECOND[0][:90] + bytes([SECOND[0][90] ^ 1]) + SECOND[0][91:]], "public: |isn't signed"),
    "no frame": ([b"\xc1"], "public: not a record"),
    "with a gap": (SECOND[:1] + SECOND[2:], "record 2 of dive 2 where 1 of 2 was due"),
    "out of order": ([SECOND[0], SECOND[2], SECOND[1]], "record 2 of dive 2 where 1 of 2 was due"),
    "without its beginning": (SECOND[1:], "record 1 of dive 2 where the beginning of the next dive was due"),
    "told differently": (OTHER[5:], "record 5 of dive 1 for public differs from the one that this shore holds"),
    "longer than its end": ([sealed(dive(1, 9))[7]], "differs from|where the beginning of the next dive was due"),
    "another programme": ([TOLD[0], sealed([programme(0, "Later.")])[0]], "programme 0 for public differs"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_frames_that_are_not_what_comes_next_are_refused_whole(case: str, tmp_path: Path) -> None:
    """Whatever is wrong in a batch, nothing of it is held and the disk is as it was."""
    frames, words = REFUSED[case]
    with opened(tmp_path) as logs:
        take(logs, FIRST)
        before = held(logs), sorted((path, path.read_bytes()) for path in tmp_path.rglob("*") if path.is_file())
        with pytest.raises(ShoreError, match=words):
            logs.write("public", frames)
        assert before == (
            held(logs), sorted((path, path.read_bytes()) for path in tmp_path.rglob("*") if path.is_file())
        )  # fmt: skip


def test_audience_that_the_file_does_not_name_is_refused(tmp_path: Path) -> None:
    """What this shore isn't to give out it doesn't keep."""
    with opened(tmp_path) as logs, pytest.raises(ShoreError, match="names public, funders in open and invited"):
        logs.write("family", sealed(dive(1, 1, audience="family")))


def test_dive_of_a_newer_version_is_refused_in_words(tmp_path: Path) -> None:
    """A ship ahead of this shore is told so."""
    (begin, *_) = dive(1, 0)
    newer = begin.data.replace(b"\xa7version\x01", b"\xa7version\x02")
    with opened(tmp_path) as logs, pytest.raises(ShoreError, match="records of version 2, this shore knows 1"):
        logs.write("public", [SIGNER.seal("public", newer)])


def test_log_cut_anywhere_is_a_prefix_and_grows_again_to_the_same_file(tmp_path: Path) -> None:
    """Cut at any octet the start finds whole records alone, says nothing is wrong, and the ship fills up the rest."""
    whole = b"".join(FIRST) + footer(FIRST)
    path = tmp_path / "public" / "dive-001.recording"
    path.parent.mkdir()
    for cut in range(0, len(whole) + 1, 37):
        path.write_bytes(whole[:cut])
        with opened(tmp_path) as logs:
            assert logs.set_aside == []
            whole_ones = frames_of(logs)
            assert whole_ones == FIRST[: len(whole_ones)]
            take(logs, FIRST[len(whole_ones) :])
        assert path.read_bytes() == whole


def damaged(folder: Path, at: int = 90) -> Path:
    """Change one octet of the first dive's file."""
    path = folder / "public" / "dive-001.recording"
    data = bytearray(path.read_bytes())
    data[at] ^= 1
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("at", [1, 90, 700, len(b"".join(FIRST)) + 9])
def test_damaged_file_is_set_aside_with_what_came_after_it_and_fetched_again(at: int, tmp_path: Path) -> None:
    """Bit rot in record or footer: said with the file's name, kept beside, and the ship's records take its place."""
    with opened(tmp_path) as logs:
        take(logs, FIRST + SECOND)
    rotten = damaged(tmp_path, at).read_bytes()
    with opened(tmp_path) as logs:
        (words,) = logs.set_aside
        assert "dive-001.recording is set aside: " in words
        assert "fetched from the ship again" in words
        assert held(logs)["public"] == Held()
        take(logs, FIRST + SECOND)
    assert (tmp_path / "public" / "dive-001.recording.set-aside").read_bytes() == rotten
    assert (tmp_path / "public" / "dive-002.recording.set-aside").read_bytes() == b"".join(SECOND)
    with opened(tmp_path) as logs:
        assert (logs.set_aside, frames_of(logs)) == ([], FIRST + SECOND)


def test_record_with_a_pad_beyond_every_bound_is_set_aside(tmp_path: Path) -> None:
    """Whatever lies there, the shore starts, says which file it was, and what it was is fetched again."""
    with opened(tmp_path) as logs:
        take(logs, FIRST + SECOND)
    (tmp_path / "public" / "dive-002.recording").write_bytes(overlong(SECOND[0]))
    with opened(tmp_path) as logs:
        assert "dive-002.recording is set aside: " in logs.set_aside[0]
        assert frames_of(logs) == FIRST
        assert take(logs, SECOND) == SECOND


def test_lost_file_and_a_dive_without_its_end_are_holes_that_are_filled_again(tmp_path: Path) -> None:
    """What came later is fetched again, so that no follower is ever shown a log with a hole."""
    third = sealed(dive(3, 1))
    for hurt in ("lost", "cut"):
        folder = tmp_path / hurt
        with opened(folder) as logs:
            take(logs, FIRST + sealed(dive(2, 3)) + third)
        path = folder / "public" / "dive-002.recording"
        path.unlink() if hurt == "lost" else path.write_bytes(path.read_bytes()[:300])
        with opened(folder) as logs:
            assert "what comes between dive" in logs.set_aside[0]
            left, every = frames_of(logs), FIRST + sealed(dive(2, 3)) + third
            assert left == every[: len(left)]
            assert len(left) < len(FIRST) + 3
            rest = every[len(left) :]
            assert take(logs, rest) == rest


def hurt(folder: Path, how: str) -> None:
    """Lose the first dives of three."""
    paths = [folder / "public" / f"dive-00{number}.recording" for number in (1, 2)]
    if how == "emptied":
        paths[0].write_bytes(b"")
        return
    for path in paths[: 1 if how == "the first" else 2]:
        path.unlink()
    if how == "emptied, and the list lost":
        paths[0].write_bytes(b"")
    if "list" in how:
        (folder / "public" / "dives.begun").unlink()


@pytest.mark.parametrize("how", ["emptied", "the first", "two", "emptied, and the list lost"])
def test_first_dives_that_are_lost_are_noticed_and_fetched_again(how: str, tmp_path: Path) -> None:
    """A log never begins later than it did: what came after is set aside, and the ship sends all of it."""
    every = FIRST + sealed(dive(2, 3)) + sealed(dive(3, 1))
    with opened(tmp_path) as logs:
        take(logs, every)
    hurt(tmp_path, how)
    with opened(tmp_path) as logs:
        assert "dive-00" in logs.set_aside[0] and "missing; it is fetched from the ship again" in logs.set_aside[0]
        assert held(logs)["public"] == Held()
        assert take(logs, every) == every
    with opened(tmp_path) as logs:
        assert (logs.set_aside, frames_of(logs)) == ([], every)


def test_dive_that_the_ship_lost_is_no_hole(tmp_path: Path) -> None:
    """She sends 2 and 4, for the recordings of 1 and 3 can't be read aboard: each start holds both, and goes on."""
    some = sealed(dive(2, 3)) + sealed(dive(4, 1))
    with opened(tmp_path) as logs:
        assert take(logs, some) == some
    for number in (6, 7):
        with opened(tmp_path) as logs:
            assert (logs.set_aside, frames_of(logs)) == ([], some)
            some += take(logs, sealed(dive(number, 1)))
    (tmp_path / "public" / "dive-004.recording").unlink()
    with opened(tmp_path) as logs:
        assert "what comes between dive 2 and it is missing" in logs.set_aside[0]
        assert frames_of(logs) == some[: len(sealed(dive(2, 3)))]


def test_what_was_set_aside_before_stays(tmp_path: Path) -> None:
    """Damaged twice, there are two files beside; a file by another name of a dive is nobody's, and stays as it is."""
    for at in (90, 91, 700):
        with opened(tmp_path) as logs:
            take(logs, FIRST)
        damaged(tmp_path, at)
    stray = tmp_path / "public" / "dive-0001.recording"
    stray.write_bytes(b"")
    with opened(tmp_path) as logs:
        assert (len(logs.set_aside), held(logs)["public"]) == (1, Held())
    assert len({path.read_bytes() for path in tmp_path.rglob("*.set-aside*")}) == 3
    assert stray.exists()


def test_programme_that_was_altered_is_set_aside(tmp_path: Path) -> None:
    """The dives stay, the programme comes again."""
    with opened(tmp_path) as logs:
        take(logs, FIRST + TOLD)
    path = tmp_path / "public" / "programme.record"
    path.write_bytes(path.read_bytes().replace(b"Now.", b"Not."))
    with opened(tmp_path) as logs:
        assert "programme.record is set aside" in logs.set_aside[0]
        assert (held(logs)["public"].programme, frames_of(logs)) == (-1, FIRST)
        assert take(logs, TOLD[1:]) == TOLD[1:]


def test_full_disk_holds_nothing_of_the_batch_and_goes_on_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However far the write came: not held, so not acknowledged; the same records come again, and the file is whole."""
    for syncs in range(3):
        folder = tmp_path / str(syncs)
        with opened(folder) as logs:
            take(logs, FIRST[:2])
            left = [syncs]

            def full(handle: int, left: list[int] = left, really: object = os.fsync) -> None:
                if left[0] == 0:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                left[0] -= 1

            with monkeypatch.context() as patched:
                patched.setattr(os, "fsync", full)
                with pytest.raises(NoRoomError, match="take what came: No space left on device"):
                    logs.write("public", FIRST[2:] + SECOND)
                assert held(logs)["public"].seq == 1
            assert take(logs, FIRST[2:] + SECOND) == FIRST[2:] + SECOND
        with opened(folder) as logs:
            assert (logs.set_aside, frames_of(logs)) == ([], FIRST + SECOND)


def test_two_shores_never_share_a_folder(tmp_path: Path) -> None:
    """The second one is refused, and can have it when the first is gone."""
    with opened(tmp_path), pytest.raises(ShoreError, match="is another shore's, which runs"), opened(tmp_path):
        pass
    with opened(tmp_path) as logs:
        assert take(logs, FIRST) == FIRST


def test_write_that_the_kernel_breaks_off_is_written_over(tmp_path: Path) -> None:
    """A real limit on a file's size, in the middle of a record: nothing of the batch is held, then all of it, once."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    for room in (1, 100, 700):
        with opened(tmp_path / str(room)) as logs:
            take(logs, FIRST[:2])
            size = sum(map(len, FIRST[:2]))
            try:
                resource.setrlimit(resource.RLIMIT_FSIZE, (size + room, before[1]))
                with pytest.raises(NoRoomError, match="File too large"):
                    logs.write("public", FIRST[2:])
            finally:
                resource.setrlimit(resource.RLIMIT_FSIZE, before)
            path = tmp_path / str(room) / "public" / "dive-001.recording"
            assert size < path.stat().st_size <= size + room
            assert take(logs, FIRST[2:]) == FIRST[2:]
        assert path.read_bytes() == b"".join(FIRST) + footer(FIRST)


def test_names_of_a_recording_are_synced_also_where_its_first_sync_failed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a sync that failed the file is there, its name on the disk isn't: the next try syncs its folders."""
    synced: list[Path] = []
    monkeypatch.setattr("relay.shell.shore.shore_logs.sync_folder", synced.append)

    def fails(descriptor: int) -> None:
        if Path(f"/proc/self/fd/{descriptor}").readlink().suffix == ".recording":  # proc(5)
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    with opened(tmp_path / "held") as logs:
        with monkeypatch.context() as failing:
            failing.setattr(os, "fsync", fails)
            with pytest.raises(NoRoomError):
                logs.write("public", FIRST)
        assert (tmp_path / "held" / "public" / "dive-001.recording").exists()
        synced.clear()
        assert take(logs, FIRST) == FIRST
    assert synced[-2:] == [tmp_path / "held" / "public", tmp_path / "held"]
