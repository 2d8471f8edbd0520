"""A shore's file in plain words: what the shore will do, and whether what its file names can be used.

Rules: nothing is started, nothing left behind; what can't be used stops it, as it stops a start (`shore_named.py`);
what will soon be wrong is said. The pin is what the ship writes into her expedition file.
"""

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from relay.shell.plan.quantities import say_octets, say_server
from relay.shell.shore.shore_file import ShoreFile, UplinkPlan
from relay.shell.shore.shore_named import check_named
from relay.shell.site.certificate_end import certificate_end
from relay.shell.uplink.uplink_tls import certificate_of, pin_of

SOON_DAYS, LITTLE_OCTETS = 21, 1 << 30


def describe_shore(file: ShoreFile) -> Iterator[str]:
    """Yield the lines; OperatorError where a start would fail."""
    check_named(file)
    yield f'{file.expedition}, ashore. "{file.path}" can be used.\n'
    yield f"It takes what is signed with the ship's key {file.key.hex()}, and nothing else."
    yield from _uplink(file.uplink)
    if file.stream is not None:
        yield from _stream(file)
    yield from _site(file)
    yield from _audiences(file)
    if file.uplink is not None:
        yield from _folder(file.folder)
    if file.watch is None:
        yield "Nothing can be asked about how it is: add [watch] for health, readiness and counts."
    else:
        yield f"How it is can be asked at http://{_at(file.watch)}/health, /ready and /metrics."


def _uplink(plan: UplinkPlan | None) -> Iterator[str]:
    if plan is None:
        return
    yield f"The ship dials in at {_at(plan.listen)}. In her expedition file:"
    yield f'  [uplink]\n  to = "wss://THIS-MACHINE:{plan.listen[1]}/"'
    yield f'  pin = "{pin_of(certificate_of(plan.tls.certificate))}"'
    yield from _end(plan.tls.certificate, "with a pin the ship trusts it all the same; without, she doesn't")


def _stream(file: ShoreFile) -> Iterator[str]:
    assert file.stream is not None
    does = "It reads" if file.uplink is None else "It also puts every record into"
    yield f'{does} the stream "{file.stream.name}" at {say_server(file.stream.url)}.'
    mode = file.path.stat().st_mode & 0o777 if file.path.exists() else 0
    if "@" in file.stream.url and mode & 0o077:
        yield f"CAUTION: who logs in there stands in {file.path}, which others can read: chmod 600 it."


def _site(file: ShoreFile) -> Iterator[str]:
    if file.tls is None:
        behind = "a proxy in front of it counts and limits followers" if file.behind_proxy else "without TLS"
        yield f"Followers come to http://{_at(file.listen)}/, {behind}."
        if not file.behind_proxy and not _is_loopback(file.listen[0]):
            yield "CAUTION: without TLS a page can't check what the ship signed, and anybody on the way can alter it."
    else:
        yield f"Followers come to https://{_at(file.listen)}/."
        yield from _end(file.tls.certificate, "browsers refuse it then; a renewed file is taken while it runs")
    if file.processes > 1:
        yield f"{file.processes} processes serve them."
    if not file.address:
        yield 'Link previews have no picture: add address = "https://..." under [shore].'


def _audiences(file: ShoreFile) -> Iterator[str]:
    if file.open:
        yield f"Open to everybody: {', '.join(file.open)}."
    if file.invited:
        yield f"With an invitation of the ship alone: {', '.join(file.invited)}."


def _folder(folder: Path) -> Iterator[str]:
    there = next(path for path in (folder, *folder.parents) if path.is_dir())
    room = os.statvfs(there)
    free = room.f_bavail * room.f_frsize
    yield f"What is released is kept in {folder}, where {say_octets(free)} are free."
    if free < LITTLE_OCTETS:
        yield "CAUTION: that is little. When the disk is full nothing more is taken, or shown, until there is room."


def _end(certificate: Path, then: str) -> Iterator[str]:
    ends = certificate_end(certificate)
    left = (ends - datetime.now(UTC)).days
    yield f"  {certificate} ends on {ends:%Y-%m-%d}."
    if left < SOON_DAYS:
        yield f"CAUTION: that is {'past' if left < 0 else f'in {left} days'}: {then}."


def _is_loopback(host: str) -> bool:
    return host in ("localhost", "::1") or host.startswith("127.")


def _at(address: tuple[str, int]) -> str:
    host, port = address
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
