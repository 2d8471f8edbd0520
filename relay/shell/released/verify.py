"""`offing verify`: whose recordings are, whether anything in them was altered, dropped or put in, what proofs prove.

Rules: every file is judged, and each fault is told; what is unsigned, unfinished or wrong ends with 2, for a script
must not take it for good; without a key from elsewhere the answer says what it doesn't prove.
"""

import argparse
import errno
import re
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from relay.core.errors import OperatorError, ProofError, RecordingError
from relay.core.proof import PROOF_LIMIT, SUFFIX, is_proof
from relay.core.seal import is_sealed, parse_key
from relay.core.verification import Examined, examine
from relay.shell.exit_code import FAULT
from relay.shell.proofs.verifying import NOT_PROVED, judge
from relay.shell.released.printable import printable
from relay.shell.released.programme_file import NAME as PROGRAMME
from relay.shell.released.programme_file import read_programme

MOST_FAULTS = 20
_NAME = re.compile(r"dive-(\d{3,})\.recording", re.ASCII)


@dataclass(frozen=True, slots=True)
class _File:
    """What is to be said of one file; `audience`: None where it could not be read."""

    path: Path
    told: str
    faults: tuple[str, ...]
    audience: str | None = None
    key: bytes | None = None
    dive: int = 0
    proved: tuple[str, ...] = ()


def verify(options: argparse.Namespace) -> int:
    """Print what was found, file by file, and what it proves; 2 if anything is wrong."""
    given = _key(options.key)
    proofs, paths = _apart(_paths(options.recordings))
    dives = [_recording(path, given, options.unfinished) for path in paths if path.name != PROGRAMME]
    keys = list(dict.fromkeys(file.key for file in dives if file.key is not None))
    programmes = [_programme(path, given, dives) for path in paths if path.name == PROGRAMME]
    files = [*dives, *programmes, *_proofs(proofs, dives, given, keys)]
    told = [*_lines(files), "", *([] if proofs else _missing(files)), *_proves(files, given, keys)]
    if any(file.proved for file in files):
        told += ["", *NOT_PROVED]
    for line in told:
        print(line)
    return FAULT if any(file.faults for file in files) or (given is None and len(keys) > 1) else 0


def _key(text: str | None) -> bytes | None:
    try:
        return None if text is None else parse_key(text)
    except ValueError as error:
        raise OperatorError(f"--key: {error}") from error


def _paths(given: Iterable[Path]) -> Iterator[Path]:
    for path in given:
        found = [path] if not path.is_dir() else [*sorted(path.glob("dive-*.recording")), *path.glob(PROGRAMME)]
        if not found:
            raise OperatorError(f"{path} holds no dive-NNN.recording: name the folder of one audience's recordings")
        yield from found


def _apart(paths: Iterable[Path]) -> tuple[list[Path], list[Path]]:
    """Return which files are proofs, by name or by how they begin, and which aren't."""
    proofs, others = list[Path](), list[Path]()
    for path in paths:
        (proofs if path.suffix == SUFFIX or _begins_as_proof(path) else others).append(path)
    return proofs, others


def _begins_as_proof(path: Path) -> bool:
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return is_proof(file.read(1))
    except OSError:
        return False  # whoever reads it as a recording says why


def _proofs(paths: Iterable[Path], dives: Iterable[_File], given: bytes | None, keys: list[bytes]) -> Iterator[_File]:
    """Yield what is to be said of each proof, by the recordings without a fault, if one hand signed them all."""
    one = given is not None or len(keys) == 1
    good = [file for file in dives if file.audience is not None and not file.faults and one]
    wrong = {(file.audience, file.dive) for file in dives if file.audience is not None and file not in good}
    recordings = {file.path: _bytes(file.path) for file in good} if paths else {}
    for path in paths:
        try:
            judged = judge(_bytes(path, PROOF_LIMIT), recordings, wrong, keys[0] if one and given is None else None)
        except OSError as error:
            yield _File(path, "can't be read", (str(error.strerror),))
        except ProofError as error:
            yield _File(path, "no proof", (str(error),))
        else:
            yield _File(path, judged.told, judged.faults, proved=judged.proved)


def _bytes(path: Path, limit: int | None = None) -> bytes:
    """Return what is in a file, and in nothing else; ProofError if that is more than a limit."""
    state = path.stat()
    if not stat.S_ISREG(state.st_mode):
        raise OSError(errno.EINVAL, "it is no file")
    if limit is not None and state.st_size > limit:
        raise ProofError(f"it has more than {limit >> 20} MiB, as no proof of Offing's: let fewer rows be proved")
    return path.read_bytes()


def _recording(path: Path, key: bytes | None, unfinished: bool) -> _File:
    try:
        found = examine(_bytes(path), key)
    except OSError as error:
        return _File(path, "can't be read", (str(error.strerror),))
    except RecordingError:  # nothing could be read: how it isn't a record helps nobody
        return _File(path, "is no recording", ("it is no recording of Offing, or its first record is damaged",))
    faults = [*found.faults]
    if found.unsigned:
        faults.append("unsigned: nobody can check whose it is (an Offing before signatures, or they were taken out)")
    if not found.ended and not unfinished and not found.faults:
        faults.append("its end is missing: the dive goes on, or it was cut off (--unfinished takes it as it is)")
    named = _NAME.fullmatch(path.name)
    if named is not None and int(named[1]) != found.dive:
        faults.append(f"it is called {path.name}, and its records are of dive {found.dive}")
    return _File(path, _told(found), tuple(faults), found.audience, found.key, found.dive)


def _told(found: Examined) -> str:
    torn = f", then {found.torn_octets} bytes of one that is cut off" if found.torn_octets else ""
    what = f"{printable(found.expedition)}, for {printable(found.audience)}, dive {found.dive}"
    records = "1 record" if found.records == 1 else f"{found.records} records"
    return f"{what}: {records}{torn}{', to its end' if found.ended else ''}"


def _programme(path: Path, given: bytes | None, dives: Iterable[_File]) -> _File:
    """Judge the programme with the key and for the audience of the recordings beside it."""
    beside = next((file for file in dives if file.path.parent == path.parent and file.audience is not None), None)
    audience = beside.audience if beside is not None else path.resolve().parent.name
    key = given or (beside.key if beside is not None else None)
    told = f"the programme for {printable(audience or '')}"
    try:
        record = read_programme(path)
        if record is None:
            return _File(path, told, ("No such file",))
        if key is None:
            return _File(path, told, ("no key to check it with: give --key, or a signed recording beside it",))
        good = is_sealed(key, audience or "", record.data)
    except RecordingError as error:
        return _File(path, told, (str(error),))
    return _File(path, told, () if good else ("altered, or not signed with this key",))


def _lines(files: Iterable[_File]) -> Iterator[str]:
    for file in files:
        yield f"{printable(str(file.path))}: {file.told}"
        yield from (f"  {line}" for line in file.proved)
        for fault in file.faults[:MOST_FAULTS]:
            yield f"  WRONG: {fault}"
        if len(file.faults) > MOST_FAULTS:
            yield f"  WRONG: and {len(file.faults) - MOST_FAULTS} more"


def _missing(files: list[_File]) -> Iterator[str]:
    """Yield which dives aren't among recordings: of interest where all were meant, and not beside a proof."""
    for audience in sorted({file.audience for file in files if file.audience is not None}):
        numbers = sorted({0, *(file.dive for file in files if file.audience == audience)})
        for before, after in pairwise(numbers):
            if after - before > 1:
                missing = f"dive {before + 1}" if after - before == 2 else f"dives {before + 1} to {after - 1}"
                yield f"Not among these: {missing} for {printable(audience)}."


def _proves(files: list[_File], given: bytes | None, keys: list[bytes]) -> Iterator[str]:
    """Yield what all of it comes to."""
    if any(file.faults for file in files):
        yield "NOT VERIFIED: see what is wrong above."
    elif given is not None:
        yield f"Verified: every record was signed with the key given, {given.hex()}, and is as it was signed."
    elif len(keys) > 1:
        yield f"NOT VERIFIED: they name {len(keys)} keys, so several hands wrote them: check with --key."
    else:
        yield f"Every record is as it was signed, with the key that the recordings name: {keys[0].hex()}"
        yield "That proves only that one hand wrote it all, not whose hand. Compare it with the key that `offing key`"
        yield "prints on board, or give that with --key."
