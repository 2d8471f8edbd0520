"""Arguments of what is encrypted: making a key to receive with, opening, and the secrets at rest.

Rules: arguments alone; no passphrase is ever one. What they do is in `record.locked_command`.
"""

import argparse
from pathlib import Path

from relay.shell.reading_arguments import Commands, add_command, secrets_key_argument

_IDENTITY = """\
example, by whoever is to receive an export or a backup:
  offing identity my.key      prints age1...: send that line to the ship, and keep my.key to yourself
"""
_OPEN = """\
examples:
  offing open dive-3.gpkg.age --identity my.key --out dive-3.gpkg
  offing open harrow-tern.age --identity my.key --out harrow-tern     a whole backup becomes a folder
"""
_SECRETS = """\
examples:
  offing identity ship.key && offing secrets lock EXPEDITION.toml --secrets-key ship.key
  offing ship EXPEDITION.toml --secrets-key ship.key
"""


def add_locked(commands: Commands) -> None:
    """Add the three commands."""
    _identity(commands)
    _open(commands)
    _secrets(commands)


def to_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command be told to whom it encrypts what it writes."""
    parser.add_argument(
        "--to",
        action="append",
        default=[],
        metavar="RECIPIENT",
        help="encrypt it to whoever has the key of this line, age1..., which `offing identity` prints for them; may be "
        "given several times",
    )


def _identity(commands: Commands) -> None:
    parser = add_command(
        commands,
        "identity",
        "make a key to receive encrypted files with, and print the line that others encrypt to",
        "Writes a new private key to FILE, for its owner alone, and prints the line that belongs to it (age1...),\n"
        "which is no secret. If FILE is there already, its line is printed again. Whoever loses FILE can open nothing\n"
        "that was encrypted to it: keep a copy in a safe place. To try a passphrase takes seconds and half a gigabyte\n"
        "of memory, for you and for whoever guesses.",
        _IDENTITY,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="where the private key is, or is to be")
    parser.add_argument(
        "--passphrase", action="store_true", help="encrypt FILE itself to a passphrase, asked for on the terminal"
    )


def _open(commands: Commands) -> None:
    parser = add_command(
        commands,
        "open",
        "open an encrypted export or backup that you were sent",
        "Opens a file that was encrypted to your key (or to a passphrase, which is then asked for), checks it to its\n"
        "last byte, and writes what it holds. A file that was damaged, cut off or changed is refused whole. A ship's\n"
        "backup becomes a folder, with which `offing ship` goes on where she was. Other programs for the age format\n"
        "open these files, too.",
        _OPEN,
    )
    parser.add_argument("file", type=Path, metavar="FILE.age", help="the encrypted file")
    parser.add_argument("--identity", type=Path, metavar="KEYFILE", help="the file with your private key")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="PLACE", help="the file or folder to write, which isn't there yet"
    )


def _secrets(commands: Commands) -> None:
    parser = add_command(
        commands,
        "secrets",
        "encrypt the site's secrets where they lie, or make them plain again",
        "The secrets file tells the place of everything that was ever released. Encrypted, a copy of it gives nothing\n"
        "away; `offing ship` then asks for the passphrase on the terminal, or takes --secrets-key. Without the key or\n"
        "passphrase the site is lost: keep it apart from the disk, and a copy ashore. The journal stays as it is.",
        _SECRETS,
    )
    below = parser.add_subparsers(dest="secrets", required=True, metavar="WHAT")
    for name, short in (("lock", "encrypt private/secrets.json as private/secrets.age"), ("unlock", "the way back")):
        part = add_command(below, name, short, f"{short[0].upper()}{short[1:]}. The relay may run meanwhile.")
        part.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
        secrets_key_argument(part)
