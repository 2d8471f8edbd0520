"""What a proof proves beside a recording: said in words, or why it proves nothing."""

import os
from dataclasses import replace
from pathlib import Path

import pytest

from dives import SIGNER
from flipped_bits import flip
from handed_on import STRANGER, rewritten, whole
from relay.__main__ import main
from relay.core.model import RowKind
from relay.core.proof import PROOF_LIMIT, write_proof
from relay.core.wire import is_footer, objects
from relay.shell.proofs.verifying import judge
from sealed_dives import journal_rows, prove, sealed_recording

JOURNAL = journal_rows()
PROOF = prove(JOURNAL, [3, 42])
RECORDING = {Path("dive-001.recording"): sealed_recording(JOURNAL)}
TARGET = next(row.seq for row in JOURNAL if row.kind is RowKind.DECISION)


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    """Run the command; return its code, and what it said."""
    code = main(["verify", *map(str, arguments)])
    return code, capsys.readouterr().out


def files(folder: Path, proof: bytes, recording: bytes) -> tuple[Path, Path]:
    """Write the two files that somebody ashore has."""
    paths = folder / "boiler.proof", folder / "dive-001.recording"
    for path, data in zip(paths, (proof, recording), strict=True):
        path.write_bytes(data)
    return paths


def test_rows_are_proved_from_the_two_files_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The row, byte for byte, before which record, with what it says, and what that doesn't prove."""
    paths = files(tmp_path, write_proof(prove(JOURNAL, [3, TARGET])), sealed_recording(JOURNAL))
    unnamed = f"Sealed by whoever holds the key {SIGNER.key.hex()}: row 3 of a journal, byte for byte as below, was in"
    code, said = run(capsys, *paths)
    assert code == 0
    assert "PROVED" not in said and "ship's journal" not in said
    assert unnamed in said
    for more in (("--key", SIGNER.key.hex()),):
        code, said = run(capsys, *paths, *more)
        assert code == 0
        assert "Not among these" not in said
        assert (
            f"{paths[0]}: a proof of 2 rows of the exact record: The search for the Isoline Marr, dive 1 for public"
            in said
        )
        assert (
            "PROVED: row 3 of the ship's journal, byte for byte as below, was in her exact record before it was" in said
        )
        assert "sealed by record 2 of the dive (dive time 0:00:00)" in said
        assert "sealed by record 17 of the dive (dive time 0:03:00)" in said
        assert f"bytes: {JOURNAL[2].data.decode().strip()[:60]}" in said
        assert "read as JSON, station message: vehicle Lantern, latitude -38.6147" in said
        assert "name: Boiler" in said
        assert "so the target lies at: latitude -38.6" in said
        assert "doesn't prove: that the ship's clock or the instrument was right" in said
    assert f"Verified: every record was signed with the key given, {SIGNER.key.hex()}" in said


def test_proof_without_its_recording_proves_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Alone, or beside that of another dive or audience: it says which it needs."""
    proof, recording = files(tmp_path, write_proof(PROOF), sealed_recording(JOURNAL, dive=1))
    code, said = run(capsys, proof)
    assert code == 2
    assert "WRONG: the recording of dive 1 for public isn't among the files: give it, too\n\nNOT VERIFIED" in said
    for others in ({"dive": 2}, {"audience": "press"}):
        recording.write_bytes(sealed_recording(JOURNAL, **others))  # type: ignore[arg-type]
        code, said = run(capsys, proof, recording.rename(tmp_path / "x.recording"))
        assert code == 2
        assert "isn't among the files" in said
        (tmp_path / "x.recording").rename(recording)
    assert run(capsys, tmp_path / "nowhere.proof", recording)[0] == 2


def test_proof_by_a_recording_that_is_wrong_is_not_verified(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The seal leads to nothing if the record that has it was altered, or is a stranger's."""
    data = sealed_recording(JOURNAL)
    seal = [(start, end) for _, start, end in objects(data)][2]
    paths = files(tmp_path, write_proof(PROOF), flip(data, 8 * (seal[0] + 10)))
    code, said = run(capsys, *paths)
    assert code == 2
    assert "record 2: altered, or not signed with this key" in said
    refused = "WRONG: not proved: the recording of dive 1 for public isn't the ship's, was altered, or isn't whole: see"
    assert refused in said
    assert "NOT VERIFIED" in said
    paths = files(tmp_path, write_proof(PROOF), data)
    more = ("--key", SIGNER.key.hex()), ("--key", STRANGER.key.hex())
    for recording, key in ((data, more[1]), (data, ("--key", "00" * 32)), (whole(rewritten(_frames(data))), more[0])):
        paths[1].write_bytes(recording)
        code, said = run(capsys, *paths, *key)
        assert (code, refused in said) == (2, True)
        assert not any(words in said for words in ("PROVED", "Sealed by", "latitude"))
    other = tmp_path / "dive-002.recording"
    other.write_bytes(whole(rewritten(_frames(sealed_recording(JOURNAL, dive=2)))))
    paths[1].write_bytes(data)
    code, said = run(capsys, *paths, other)
    assert (code, "PROVED" in said, "Sealed by" in said) == (2, False, False)
    paths[1].write_bytes(b"".join(_frames(data)[:-1]))
    assert "PROVED" not in run(capsys, *paths, *more[0])[1]


def _frames(data: bytes) -> list[bytes]:
    return [data[start:end] for value, start, end in objects(data) if not is_footer(value)]


def test_what_keeps_the_reader_busy_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No file, or more than a proof ever has; at the limit it is read."""
    proof, recording = files(tmp_path, b"{" + b" " * PROOF_LIMIT, sealed_recording(JOURNAL))
    code, said = run(capsys, proof, recording)
    assert (code, "it has more than 16 MiB" in said) == (2, True)
    proof.write_bytes(b"{" + b" " * (PROOF_LIMIT - 1))
    assert "not a proof as Offing writes it" in run(capsys, proof, recording)[1]
    pipes = tmp_path / "pipe.proof", tmp_path / "pipe.recording"
    for path in pipes:
        os.mkfifo(path)
    for path in (*pipes, Path("/dev/zero")):
        code, said = run(capsys, path, recording)
        assert (code, "it is no file" in said) == (2, True)


def test_file_of_a_hostile_name_is_harmless(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its name is a text of somebody's."""
    path = tmp_path / "x\x1b[2J\nVerified.recording"
    path.write_bytes(sealed_recording(JOURNAL))
    said = run(capsys, path)[1]
    assert "\x1b" not in said
    assert not any(line.startswith("Verified") for line in said.split("\n"))


@pytest.mark.parametrize("member", ["seq", "embargo_us", "wall_s", "source", "kind", "data"])
def test_row_that_was_altered_by_whoever_can_write_sums_is_not_proved(member: str) -> None:
    """Each member of a row is in its hash; the other row of the proof is proved all the same."""
    values = {"seq": 4, "embargo_us": 1, "wall_s": 1.5, "source": "bow", "kind": RowKind.WHOLE, "data": b"elsewhere"}
    first = PROOF.records[0]
    row = replace(first.row, **{member: values[member]})  # type: ignore[arg-type]
    judged = judge(write_proof(replace(PROOF, records=(replace(first, row=row), PROOF.records[1]))), RECORDING)
    assert len(judged.faults) == 1
    assert "record 1 of the proof" in judged.faults[0]
    assert [line.partition(",")[0] for line in judged.proved if line.startswith("PROVED")] == [
        "PROVED: row 42 of the ship's journal"
    ]


def test_proof_that_names_no_seal_or_no_way_is_told() -> None:
    """A record that is a tick, one that isn't there, and a path that can be none."""
    first = PROOF.records[0]
    for changed, words in (
        (replace(first, sealed_by=1), "it names record 1 of the dive, which is no seal"),
        (replace(first, sealed_by=900), "it names record 900 of the dive, which is no seal"),
        (replace(first, sealed_by=7), "its hashes don't lead to the seal in record 7"),
        (replace(first, way=replace(first.way, minutes=0)), "its hashes lead nowhere"),
    ):
        (fault,) = judge(write_proof(replace(PROOF, records=(changed,))), RECORDING).faults
        assert words in fault


def test_proof_of_another_ships_record_leads_to_no_seal_of_hers() -> None:
    """Made as well, of a journal that differs in one row of the minute, it doesn't fit."""
    other = [replace(row, data=b"{}") if row.seq == 4 else row for row in JOURNAL]
    (fault,) = judge(write_proof(prove(other, [3])), RECORDING).faults
    assert "the row, its salt or a hash was altered, or it is of another journal" in fault


def test_names_in_a_hostile_proof_are_not_taken_for_words_of_the_command() -> None:
    """Whoever makes a proof and a recording of his own commands no terminal."""
    row = replace(PROOF.records[0].row, source="x\nPROVED: all\x1b[2J")
    judged = judge(write_proof(replace(PROOF, audience="y\n", records=(replace(PROOF.records[0], row=row),))), {})
    assert not any("\n" in line or "\x1b" in line for line in (judged.told, *judged.faults, *judged.proved))
