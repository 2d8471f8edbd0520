"""Arguments of `offing journal ...`: what is done with the exact record of a site, each its own command.

Rules: arguments alone, as in `__main__`; `relay.shell.record.journal_command` says what each runs.
"""

import argparse
from pathlib import Path

from relay.shell.locked.locked_arguments import to_argument
from relay.shell.proofs.proof_arguments import add_journal_verify
from relay.shell.reading_arguments import Commands, add_command

_EXAMPLES = """\
examples:
  offing journal export EXPEDITION.toml --format gpkg --out private/search.gpkg
  offing journal import EXPEDITION.toml --vehicle Moth moth-dive-3.jsonl
  offing journal backup EXPEDITION.toml --out /media/stick/harrow-tern.age --to age1...
"""

_EXPORTED = """\
examples:
  offing journal export EXPEDITION.toml --format gpkg --out private/search.gpkg
  offing journal export EXPEDITION.toml --format gpkg --dive 3 --out dive-3.gpkg.age --to age1...
"""

_IMPORTED = """\
example, with Moth on deck again:
  offing journal import EXPEDITION.toml --vehicle Moth moth-dive-3.jsonl
"""


def add_journal(commands: Commands) -> None:
    """Add the command `journal` with those below it."""
    parser = add_command(
        commands,
        "journal",
        "the exact record, on the ship alone: verify, export, import, back up",
        "The journal is all that the relay received, exact and private, with the moment of each receipt; with the\n"
        "logs that vehicles brought back it is the exact record of an expedition.",
        _EXAMPLES,
    )
    below = parser.add_subparsers(dest="journal", required=True, metavar="WHAT")
    _export(below)
    _import(below)
    add_journal_verify(below)
    _backup(below)


def expedition_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command take the expedition whose record it is about."""
    parser.add_argument(
        "expedition", type=Path, metavar="EXPEDITION.toml", help="the expedition file, or the folder it lies in"
    )


def _export(commands: Commands) -> None:
    parser = add_command(
        commands,
        "export",
        "write the exact record as a GeoPackage, CSV or GeoJSON: for the ship, or encrypted for whom you name",
        "Writes dives, tracks, every report with its feed, station and journal row, annotations, targets with their\n"
        "uncertainty, finds, decisions and recovered logs, with a data dictionary. gpkg is one file that GIS programs\n"
        "open; csv and geojson are a .zip of one file a table. Positions are exact (EPSG:4326, not rounded), so the\n"
        "file may lie in the private folder alone, or anywhere if it is encrypted (--to). The relay may run meanwhile.",
        _EXPORTED,
    )
    expedition_argument(parser)
    parser.add_argument("--format", required=True, choices=["gpkg", "csv", "geojson"], help="of the file")
    parser.add_argument("--out", type=Path, required=True, metavar="PATH", help="a new file")
    parser.add_argument("--dive", type=int, metavar="N", help="this dive alone")
    parser.add_argument("--vehicle", metavar="NAME", help="this vehicle alone, and what begins and ends dives")
    parser.add_argument(
        "--with-files", action="store_true", help="the finds' photographs and drawings, too (csv and geojson)"
    )
    parser.add_argument(
        "--to", action="append", default=[], metavar="RECIPIENT", help="encrypt to this age1...; may be repeated"
    )
    parser.add_argument("--json", action="store_true", help="answer as JSON, for another program")


def _import(commands: Commands) -> None:
    parser = add_command(
        commands,
        "import",
        "import a recovered vehicle's own log: it completes the exact record, on the ship alone",
        "Keeps the log that a vehicle brought back, its bytes as they are, beside the journal: with its name, its\n"
        "SHA-256, who imported it and when. Nothing that was or will be released is changed by it, and the relay may\n"
        "run meanwhile. FILE is .nmea, .tlog, .jsonl (also .gz) or .msgpack, and tells the time. The same file is\n"
        "kept once. What is printed holds no position.",
        _IMPORTED,
    )
    expedition_argument(parser)
    parser.add_argument("file", type=Path, metavar="FILE", help="the log")
    parser.add_argument("--vehicle", required=True, metavar="NAME", help="whose log it is")
    parser.add_argument("--feed", metavar="NAME", help="read it as this feed of the expedition file is read")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="the day (UTC) on which a log without a date begins")
    parser.add_argument("--who", help="who imports it (default: the user of this machine)")
    parser.add_argument("--json", action="store_true", help="answer as JSON, for another program")


def _backup(commands: Commands) -> None:
    parser = add_command(
        commands,
        "backup",
        "back the whole site up, encrypted, while the relay runs or not",
        "Writes one encrypted file with all that the site is: expedition file, journal, secrets, recovered logs,\n"
        "stills, finds, guests, and what was released, as one moment has it. The relay may run meanwhile and loses\n"
        "nothing. `offing open` makes a folder of it again, with which `offing ship` goes on. Nothing is ever deleted\n"
        "by Offing: what is kept, where and how long is for you to decide. It needs room for a second copy of the\n"
        "journal in the private folder meanwhile; charts for audits aren't in it.",
    )
    expedition_argument(parser)
    parser.add_argument("--out", type=Path, required=True, metavar="FILE.age", help="the file to write")
    to_argument(parser)
