"""Arguments of `offing prove` and `offing journal verify`.

Rules: arguments alone, as in `__main__`.
"""

import argparse
from pathlib import Path

from relay.shell.locked.locked_arguments import to_argument
from relay.shell.reading_arguments import Commands, add_command, secrets_key_argument

_PROVED = """\
example, for an archaeologist who has the public recording of dive 1 and is to trust one position:
  offing prove EXPEDITION.toml --target Boiler --audience public --out boiler.proof.age --to age1...
and what she does, with the ship's key from `offing key`:
  offing open boiler.proof.age --identity my.key --out boiler.proof
  offing verify boiler.proof dive-001.recording --key KEY
"""


def add_prove(commands: Commands) -> None:
    """Add the command `prove`."""
    parser = add_command(
        commands,
        "prove",
        "write a proof that opens one row of the exact record, or a target, and nothing else",
        "Writes a file with which anybody who has a recording can check that a row of the journal was in the ship's\n"
        "exact record before a moment of that dive, byte for byte: with its values and the ship's time. It opens the\n"
        "rows that you name, exact as they are, and tells nothing of any other but how many lie between them. Only\n"
        "what a recording has sealed can be proved by it: each minute of a dive, as late as everything else. The file\n"
        "may lie in the private folder, or anywhere but among what is released if it is encrypted (--to).",
        _PROVED,
    )
    _expedition(parser)
    parser.add_argument(
        "--record", type=int, action="append", default=[], metavar="ROW", help="a row of the journal, by its number"
    )
    parser.add_argument(
        "--target",
        action="append",
        default=[],
        metavar="NAME",
        help="all that was decided of a target, its place too",
    )
    parser.add_argument("--find", action="append", default=[], metavar="NAME", help="all that was recorded of a find")
    parser.add_argument("--audience", required=True, help="whose recordings are to prove it")
    parser.add_argument("--dive", type=int, metavar="N", help="by this dive's recording (default: the first that can)")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="such as private/boiler.proof")
    to_argument(parser)
    parser.add_argument("--force", action="store_true", help="write over a proof that is there")


def add_journal_verify(commands: Commands) -> None:
    """Add `verify` to the commands of `journal`."""
    parser = add_command(
        commands,
        "verify",
        "check the whole exact record: every byte, every row, every seal",
        "Checks the journal's file against the sums that were written when it was closed, its rows one by one, each\n"
        "minute's seal anew, every seal in the recordings that were released, their signatures, and the logs that\n"
        "were imported, and the files of stills and finds. Says what is wrong and where, and which rows no released\n"
        "seal bears out. The relay may run meanwhile: then there are no sums. Nothing is changed. Ends with 2 if\n"
        "anything is wrong.",
    )
    _expedition(parser)


def _expedition(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "expedition", type=Path, metavar="EXPEDITION.toml", help="the expedition file, or the folder it lies in"
    )
    secrets_key_argument(parser)
