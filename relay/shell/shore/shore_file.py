"""The shore's file: read, checked whole, and every fault told with its line, what is wrong and what to do.

Rules (R4): a key that isn't known, a value that isn't sense, or a shore that nobody could follow or feed stops the
start. Paths are taken from the file's own folder. Nothing in it is secret, and nothing exact comes near it.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tomllib import TOMLDecodeError

from pydantic import ValidationError

from relay.core.errors import ShoreFileError
from relay.core.seal import parse_key
from relay.shell.plan.desk_address import near_address
from relay.shell.plan.expedition_faults import Fault, Faults, syntax_fault
from relay.shell.plan.expedition_form import listen_address
from relay.shell.plan.toml_lines import read_toml
from relay.shell.shore.shore_form import ADD, PARTS, File, StreamPart, UplinkPart


@dataclass(frozen=True, slots=True)
class TlsFiles:
    """A certificate (with its chain) and its private key, both PEM."""

    certificate: Path
    key: Path


@dataclass(frozen=True, slots=True)
class UplinkPlan:
    """Where the ship dials in."""

    listen: tuple[str, int]
    tls: TlsFiles


@dataclass(frozen=True, slots=True)
class StreamPlan:
    """The stream that several shores share."""

    url: str
    name: str


@dataclass(frozen=True, slots=True)
class ShoreFile:
    """A checked shore file. `key`: the ship's public key; `tls`: None for a site without; `watch`: None for none."""

    path: Path
    expedition: str
    key: bytes
    open: tuple[str, ...]
    invited: tuple[str, ...]
    folder: Path
    listen: tuple[str, int]
    tls: TlsFiles | None
    behind_proxy: bool = False
    processes: int = 1
    uplink: UplinkPlan | None = None
    stream: StreamPlan | None = None
    watch: tuple[str, int] | None = None
    language: str = "en"
    address: str = ""
    questions_to: str = ""
    text: str = ""  # as it was read: what is found wrong later is told with its line

    @property
    def audiences(self) -> tuple[str, ...]:
        """Every audience that this shore takes from the ship."""
        return self.open + self.invited


def read_shore_file(path: Path) -> ShoreFile:
    """Read and check a shore file; ShoreFileError names every fault with its line."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise ShoreFileError(f"{path} can't be read: {error.strerror}. Give the path of a shore's file.") from error
    except UnicodeDecodeError as error:
        raise ShoreFileError(f"{path} can't be read: {error}. Save it as text in UTF-8.") from error
    return parse_shore_file(text, path)


def parse_shore_file(text: str, path: Path) -> ShoreFile:
    """Check the text of a shore file that lies at `path`."""
    try:
        values = read_toml(text)
    except TOMLDecodeError as error:
        raise ShoreFileError(syntax_fault(path, text, error)) from error
    if "shore" not in values and not values.keys().isdisjoint(("audience", "feed", "vehicle", "area")):
        raise ShoreFileError(
            f"{path} looks like the ship's expedition file, which `offing ship` runs: give the shore's own file"
        )
    faults = Faults(path, text, values, PARTS, ADD)
    try:
        file = File.model_validate(values)
    except ValidationError as error:
        raise ShoreFileError("\n".join(faults.checked(item) for item in error.errors())) from error
    if together := list(_faults_together(file)):
        raise ShoreFileError("\n".join(faults.line(fault) for fault in together))
    return _shore_file(file, path, text)


def _faults_together(file: File) -> Iterator[Fault]:
    """Yield what can't stand together."""
    shore, site, uplink = file.shore, file.site, file.uplink
    if not shore.open and not shore.invited:
        yield ("shore",), 'nobody could follow: name who may, such as open = ["public"]'
    named = [*shore.open, *shore.invited]
    for name in sorted({name for name in named if named.count(name) > 1}):
        place = "invited" if name in shore.open and name in shore.invited else "open" if name in shore.open else ""
        yield ("shore", place or "invited"), f'"{name}" is named twice: an audience is open or invited, once'
    if uplink is None and file.stream is None:
        yield ("shore",), "nothing could come: add [uplink], which the ship dials, or [stream], or both"
    listening = [("site", site.listen)]
    listening += [("uplink", uplink.listen)] if uplink is not None else []
    listening += [("watch", file.watch.listen)] if file.watch is not None else []
    for at, (table, listen) in enumerate(listening):
        earlier = next((other for other, there in listening[:at] if there == listen), None)
        if earlier is not None and listen_address(listen)[1] != 0:
            yield (table, "listen"), f"[{earlier}] listens at {listen} already: choose another port"
    if site.behind_proxy and site.certificate is not None:
        yield ("site", "behind_proxy"), "a proxy speaks TLS with followers itself: take certificate and key away"


def _shore_file(file: File, path: Path, text: str) -> ShoreFile:
    shore, site = file.shore, file.site
    tls = None
    if site.certificate is not None and site.key is not None:
        tls = TlsFiles(_below(path, site.certificate), _below(path, site.key))
    return ShoreFile(
        path=path,
        expedition=shore.expedition,
        key=parse_key(shore.key),
        open=tuple(shore.open),
        invited=tuple(shore.invited),
        folder=_below(path, shore.folder),
        listen=listen_address(site.listen),
        tls=tls,
        behind_proxy=site.behind_proxy,
        processes=site.processes,
        uplink=_uplink(file.uplink, path),
        stream=_stream(file.stream),
        watch=None if file.watch is None else near_address(*listen_address(file.watch.listen)),
        language=shore.language,
        address=shore.address or "",
        questions_to=shore.questions_to or "",
        text=text,
    )


def _uplink(part: UplinkPart | None, path: Path) -> UplinkPlan | None:
    if part is None:
        return None
    return UplinkPlan(listen_address(part.listen), TlsFiles(_below(path, part.certificate), _below(path, part.key)))


def _stream(part: StreamPart | None) -> StreamPlan | None:
    return None if part is None else StreamPlan(part.url, part.name)


def _below(path: Path, name: str) -> Path:
    """Return a path named in the file at `path`, as it is reached from there."""
    return Path(os.path.normpath(path.resolve().parent / name))
