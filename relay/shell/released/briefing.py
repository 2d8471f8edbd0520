"""A briefing: a recording and the page in one file that opens from disk and asks nobody for anything.

Rules: the recording is checked before it goes in, and the page checks it again; nothing in it or in the presenter's
notes can end the element it stands in; the file's own policy lets only its own script and style run (CSP level 3, by
hash); a file that is there is not written over unless that is asked for.
"""

import base64
import html
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from tomllib import TOMLDecodeError
from typing import Any

from relay.core.errors import OperatorError
from relay.core.release import Kind
from relay.core.wire import Recording
from relay.shell.plan.toml_lines import read_toml
from relay.shell.released.recording import load_told

_START = re.compile(r'<script type="module"[^>]* src="\./([^"]+)"></script>')  # it waits for what a briefing hasn't
_SCRIPT = re.compile(r'<link rel="modulepreload"[^>]* href="\./([^"]+)"[^>]*>')
_STYLE = re.compile(r'<link rel="stylesheet"[^>]* href="\./([^"]+)">')
_ICON = re.compile(r'<link rel="icon"[^>]*/?>')
_CLOCK = re.compile(r"(?:(\d{1,3}):)?([0-5]?\d):([0-5]\d)")
_NOTE_KEYS = {"at", "chapter", "text"}
TEXT_LIMIT = 4_000


@dataclass(frozen=True, slots=True)
class OwnNote:
    """What the presenter wants to say from a moment on: seconds of dive time, and the text."""

    at_s: float
    text: str


def brief(recording: Path, notes: Path | None, site: Path, to: Path, *, force: bool, unfinished: bool) -> Recording:
    """Write a briefing and return what is in it. `site`: the built page.

    Raises OperatorError, RecordingError for a recording that is damaged or isn't as it was signed.
    """
    read = load_told(recording)
    if not read.closed and not unfinished:
        raise OperatorError(
            f"{recording}: the dive goes on, or the recording's end is missing: wait for its end, or add --unfinished"
        )
    if to.exists() and not force:
        raise OperatorError(f"{to} is there already: name another file, or add --force")
    own = [] if notes is None else read_notes(notes, read)
    data = recording.read_bytes()
    page = briefing(
        site, data[: len(data) - read.torn_bytes], own, str(read.header["expedition"]), read.records[0].dive
    )
    beside = to.with_name(f".{to.name}.new")
    try:
        beside.write_text(page, encoding="utf-8")
        beside.replace(to)
    except OSError as error:
        raise OperatorError(f"{to} can't be written: {error.strerror}") from error
    return read


def read_notes(path: Path, recording: Recording) -> list[OwnNote]:
    """Read the presenter's notes; OperatorError says which of them is wrong, and how it is written."""
    try:
        values = read_toml(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, TOMLDecodeError) as error:
        raise OperatorError(f"{path} can't be read as notes: {error}") from error
    notes = values.get("note")
    if set(values) != {"note"} or not isinstance(notes, list):
        raise OperatorError(f'{path}: write each note as [[note]] with at = "0:28:16" or chapter = 5, and text = "..."')
    said_s = [record.elapsed_s for record in recording.records if record.kind in (Kind.NOTE, Kind.STILL)]
    return [_note(f"{path}: note {number}", value, said_s) for number, value in enumerate(notes, 1)]


def _note(where: str, value: Any, said_s: Sequence[float]) -> OwnNote:
    if not isinstance(value, dict) or set(value) - _NOTE_KEYS or ("at" in value) == ("chapter" in value):
        raise OperatorError(f'{where}: it takes text, and either at = "0:28:16" or chapter = 5')
    text = value.get("text")
    if not isinstance(text, str) or not 0 < len(text) <= TEXT_LIMIT:
        raise OperatorError(f"{where}: text is missing, or longer than {TEXT_LIMIT} characters")
    if "at" in value:
        clock = _CLOCK.fullmatch(str(value["at"]))
        if clock is None:
            raise OperatorError(f'{where}: at is a dive time as the page has it, such as "0:28:16"')
        return OwnNote(int(clock[1] or 0) * 3_600 + int(clock[2]) * 60 + int(clock[3]), text)
    chapter = value["chapter"]
    if type(chapter) is not int or not 1 <= chapter <= len(said_s):
        raise OperatorError(f"{where}: chapter is the number of an annotation on the page, from 1 to {len(said_s)}")
    return OwnNote(said_s[chapter - 1], text)


def briefing(site: Path, recording: bytes, notes: Sequence[OwnNote], expedition: str, dive: int) -> str:
    """Return the one file: the built page with its script, style, recording and notes inside."""
    page = (site / "index.html").read_text(encoding="utf-8")
    script = _within(site, page, _SCRIPT)
    style = _within(site, page, _STYLE)
    # Such words stand in texts alone, where `<\/` is `</`: so no text ends the element (HTML, section 4.12.1.3).
    code = re.sub("</(?=script)", r"<\\/", (site / script[1]).read_text(encoding="utf-8"), flags=re.IGNORECASE)
    css = (site / style[1]).read_text(encoding="utf-8")
    if "<!--" in code or "</" in css:
        raise OperatorError(f"{site} has a script or style that can't be put into a page: build it again")
    policy = (
        f"default-src 'none'; script-src '{_hash(code)}'; style-src '{_hash(css)}'; img-src blob:; "
        "base-uri 'none'; form-action 'none'"
    )
    told = json.dumps({"notes": [{"at_s": note.at_s, "text": note.text} for note in notes]})
    told = told.replace("<", "\\u003c")
    data = (
        f'<script type="application/octet-stream" id="recording">{base64.b64encode(recording).decode()}</script>'
        f'<script type="application/json" id="briefing">{told}</script>'
    )
    page = _START.sub("", page).replace(script[0], "").replace(style[0], f"<style>{css}</style>")
    page = _ICON.sub("", page)
    page = page.replace("<head>", f'<head><meta http-equiv="Content-Security-Policy" content="{policy}" />', 1)
    page = re.sub(
        r"<title>.*?</title>", lambda _: f"<title>{html.escape(f'{expedition}: {dive}')}</title>", page, count=1
    )
    return page.replace("</body>", f'{data}<script type="module">{code}</script></body>', 1)


def _within(site: Path, page: str, what: re.Pattern[str]) -> re.Match[str]:
    found = what.search(page)
    if found is None or not (site / found[1]).is_file():
        raise OperatorError(f"{site} isn't a page that a briefing can be made of: build it with `make site`")
    return found


def _hash(text: str) -> str:
    """Return the source expression that lets exactly this text run."""
    return f"sha256-{base64.b64encode(sha256(text.encode()).digest()).decode()}"
