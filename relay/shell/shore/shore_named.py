"""What a shore's file names, tried before anything starts: certificates and keys, addresses, the folder.

Rules: every fault is told with its line and what to do, all of them at once; nothing that was tried is left behind. A
port that is in use is no fault here: another shore may be meant to give way to this one.
"""

import errno
import os
import socket
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path

from relay.core.errors import ShoreFileError
from relay.shell.plan.expedition_faults import Fault, Faults
from relay.shell.shore.shore_file import ShoreFile, TlsFiles
from relay.shell.shore.shore_form import ADD, PARTS
from relay.shell.site.tls_files import pair_faults

_MAKE = "openssl req -x509 -newkey ed25519 -nodes -days 3650 -subj /CN=uplink -keyout uplink.key -out uplink.pem"
REMEDIES = {
    "uplink": f"both are made by: {_MAKE}",
    "site": "give the certificate that browsers trust for the page's name, or leave both out behind a proxy",
}


def check_named(file: ShoreFile) -> None:
    """Try what a file names; ShoreFileError has every fault with its line."""
    faults = Faults(file.path, file.text, tomllib.loads(file.text), PARTS, ADD)
    if found := list(_faults(file)):
        raise ShoreFileError("\n".join(faults.line(fault) for fault in found))


def _faults(file: ShoreFile) -> Iterator[Fault]:
    yield from _address("site", file.listen)
    if file.tls is not None:
        yield from _pair("site", file.tls)
    if file.uplink is not None:
        yield from _address("uplink", file.uplink.listen)
        yield from _pair("uplink", file.uplink.tls)
        yield from _folder(file.folder)


def _pair(table: str, tls: TlsFiles) -> Iterator[Fault]:
    for which, words in pair_faults(tls.certificate, tls.key):
        yield (table, which), f"{words}; {REMEDIES[table]}"


def _address(table: str, listen: tuple[str, int]) -> Iterator[Fault]:
    """Yield a fault if a host is no address of this machine."""
    host, _ = listen
    try:
        for family, *_, address in socket.getaddrinfo(host, 0, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[:1]:
            socket.create_server(address[:2], family=family).close()
    except OSError as error:
        if isinstance(error, socket.gaierror) or error.errno in (errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT):
            own = 'listen at one of its own, or at "0.0.0.0:PORT", which is all of them'
            yield (table, "listen"), f"{host} is no address of this machine: {own}"


def _folder(folder: Path) -> Iterator[Fault]:
    """Yield a fault if nothing could be kept in a folder."""
    there = next(path for path in (folder, *folder.parents) if path.exists())
    if not there.is_dir():
        yield ("shore", "folder"), f"{there} is a file: name a folder"
        return
    try:
        Path(tempfile.mkdtemp(prefix=".tried-", dir=there)).rmdir()
    except OSError as error:
        why = "" if there == folder else f", for nothing can be made in {there}"
        give = "name another, or give it to the user that runs the shore"
        yield ("shore", "folder"), f"{folder} can't be written{why} ({os.strerror(error.errno or 0)}): {give}"
