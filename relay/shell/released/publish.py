"""A folder that can be browsed: the built site, recordings, and the pages made of them, for any static web server.

Rules: made from closed, verified recordings of one audience and one expedition, never from anything private; the bytes
are those that a relay would give out, but that a folder counts nothing down: it stays as it is. What lies in the folder
from somebody else is never touched. What a recording says of itself is taken for what anybody may have written.
"""

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from relay.core.errors import OperatorError, RecordingError
from relay.core.history import History
from relay.core.seal import is_sealed
from relay.core.summary import summary
from relay.core.verification import key_of
from relay.core.wire import Recording
from relay.shell.plan.expedition_form import SLUG
from relay.shell.released.programme_file import NAME as PROGRAMME
from relay.shell.released.programme_file import read_programme
from relay.shell.released.recording import check_told, load_signed
from relay.shell.site.made_pages import Shelf, dive_html, dive_svg
from relay.shell.site.page_words import EN
from relay.shell.site.public_files import PublicFiles, Telling

LIST = "published.json"
MOST_DIVES = 999_999_999


class _Record(NamedTuple):
    """A record of a recording as a history takes it."""

    audience: str
    dive: int
    seq: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: how many dives and files; the recordings left out, with why; and those that nobody signed."""

    dives: int
    files: int
    left_out: tuple[str, ...]
    unsigned: tuple[Path, ...]


def publish(recordings: Iterable[Path], to: Path, site: Path, telling: Telling) -> Written:
    """Write a browsable folder. An empty `telling.expedition` takes the recordings' own.

    `recordings`: files, or folders of them; `site`: the built page. Raises OperatorError (RecordingError for a
    recording that is damaged) before anything is written, or when the disk takes no more.
    """
    recordings = tuple(recordings)
    before = _written_before(to)
    found, left_out = _whole(_files(recordings))
    whole = [recording for _, recording in found]
    history = _one_history(whole)
    _post_programme(history, recordings, _one_key(whole))
    name = telling.expedition or str(whole[0].header["expedition"])
    told = Telling(name, telling.words, telling.address, telling.questions_to, counts=False)
    index = (site / "index.html").read_bytes()
    made = PublicFiles(told, {history.audience: history}, history.audience, index)
    files = _built(site)
    for path in made.paths():
        file = made.find(path)
        assert file is not None
        files[path] = file.make()
    _write(to, files, before)
    unsigned = tuple(path for path, recording in found if not recording.signed)
    return Written(len(history.dives), len(files) + 1, tuple(left_out), unsigned)


def _built(site: Path) -> dict[str, bytes]:
    """Return the built page's files by path; hidden ones and links are none of them, as on the relay."""
    files = {}
    for path in sorted(site.rglob("*")):
        name = path.relative_to(site)
        if path.is_file() and not path.is_symlink() and not any(part.startswith(".") for part in name.parts):
            files[name.as_posix()] = path.read_bytes()
    return files


def _files(recordings: Iterable[Path]) -> list[Path]:
    out: list[Path] = []
    for path in recordings:
        found = sorted(path.glob("dive-*.recording")) if path.is_dir() else [path]
        if not found:
            raise OperatorError(f"{path} holds no dive-NNN.recording: name the folder of one audience's recordings")
        out += found
    return out


def _whole(paths: Sequence[Path]) -> tuple[list[tuple[Path, Recording]], list[str]]:
    """Return the closed recordings with their paths, and why others are left out."""
    whole, left_out = [], []
    for path in paths:
        recording = load_signed(path)
        _check(path, recording)
        check_told(path, recording)
        if recording.closed:
            whole.append((path, recording))
        else:
            left_out.append(f"{path}: the dive goes on, or the recording's end is missing")
    if not whole:
        raise OperatorError("nothing to publish: " + "; ".join(left_out))
    return whole, left_out


def _check(path: Path, recording: Recording) -> None:
    """Raise RecordingError where a recording, though whole, isn't as a relay writes it: its pages can't be made."""
    try:
        audience = str(recording.header["audience"])
        seen = summary(recording.records)
        shelf = Shelf(str(recording.header["expedition"]), audience, (seen,), EN)
        _ = dive_html(shelf, seen), dive_svg(shelf, seen)
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise RecordingError(
            f"{path} isn't as a relay writes it: what its first record or a later one tells can't be shown on a page. "
            "Publish the file that the ship or the shore wrote."
        ) from error
    if re.fullmatch(SLUG, audience, re.ASCII) is None:
        raise RecordingError(f"{path} isn't as a relay writes it: an audience can't be named {audience!r}")
    if not 1 <= seen.dive <= MOST_DIVES:
        raise RecordingError(f"{path} isn't as a relay writes it: a dive can't have the number {seen.dive}")


def _one_history(recordings: Sequence[Recording]) -> History:
    """Return the recordings as one audience's history; they must belong together and tell no exact place."""
    header = recordings[0].header
    for recording in recordings:
        if recording.header.get("place") == "exact":
            audience = recording.header["audience"]
            raise OperatorError(
                f"the recordings of {audience} tell the exact place, so they aren't published: hand them over yourself"
            )
        for key in ("expedition", "audience"):
            one, other = header[key], recording.header[key]
            if one != other:
                raise OperatorError(f"recordings of two {key}s, {one!r} and {other!r}: publish each by itself")
    history = History(str(header["audience"]))
    ordered = sorted(recordings, key=lambda recording: recording.records[0].dive)
    numbers = [recording.records[0].dive for recording in ordered]
    if twice := {number for number in numbers if numbers.count(number) > 1}:
        raise OperatorError(f"two recordings of dive {min(twice)}: name each dive once")
    for recording in ordered:
        for record in recording.records:
            history.append(_Record(history.audience, record.dive, record.seq, record.data))
    return history


def _one_key(recordings: Iterable[Recording]) -> bytes | None:
    """Return the key that the recordings name, None where they name none; OperatorError if they name several."""
    keys = list(dict.fromkeys(key for recording in recordings if (key := key_of(recording.header)) is not None))
    if len(keys) > 1:
        told = " and ".join(key.hex() for key in keys)
        raise OperatorError(f"the recordings were signed with different keys, {told}: publish each by itself")
    return keys[0] if keys else None


def _post_programme(history: History, paths: Iterable[Path], key: bytes | None) -> None:
    """Give the history the programme that lies in the folder of its recordings, if it does."""
    for path in paths:
        programme = read_programme(path / PROGRAMME) if path.is_dir() else None
        if programme is not None and path.name == history.audience:
            if key is not None and not is_sealed(key, history.audience, programme.data):
                raise RecordingError(f"{path / PROGRAMME} isn't as the recordings beside it were signed: take it away")
            history.post(_Record(history.audience, programme.dive, programme.seq, programme.data))


def _written_before(to: Path) -> list[str]:
    """Return what an earlier run wrote into the folder; OperatorError if somebody else's things lie there."""
    if not to.exists() or (to.is_dir() and not any(to.iterdir())):
        return []
    try:
        listed = json.loads((to / LIST).read_bytes())
        names = [str(name) for name in listed["files"]]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        raise OperatorError(f"{to} isn't empty and wasn't made by `offing publish`: name another folder") from None
    return [name for name in names if (to / name).resolve().is_relative_to(to.resolve()) and not (to / name).is_dir()]


def _write(to: Path, files: dict[str, bytes], before: Sequence[str]) -> None:
    """Write the files. What is listed is ours: the list comes first, so that a run that was cut off can be repeated."""
    for name in sorted(files.keys() - {*before, LIST}):
        if (to / name).exists():
            raise OperatorError(f"{to / name} wasn't made by `offing publish`: take it away or name another folder")
    try:
        _put(to / LIST, _list_of({*files, *before}))
        for name, content in files.items():
            _put(to / name, content)
        for name in set(before) - set(files) - {LIST}:
            (to / name).unlink(missing_ok=True)
        _put(to / LIST, _list_of(files))
    except OSError as error:
        raise OperatorError(f"{error.filename or to} can't be written: {error.strerror}; then publish again") from error


def _list_of(names: Iterable[str]) -> bytes:
    return json.dumps({"made by": "offing publish", "files": sorted(names)}, indent=1).encode() + b"\n"


def _put(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.new")
    beside.write_bytes(content)
    beside.replace(path)
