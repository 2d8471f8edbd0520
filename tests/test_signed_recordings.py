"""Commands that read recordings: what isn't as it was signed is refused, what is unsigned is called so."""

import json
from pathlib import Path

import pytest

from dives import SIGNER
from handed_on import STRANGER, altered, rewritten, unsigned, whole
from relay.__main__ import main
from relay.core.errors import OperatorError, RecordingError
from relay.shell.released.publish import publish
from relay.shell.released.recording import load_signed
from relay.shell.site.public_files import Telling
from relay.shell.site.site_files import site_folder
from released import dive, dive_with_everything, programme

FRAMES = [frame.data for frame in dive(1, 5)]
COMMANDS = ("show", "show figures", "brief", "export", "publish")


def run(command: str, recording: Path, to: Path) -> int:
    """Run a command that reads a recording."""
    arguments = {
        "show": ["show", recording],
        "show figures": ["show", recording, "--figures"],
        "brief": ["brief", recording, "-o", to / "dive.html"],
        "export": ["export", recording, "-o", to / "dive.csv"],
        "publish": ["publish", recording, "--out", to / "web"],
    }[command]
    return main([str(word) for word in arguments])


def put(folder: Path, frames: list[bytes]) -> Path:
    """Write a recording."""
    folder.mkdir(exist_ok=True)
    path = folder / "dive-001.recording"
    path.write_bytes(whole(frames))
    return path


@pytest.mark.parametrize("command", COMMANDS)
def test_record_that_is_not_as_it_was_signed_is_refused(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A footer made to fit doesn't help: the record is named, nothing is written, and it ends with 2."""
    path = put(tmp_path / "in", [*FRAMES[:3], altered(FRAMES[3], 8), *FRAMES[4:]])
    assert run(command, path, tmp_path) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert f"{path}: record 3: altered, or not signed with this key. `offing verify` tells more" in said.err
    assert list(tmp_path.iterdir()) == [tmp_path / "in"]


@pytest.mark.parametrize("command", COMMANDS)
def test_unsigned_recording_is_read_and_called_so(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Recordings of before signatures can still be used; of one that is signed nothing is said."""
    path = put(tmp_path / "old", unsigned(FRAMES))
    assert run(command, path, tmp_path) == 0
    assert f"{path}: unsigned: nobody can check that it is the ship's\n" in capsys.readouterr().err
    (tmp_path / "again").mkdir()
    assert run(command, put(tmp_path / "new", FRAMES), tmp_path / "again") == 0
    assert "unsigned" not in capsys.readouterr().err


def test_published_recordings_are_of_one_key_and_so_is_the_programme_beside_them(tmp_path: Path) -> None:
    """Two hands' recordings aren't mixed; a programme of another hand, or of another audience, isn't given out."""
    folder, telling = tmp_path / "public", Telling("")
    put(folder, FRAMES)
    other = folder / "dive-002.recording"
    other.write_bytes(whole(rewritten([frame.data for frame in dive(2, 3)])))
    with pytest.raises(OperatorError, match=f"different keys, {SIGNER.key.hex()} and {STRANGER.key.hex()}"):
        publish([folder], tmp_path / "out", site_folder(), telling)
    other.write_bytes(whole(unsigned([frame.data for frame in dive(2, 3)])))
    told = folder / "programme.record"
    for lie in (programme(0, "x", audience="press").data, STRANGER.seal("public", programme(0, "x").data)):
        told.write_bytes(lie)
        with pytest.raises(RecordingError, match=r"programme\.record isn't as the recordings beside it were signed"):
            publish([folder], tmp_path / "out", site_folder(), telling)
    told.write_bytes(programme(0, "The boiler.").data)
    assert publish([folder], tmp_path / "out", site_folder(), telling).unsigned == (other,)
    assert json.loads((tmp_path / "out/programme.json").read_bytes())["programme"]["pinned"] == "The boiler."


def test_open_recording_is_as_good_as_it_goes(tmp_path: Path) -> None:
    """One that was cut off within a record is checked as far as it goes."""
    path = tmp_path / "open.recording"
    path.write_bytes(b"".join(FRAMES[:4]) + FRAMES[4][:-1])
    assert (load_signed(path).signed, len(load_signed(path).records)) == (True, 4)
    path.write_bytes(b"".join([*FRAMES[:3], altered(FRAMES[3], len(FRAMES[3]) - 1)]))
    with pytest.raises(RecordingError, match="record 3: altered"):
        load_signed(path)


def test_tree_heads_are_shown_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In hexadecimal, as whoever compares one with a proof needs it; of a picture its size and digest would do."""
    path = put(tmp_path, [frame.data for frame in dive_with_everything(1)])
    assert run("show", path, tmp_path) == 0
    records = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    heads = [record["body"] for record in records if record["kind"] == "head"]
    assert heads == [[bytes(range(32)).hex()], [bytes(range(32, 64)).hex()]]
