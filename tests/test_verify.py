"""`offing verify`: what it says of files from whomever, and what a script may take for good."""

from pathlib import Path

import msgpack
import pytest

from dives import SIGNER
from handed_on import STRANGER, named, rewritten, unsigned, whole
from relay.__main__ import main
from relay.core.wire import footer, is_footer, objects
from released import dive, programme

KEY = SIGNER.key.hex()


def put(folder: Path, number: int, *, audience: str = "public", closed: bool = True) -> Path:
    """Write a recording as the ship does."""
    frames = [frame.data for frame in dive(number, 4, audience=audience, closed=closed)]
    path = folder / f"dive-{number:03d}.recording"
    folder.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"".join(frames) + (footer(frames) if closed else b""))
    return path


def alter(path: Path, at: int) -> None:
    """Change one bit, in a file that is otherwise as it was; its footer made to fit."""
    data = bytearray(path.read_bytes())
    data[at] ^= 1
    spans = [(start, end) for value, start, end in objects(bytes(data)) if not is_footer(value)]
    frames = [bytes(data[start:end]) for start, end in spans]
    path.write_bytes(whole(frames))


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    """Run the command; return its code, and what it said."""
    code = main(["verify", *map(str, arguments)])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_folder_of_the_ships_is_verified_with_her_key(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Recordings and programme of an audience, from the folder that holds them."""
    folder = tmp_path / "public"
    first, second = put(folder, 1), put(folder, 2)
    (folder / "programme.record").write_bytes(programme(3, "The boiler.").data)
    code, said, complaints = run(capsys, folder, "--key", KEY)
    assert (code, complaints) == (0, "")
    told = "The search for the Isoline Marr, for public, dive"
    assert said == (
        f"{first}: {told} 1: 6 records, to its end\n{second}: {told} 2: 6 records, to its end\n"
        f"{folder / 'programme.record'}: the programme for public\n\n"
        f"Verified: every record was signed with the key given, {KEY}, and is as it was signed.\n"
    )


def test_without_a_key_it_says_what_that_proves(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One hand wrote it all, whose is not known; two keys are two hands, and then it is not verified."""
    path = put(tmp_path, 1)
    code, said, _ = run(capsys, path)
    assert code == 0
    assert f"with the key that the recordings name: {KEY}\nThat proves only that one hand wrote it all" in said
    other = put(tmp_path / "other", 2)
    other.write_bytes(whole(rewritten([frame.data for frame in dive(2, 4)])))
    assert run(capsys, other)[0] == 0
    code, said, _ = run(capsys, path, other)
    assert code == 2
    assert "NOT VERIFIED: they name 2 keys" in said
    code, said, _ = run(capsys, path, other, "--key", KEY)
    assert (code, said.count("WRONG")) == (2, 2)
    assert f"WRONG: the first record names another key, {STRANGER.key.hex()}" in said


def test_each_wrong_file_is_told_and_the_others_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is wrong with which record, what can't be read, which dive is missing; it ends with 2."""
    _, bad = put(tmp_path, 1), put(tmp_path, 3)
    alter(bad, len(dive(3, 4)[0].data) + len(dive(3, 4)[1].data) + 8)
    torn = put(tmp_path, 5, closed=False)
    (tmp_path / "dive-006.recording").write_text("hello")
    code, said, _ = run(capsys, tmp_path, tmp_path / "dive-009.recording", "--key", KEY)
    assert code == 2
    assert f"dive 1: 6 records, to its end\n{bad}" in said
    told = "The search for the Isoline Marr, for public, dive"
    assert f"{bad}: {told} 3: 6 records, to its end\n  WRONG: record 2: altered" in said
    assert f"{torn}: {told} 5: 5 records\n  WRONG: its end is missing" in said
    assert "dive-006.recording: is no recording\n  WRONG: it is no recording of Offing" in said
    assert "dive-009.recording: can't be read\n  WRONG: No such file or directory\n" in said
    assert "Not among these: dive 2 for public.\nNot among these: dive 4 for public.\nNOT VERIFIED" in said


def test_names_in_a_hostile_recording_are_not_taken_for_words_of_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A name neither writes a line of its own nor commands the terminal; a dive's number keeps nobody busy."""
    frames = [frame.data for frame in dive(1, 2)]
    names = {"expedition": "x\nVerified: all is well\x1b[2J", "audience": "y\x9b31m", "key": STRANGER.key.hex()}
    head = msgpack.unpackb(named(frames[0], **names))
    body = b"".join(map(msgpack.packb, [2**62, *head[1:5]]))
    frame = STRANGER.seal(names["audience"], b"\x96" + body + b"\xc5\x00\x40" + bytes(64))
    path = tmp_path / "x.recording"
    path.write_bytes(frame)
    code, said, _ = run(capsys, path, "--unfinished")
    assert code == 0
    assert said.splitlines()[0].endswith(f"for y\ufffd31m, dive {2**62}: 1 record")
    assert not any(line.startswith("Verified") for line in said.splitlines())
    assert "\x1b" not in said
    assert f"Not among these: dives 1 to {2**62 - 1} for y\ufffd31m." in said


def test_dive_handed_on_under_another_number_is_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An earlier dive given out again as the newest; under a name of its reader's own it is what it is."""
    path = put(tmp_path, 1)
    again = path.rename(tmp_path / "dive-002.recording")
    code, said, _ = run(capsys, again, "--key", KEY)
    assert code == 2
    assert "WRONG: it is called dive-002.recording, and its records are of dive 1" in said
    assert run(capsys, again.rename(tmp_path / "boiler.recording"), "--key", KEY)[0] == 0


def test_dive_that_goes_on_is_verified_where_that_is_meant(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever cuts off the end looks like a dive that goes on: taken only if asked for, and a torn tail is told."""
    path = put(tmp_path, 1, closed=False)
    path.write_bytes(path.read_bytes() + dive(1, 5)[5].data[:33])
    assert run(capsys, path, "--key", KEY)[0] == 2
    code, said, _ = run(capsys, path, "--key", KEY, "--unfinished")
    assert code == 0
    assert "dive 1: 5 records, then 33 bytes of one that is cut off\n" in said


def test_unsigned_recording_is_never_verified(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of an Offing before signatures: it can be read, and nothing is proved."""
    path = tmp_path / "dive-001.recording"
    path.write_bytes(whole(unsigned([frame.data for frame in dive(1, 4)])))
    for more in ((), ("--key", KEY), ("--unfinished",)):
        code, said, _ = run(capsys, path, *more)
        assert code == 2
        assert "WRONG: unsigned: nobody can check whose it is" in said


def test_long_list_of_faults_is_cut(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Twenty are told, and how many more there are."""
    frames = [frame.data for frame in dive(1, 80)]
    kept = [*frames[:1], *frames[1::2]]
    path = tmp_path / "x.recording"
    path.write_bytes(whole(kept))
    _, said, _ = run(capsys, path)
    assert said.count("WRONG: record") == 20
    assert "  WRONG: and 20 more\n" in said


@pytest.mark.parametrize("key", ["", "d75a98", KEY.upper(), KEY + "00"])
def test_wrong_key_is_refused_before_anything_is_read(key: str, capsys: pytest.CaptureFixture[str]) -> None:
    """It says how a key is written."""
    code, said, complaints = run(capsys, "nowhere", "--key", key)
    assert (code, said) == (2, "")
    assert complaints == "--key: a ship's key is 64 hexadecimal digits, letters small, as `offing key` prints it\n"


def test_programme_is_judged_beside_its_recordings_or_with_a_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another audience's, an altered one and one without a key are not taken; nor is an empty folder."""
    folder = tmp_path / "public"
    put(folder, 1)
    path = folder / "programme.record"
    for data, words in (
        (programme(3, "The boiler.", audience="press").data, "altered, or not signed"),
        (programme(3, "The boiler.").data[:-1] + b"\1", "altered, or not signed"),
        (dive(1, 1)[0].data, "holds no programme"),
        (b"\xc1", "not a record"),
    ):
        path.write_bytes(data)
        code, said, _ = run(capsys, folder)
        assert code == 2
        assert words in said
    path.write_bytes(programme(3, "The boiler.").data)
    assert run(capsys, folder)[0] == 0
    assert run(capsys, path, "--key", KEY)[0] == 0
    code, said, _ = run(capsys, path)
    assert code == 2
    assert "no key to check it with" in said
    (tmp_path / "empty").mkdir()
    code, _, complaints = run(capsys, tmp_path / "empty")
    assert code == 2
    assert "holds no dive-NNN.recording" in complaints
