"""Arguments of the commands that read recordings: show, verify, brief, export, publish, report.

Rules: arguments alone, as in `__main__`; nothing is loaded that a command doesn't need before it is known which it is.
"""

import argparse
from pathlib import Path
from typing import TypeAlias

_VERIFIED = """\
example, with what somebody ashore gave you:
  offing verify dive-001.recording --key d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a
  offing verify boiler.proof dive-001.recording --key d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a
"""

_REPORTED = """\
examples:
  offing report released/public/dive-001.recording --html dive-001.html
  offing report EXPEDITION.toml --dive 1 --html private/dive-001.html
"""

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"  # argparse has no public name for it


def add_command(
    commands: Commands, name: str, short: str, long: str, examples: str | None = None
) -> argparse.ArgumentParser:
    """Add a command with its help: `short` in the list, `long` in its own."""
    form = argparse.RawDescriptionHelpFormatter
    return commands.add_parser(name, help=short, description=long, epilog=examples, formatter_class=form)


def secrets_key_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command be given what opens the site's secrets: where they are encrypted, and nobody is there to ask."""
    parser.add_argument(
        "--secrets-key",
        type=Path,
        metavar="FILE",
        help="the file with the key or the passphrase that opens the secrets, if `offing secrets lock` encrypted them "
        "(default: the passphrase is asked for on the terminal)",
    )


def add_reading(commands: Commands) -> None:
    """Add the commands that read recordings."""
    _show(commands)
    _verify(commands)
    _brief(commands)
    _export(commands)
    _publish(commands)
    _report(commands)


def _show(commands: Commands) -> None:
    parser = add_command(
        commands,
        "show",
        "print a recording as JSON lines",
        "Prints the records of a recording as JSON, one a line, and says whether it is complete.",
    )
    parser.add_argument("recording", type=Path, metavar="RECORDING")
    parser.add_argument("--figures", action="store_true", help="print the dive's numbers instead: distance, area, ...")


def _verify(commands: Commands) -> None:
    parser = add_command(
        commands,
        "verify",
        "check who signed recordings, that nothing in them was altered, dropped or put in, and what a proof proves",
        "Checks every record's signature, that none is missing or out of order, and the footer, and says which record\n"
        "is wrong. RECORDING is a recording, a programme.record, or a folder of them (released/AUDIENCE), from\n"
        "whomever you have it; a PROOF (`offing prove`) beside the recording of its dive opens rows of the ship's\n"
        "exact record, and what they say is told. Without --key the key is the one that a recording names itself,\n"
        "which proves only that one hand wrote it all. Ends with 2 if anything is wrong, unsigned or unfinished.",
        _VERIFIED,
    )
    parser.add_argument("recordings", type=Path, nargs="+", metavar="RECORDING|PROOF")
    parser.add_argument("--key", metavar="HEX", help="the ship's key, as `offing key` prints it on board")
    parser.add_argument("--unfinished", action="store_true", help="take a recording whose end is missing")


def _brief(commands: Commands) -> None:
    parser = add_command(
        commands,
        "brief",
        "make a briefing of a recording: one page that opens without a network",
        "Writes one HTML file that holds the page and the recording: it opens from disk, replays the dive with its\n"
        "chapters, and prints as a summary. Notes of your own stand in a TOML file, one [[note]] each:\n\n"
        '  [[note]]\n  chapter = 5             # the number of an annotation; or at = "0:28:16", a dive time\n'
        '  text = "Say how the echo was found."',
    )
    parser.add_argument("recording", type=Path, metavar="RECORDING")
    parser.add_argument("-o", "--out", type=Path, required=True, metavar="FILE.html")
    parser.add_argument("--notes", type=Path, metavar="NOTES.toml", help="what you want to say, shown to you alone")
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
    parser.add_argument("--unfinished", action="store_true", help="take a recording whose end is missing")


def _export(commands: Commands) -> None:
    parser = add_command(
        commands,
        "export",
        "write a recording as GeoJSON or CSV",
        "Writes what was released as GeoJSON (tracks, annotations, targets) or CSV (a row for each vehicle and tick),\n"
        "as the file's ending says. Coordinates are metres in the frame without a place: not longitude and latitude.",
    )
    parser.add_argument("recording", type=Path, metavar="RECORDING")
    parser.add_argument("-o", "--out", type=Path, required=True, metavar="FILE", help="FILE.geojson or FILE.csv")
    parser.add_argument("--force", action="store_true", help="write over a file that is there")


def _publish(commands: Commands) -> None:
    parser = add_command(
        commands,
        "publish",
        "write a folder with the page and recordings, for any web server",
        "Writes a folder that can be browsed: the followers' page, the recordings, a page of the expedition and of\n"
        "each dive, pictures. Any static web server can give it out, below any path. RECORDING is a closed recording,\n"
        "or a folder of them (released/AUDIENCE), all of one audience. Written again, the folder follows.",
    )
    parser.add_argument("recordings", type=Path, nargs="+", metavar="RECORDING")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="a new folder, or one made like this")
    parser.add_argument("--address", help="where it will be, for link previews, such as https://dive.example/")
    parser.add_argument("--language", default="en", help="of the pages made here: en or de (default en)")


def _report(commands: Commands) -> None:
    parser = add_command(
        commands,
        "report",
        "write a dive's report, to be read, printed or made into a PDF",
        "Writes one HTML file with times, depths, tracks, targets and the log of a dive; it opens without a network\n"
        "and prints on A4 or letter. Which version it is stands on every page:\n"
        "  of a RECORDING      the released one, made of the recording alone\n"
        "  of EXPEDITION.toml  the exact one of --dive, from the ship's own record: it is written into the private\n"
        "                      folder, or encrypted with --to",
        _REPORTED,
    )
    parser.add_argument("what", type=Path, metavar="RECORDING|EXPEDITION.toml")
    parser.add_argument("--html", type=Path, required=True, metavar="FILE")
    parser.add_argument("--dive", type=int, metavar="N", help="which dive, as the ship's own record counts them")
    parser.add_argument(
        "--to", action="append", default=[], metavar="age1...", help="encrypt the exact report to this receiver"
    )
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
