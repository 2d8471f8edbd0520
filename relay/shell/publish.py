"""A folder that can be browsed: the built site, recordings, and the pages made of them, for any static web server.

Rules: made from closed, verified recordings of one audience and one expedition, never from anything private; the bytes
are those that a relay would give out; what lies in the folder from somebody else is never touched.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from relay.core.errors import OperatorError
from relay.core.history import History
from relay.core.wire import Recording
from relay.shell.public_files import PublicFiles, Telling
from relay.shell.recording import load_recording

LIST = "published.json"


class _Record(NamedTuple):
    """A record of a recording as a history takes it."""

    audience: str
    dive: int
    seq: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: how many dives and files; and the recordings left out, with why."""

    dives: int
    files: int
    left_out: tuple[str, ...]


def publish(recordings: Iterable[Path], to: Path, site: Path, telling: Telling) -> Written:
    """Write a browsable folder. An empty `telling.expedition` takes the recordings' own.

    `recordings`: files, or folders of them; `site`: the built page. Raises OperatorError (RecordingError for a
    recording that is damaged), before anything is written.
    """
    before = _written_before(to)
    whole, left_out = _whole(_files(recordings))
    history = _one_history(whole)
    name = telling.expedition or str(whole[0].header["expedition"])
    told = Telling(name, telling.words, telling.address)
    index = (site / "index.html").read_bytes()
    made = PublicFiles(told, {history.audience: history}, history.audience, index)
    contents = {path: path.read_bytes() for path in sorted(site.rglob("*")) if path.is_file() and not path.is_symlink()}
    files = {path.relative_to(site).as_posix(): content for path, content in contents.items()}
    for path in made.paths():
        file = made.find(path)
        assert file is not None
        files[path] = file.make()
    files[LIST] = json.dumps({"made by": "offing publish", "files": sorted(files)}, indent=1).encode() + b"\n"
    _write(to, files, before)
    return Written(len(history.dives), len(files), tuple(left_out))


def _files(recordings: Iterable[Path]) -> list[Path]:
    out: list[Path] = []
    for path in recordings:
        found = sorted(path.glob("dive-*.recording")) if path.is_dir() else [path]
        if not found:
            raise OperatorError(f"{path} holds no dive-NNN.recording: name the folder of one audience's recordings")
        out += found
    return out


def _whole(paths: Sequence[Path]) -> tuple[list[Recording], list[str]]:
    """Return the closed recordings, and why others are left out."""
    whole, left_out = [], []
    for path in paths:
        recording = load_recording(path)
        if recording.closed:
            whole.append(recording)
        else:
            left_out.append(f"{path}: the dive goes on, or the recording's end is missing")
    if not whole:
        raise OperatorError("nothing to publish: " + "; ".join(left_out))
    return whole, left_out


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


def _written_before(to: Path) -> list[str]:
    """Return what an earlier run wrote into the folder; OperatorError if somebody else's things lie there."""
    if not to.exists() or (to.is_dir() and not any(to.iterdir())):
        return []
    try:
        listed = json.loads((to / LIST).read_bytes())
        names = [str(name) for name in listed["files"]]
    except (OSError, ValueError, KeyError, TypeError):
        raise OperatorError(f"{to} isn't empty and wasn't made by `offing publish`: name another folder") from None
    return [name for name in names if not Path(name).is_absolute() and ".." not in Path(name).parts]


def _write(to: Path, files: dict[str, bytes], before: Iterable[str]) -> None:
    for name, content in files.items():
        path = to / name
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_name(f".{path.name}.new")
        beside.write_bytes(content)
        beside.replace(path)
    for name in set(before) - set(files):
        (to / name).unlink(missing_ok=True)
