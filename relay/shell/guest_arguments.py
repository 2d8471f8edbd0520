"""Arguments alone: inviting, taking an invitation back, and listing. What they do is in `invite`."""

import argparse
from pathlib import Path

from relay.shell.reading_arguments import Commands, add_command, secrets_key_argument

_ABOUT = """\
Makes a link for one person to an audience that the expedition file calls invited, and prints it, once: it is
kept nowhere. Whoever has the link gets in, so hand it over as you would a key. It goes to the relay that runs
on the expedition file; where none runs it counts from the next start on. The part behind # is in no address
or log: the page sends it in a header. Ashore go ids, audiences, last days and SHA-256 digests; no name does."""
_EXAMPLES = """\
examples:
  offing invite EXPEDITION.toml funders "Ada at the fund" --until 2026-12-31
  offing guests EXPEDITION.toml
  offing uninvite EXPEDITION.toml 3f9a01c4
"""


def add_guests(commands: Commands) -> None:
    """Add the three commands."""
    invite = _add(commands, "invite", "make a link to an invited audience for one person", _ABOUT)
    invite.add_argument("audience", metavar="AUDIENCE", help="its name in the expedition file")
    invite.add_argument("name", metavar="NAME", help="whom it is for, as you will know them; stays on the ship")
    invite.add_argument("--until", metavar="YYYY-MM-DD", help="the last day (UTC); default: until it is taken back")
    guests = _add(
        commands,
        "guests",
        "list who is invited",
        "Lists every invitation: id, whom it is for, the audience, its last day, how often the page was opened with\n"
        "it (on this machine: a shore counts for itself), and whether it still counts.",
    )
    uninvite = _add(
        commands,
        "uninvite",
        "take an invitation back",
        "Ends an invitation at once: whoever follows with its link is cut off, here within a second, ashore as soon\n"
        "as the link carries it.",
    )
    uninvite.add_argument("guest", metavar="ID", help="as `offing guests` lists it")
    for parser in (invite, uninvite):
        secrets_key_argument(parser)
        parser.add_argument("--who", help="who decides it (default: the user of this machine)")
    for parser in (invite, uninvite, guests):
        parser.add_argument("--json", action="store_true", help="answer as JSON, for another program")


def _add(commands: Commands, name: str, short: str, long: str) -> argparse.ArgumentParser:
    parser = add_command(commands, name, short, long, _EXAMPLES)
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
    return parser
