"""A folder as a run without a fault leaves it, made in a moment: a journal under a virtual clock, and its rehearsal.

Two vehicles, two feeds, an operator's note; a shore; clients at both ends, one of which left early.
"""

import shutil
from pathlib import Path

from dives import INVENTED_SITE, SECOND, decided, in_order, message, rows, walk
from left_behind import DIALLED, RECEIPTS, SAID, SENT, WRITTEN, Left, note
from relay.core.decision import Say
from relay.core.model import Row, RowKind
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.journal import JournalFile
from relay.shell.record.secrets_file import open_secrets
from relay.shell.ship.rehearse import rehearse
from shore_process import pin
from what_ran import DESK, SHIP, SHORE, Ran

EXPEDITION = """\
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
[public]
listen = "127.0.0.1:0"
[dive]
begins = "report"
quiet_ends_after = "4 s"
[[vehicle]]
name = "Lantern"
[[vehicle]]
name = "Moth"
[[feed]]
name = "lantern"
format = "station-json"
from = "tcp-listen://127.0.0.1:4010"
[[feed]]
name = "moth"
format = "station-json"
from = "udp://127.0.0.1:10110"
[[audience]]
name = "public"
open = true
delay = "3 s"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "altitude", "heading", "leg", "notes"]
cell = "5 m"
depth_step = "2 m"
track_legs = ["deck", "descent", "bottom", "ascent"]
[[audience]]
name = "family"
open = true
delay = "2 s"
extra = "0 s"
tick = "1 s"
fields = ["depth", "leg"]
[uplink]
to = "wss://127.0.0.1:4011"
pin = "sha256:{pin}"
"""
SINCE_S = 2_100_000_000.0  # Unix
KINDS = {"lantern": RowKind.STREAM, "moth": RowKind.WHOLE}  # as tcp and udp have it
CLIENTS: dict[str, tuple[str, int | None]] = {
    "follower-1": ("public", None),
    "follower-left-2": ("public", 9),
    "follower-3": ("family", None),
    "shore-1": ("public", None),
}
BOOT_US = 4_000 * SECOND  # how long the machine had been up when the journal began


def journal(seconds: int = 14, dives: int = 2) -> list[Row]:
    """Return the rows of a run: each dive some seconds of two vehicles, then quiet."""
    parts = []
    for dive in range(dives):
        start_us = (2 + dive * (seconds + 8)) * SECOND
        for name, half in (("Lantern", 0), ("Moth", 500_000)):
            steps = enumerate(walk(seconds, 3 + dive))
            lines = [(start_us + at * SECOND + half, _line(name, dive, at, step)) for at, step in steps]
            parts.append([_from(row, name.lower(), KINDS[name.lower()]) for row in rows(lines)])
    said = _from(decided(9 * SECOND, Say(text="An anchor, upright in the silt.")), DESK, RowKind.DECISION)
    return in_order(*parts, [said])


def _line(name: str, dive: int, at: int, step: dict[str, float]) -> bytes:
    noted = f"{name} {dive} {at}" if at % 3 == 1 else None
    return message(step, INVENTED_SITE, name, noted)


def _from(row: Row, source: str, kind: RowKind) -> Row:
    return Row(row.seq, row.embargo_us, SINCE_S + row.wall_s, source, kind, row.data)


def leave(folder: Path) -> Path:
    """Leave a run without a fault in a folder, and return it."""
    site = folder / "site"
    site.mkdir(parents=True)
    (site / "EXPEDITION.toml").write_text(EXPEDITION.format(pin=pin()))
    expedition = read_expedition(site / "EXPEDITION.toml")
    all_rows = journal()
    file = JournalFile(expedition.private)
    file.commit(all_rows, {"clock offset_us": str(-BOOT_US)})
    file.close()
    secrets = open_secrets(expedition.private, None)
    rehearse(expedition.plan, secrets, [str(expedition.private / "journal.db")], folder / "again")
    shutil.move(folder / "again" / "released", site / "released")
    shutil.rmtree(folder / "again")
    shutil.copytree(site / "released", folder / "shore" / "shore", ignore=shutil.ignore_patterns("send-times"))
    for row in all_rows:
        data = b"An anchor, upright" if row.source == DESK else row.data
        note(folder / SENT / f"{row.source}.msgpack", [(row.embargo_us + BOOT_US - 900, data)])
    (folder / WRITTEN).touch()
    (folder / DIALLED).touch()
    (folder / SAID).mkdir()
    (folder / SAID / "ship").write_text("2036-07-18 13:20:21,933 INFO read 0 rows of the journal again\n")
    (folder / SAID / "shore").write_text("2036-07-18 13:20:21,936 INFO a ship has come\n")
    Ran(tuple(CLIENTS), ("lantern", "moth", DESK), (SHIP, SHORE)).write(folder)
    _followed(folder)
    return folder


def _followed(folder: Path) -> None:
    left = Left.read(folder)
    for name, (audience, most) in CLIENTS.items():
        came = [(instant_us + BOOT_US + 4_000, frame) for instant_us, frame in left.frames[audience]]
        note(folder / RECEIPTS / f"{name}.msgpack", came[:most])
