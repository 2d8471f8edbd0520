"""Arguments alone: what each command takes. What they do is in `relay.shell.app` and `tell`."""

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

from relay import __version__
from relay.shell.audit.advise_arguments import add_advise
from relay.shell.audit.audit_arguments import add_audit
from relay.shell.exit_code import exit_code
from relay.shell.finds.find_arguments import add_find
from relay.shell.guest_arguments import add_guests
from relay.shell.locked.locked_arguments import add_locked
from relay.shell.proofs.proof_arguments import add_prove
from relay.shell.reading_arguments import Commands, add_command, add_reading, secrets_key_argument
from relay.shell.record.journal_arguments import add_journal
from relay.shell.tell_arguments import add_tell

_ABOUT = """\
Offing lets people ashore follow an underwater dive without being told where it is. On the ship it takes the
vehicle's position and status from the control station (it only listens), keeps the exact record to itself, and
releases a thinned, delayed, place-less version that is followed in a browser."""

_CAUTION = """\
Not for navigation, vehicle control or collision avoidance. An embargo and a place-less track reduce what is given
away; they do not undo what AIS, photographs, crew or earlier publications give away."""

_FIRST = """\
first steps:
  offing demo                    an invented dive, in your browser
  offing check EXPEDITION.toml   what would each audience see, and how late?
"""

_REHEARSED = """\
example, with a capture of NMEA 0183 sentences from last year:
  offing rehearse EXPEDITION.toml dive.nmea --out tryout
  offing show tryout/released/public/dive-001.recording
"""


def main(arguments: list[str] | None = None) -> int:
    """Run one command; return 0 when it did what was asked, 2 when something given to it was wrong."""
    parser = _parser()
    if (sys.argv[1:] if arguments is None else arguments)[:1] == ["import"]:
        parser.error("`offing import` is now `offing journal import`: with the same arguments")
    options = parser.parse_args(arguments)
    command = _command(options.command)
    if command is not None:
        return exit_code(command, options)
    from relay.shell import app

    return app.run(options)


def _command(name: str) -> Callable[[argparse.Namespace], int] | None:
    """Return what a command does, None where `app` runs it; nothing is loaded but what this one needs."""
    match name:
        case "tell":  # a hold acts half a second sooner
            from relay.shell.desk.tell import tell as command
        case "shore":  # nothing that handles what is exact
            from relay.shell.shore.shore_command import shore as command
        case "audit":  # it and the next alone need the extra `audit`
            from relay.shell.audit.audit_command import audit as command
        case "advise":
            from relay.shell.audit.advise_command import advise as command
        case "prove":
            from relay.shell.proofs.proving import prove as command
        case "find":
            from relay.shell.finds.finding import find as command
        case "journal":
            from relay.shell.record.journal_command import journal as command
        case "record":
            from relay.shell.record.import_log import show_record as command
        case "report":
            from relay.shell.report.reporting import report as command
        case "verify":
            from relay.shell.released.verify import verify as command
        case "identity":
            from relay.shell.locked.locked_command import identity as command
        case "open":
            from relay.shell.locked.locked_command import open_received as command
        case "secrets":
            from relay.shell.locked.locked_command import secrets as command
        case _:
            return None
    return command


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="offing",
        description=_ABOUT,
        epilog=f"{_FIRST}\n{_CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"offing {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _demo(commands)
    _ship(commands)
    _shore(commands)
    _key(commands)
    _deploy(commands)
    _check(commands)
    _rehearse(commands)
    add_reading(commands)
    add_prove(commands)
    add_audit(commands)
    add_advise(commands)
    add_journal(commands)
    add_locked(commands)
    add_find(commands)
    _record(commands)
    add_guests(commands)
    add_tell(commands)
    return parser


def _demo(commands: Commands) -> None:
    parser = add_command(
        commands,
        "demo",
        "show an invented dive, live, in a browser",
        "Runs a ship's relay and a simulated control station that talks to it over real sockets, and prints the\n"
        "address of the followers' page. The expedition is invented, and so is its place.",
    )
    parser.add_argument(
        "--port", type=int, default=8080, help="port of the page on this machine (default 8080; 0: a free one)"
    )
    parser.add_argument("--seed", type=int, default=1, help="another number gives another dive (default 1)")
    parser.add_argument("--folder", type=Path, help="where to keep the demo's files (default: a temporary folder)")
    parser.add_argument("--seconds", type=float, help="end by itself after so many seconds")


def _ship(commands: Commands) -> None:
    parser = add_command(
        commands,
        "ship",
        "run the relay on the ship",
        "Listens to the feeds of the expedition file, journals every byte with its moment of receipt, and releases to\n"
        "each audience what its policy allows, as late as it says. Stop it with Ctrl-C; started again, it goes on\n"
        "where it was: nothing is early, lost or sent twice.",
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
    parser.add_argument(
        "--without-audit",
        nargs=2,
        action="append",
        default=[],
        metavar=("AUDIENCE", "WHY"),
        help="start an audience whose promise no audit has passed, on your own word, which is journalled and stays on "
        "the desk until the relay ends",
    )
    secrets_key_argument(parser)
    _log(parser)


def _log(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--log", choices=["text", "json"], default="text", help="how it says what happens on standard error"
    )


def _shore(commands: Commands) -> None:
    parser = add_command(
        commands,
        "shore",
        "run the relay ashore, for thousands of followers",
        "Takes what the ship releases (she dials in, never the other way round), keeps it, and gives it to whoever\n"
        "follows. It checks the ship's signature on every record, and holds nothing that isn't released. Stop it with\n"
        "Ctrl-C; started again, it goes on where it was, and fetches what it misses from the ship.",
    )
    parser.add_argument("shore", type=Path, metavar="SHORE.toml")
    parser.add_argument(
        "--check", action="store_true", help="say what it would do and what it needs, and start nothing"
    )
    _log(parser)


def _deploy(commands: Commands) -> None:
    parser = add_command(
        commands,
        "deploy",
        "print a service's unit, or a container file, to set up ship or shore",
        "Prints a unit for systemd (ship, shore) or a container file (container), to be put where the first lines of\n"
        "it say. Each lets the relay reach what it needs and nothing else.",
    )
    parser.add_argument("what", choices=["ship", "shore", "container"])


def _key(commands: Commands) -> None:
    parser = add_command(
        commands,
        "key",
        "print the ship's public key, with which anyone ashore checks what she released",
        "Prints the public key of the site, drawing its secrets if there are none yet. It is no secret: give it to\n"
        "whoever runs the shore, and put it where followers trust it. The secrets file itself stays on the ship.",
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
    secrets_key_argument(parser)


def _check(commands: Commands) -> None:
    parser = add_command(
        commands,
        "check",
        "check an expedition file and say what each audience will see",
        "Reads the expedition file as `offing ship` would and says in plain words what each audience will see and\n"
        "how late. Faults are named with their line. Nothing is started or written.",
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")


def _rehearse(commands: Commands) -> None:
    parser = add_command(
        commands,
        "rehearse",
        "run captures through the relay and write what would have been released",
        "Shows what would have been released of a dive that you have recorded: its captures go through the relay as\n"
        "fast as it can, and what each audience would have got, and when, is written below DIR:\n"
        "  released/AUDIENCE/dive-NNN.recording   what each audience would have got\n"
        "  send-times/AUDIENCE-dive-NNN.csv       when each record would have left\n"
        "  private/                               the exact record: keep it to yourself\n"
        "INPUT is a file of what a feed received: .nmea, .tlog or .jsonl (also .gz), or the journal.db of a site. It\n"
        "goes to the first feed of its format; FEED=INPUT names another. An .nmea capture is timed by its own\n"
        "sentences, or by --rate.",
        _REHEARSED,
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
    parser.add_argument("inputs", nargs="+", metavar="INPUT")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="a folder that doesn't exist yet, or is empty"
    )
    parser.add_argument("--rate", type=float, help="sentences a second, for a capture without times")
    group = parser.add_mutually_exclusive_group()
    group.add_argument(
        "--seed", type=int, default=1, help="secrets for this rehearsal alone, from a number (default 1)"
    )
    group.add_argument("--secrets", type=Path, metavar="FILE", help="the secrets file of a site")
    secrets_key_argument(parser)


def _record(commands: Commands) -> None:
    parser = add_command(
        commands,
        "record",
        "say what the exact record of a vehicle covers, or print it: on the ship alone",
        "Reads the live reports in the journal and the logs that were imported as one, in the order of the vehicle's\n"
        "own time, and says from when to when it goes and how many positions it has. With --print it prints all of\n"
        "it, a report a line: exact and private.",
    )
    parser.add_argument(
        "expedition", type=Path, metavar="EXPEDITION.toml", help="the expedition file, or the folder it lies in"
    )
    parser.add_argument("--vehicle", required=True, metavar="NAME", help="its name in the expedition file")
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--json", action="store_true", help="answer as JSON, for another program")
    group.add_argument("--print", action="store_true", help="print the record, positions and all, as JSON lines")


if __name__ == "__main__":
    sys.exit(main())
