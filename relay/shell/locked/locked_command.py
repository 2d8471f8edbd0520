"""What is done with encrypted files by command: keys made, files opened, secrets locked, a site backed up.

Rules: what a command made is told on standard output, what to think of on standard error; no secret is in either.
"""

import argparse
import sys
from functools import partial

from relay.core.errors import LockingError
from relay.shell.exact.telling import Telling, telling
from relay.shell.locked.backup import back_up, copies_left
from relay.shell.locked.identities import (
    ask_new_passphrase,
    ask_passphrase,
    new_identity,
    read_identity,
    recipients_told,
)
from relay.shell.locked.locking import Key, LockedTo, locked_to
from relay.shell.locked.opening import Opened, open_locked
from relay.shell.locked.secrets_lock import lock_secrets, unlock_secrets
from relay.shell.plan.expedition import expedition_file, read_expedition

_ONE_SHIP = (
    "Let one ship alone go on from a record: two that go on from the same one release under the same numbers what "
    "isn't the same. Start the copy only where the relay it was made of is gone, and audits' charts lie beside it."
)
_NO_SENDER = (
    "It was encrypted to you and is whole. By whom, nothing proves: whoever knows your line can do it. Ask the sender."
)


def identity(options: argparse.Namespace) -> int:
    """Make a key to receive with, or read it again, and print the line to give to others."""
    if options.file.exists():
        lines = recipients_told(read_identity(options.file))
    else:
        passphrase = ask_new_passphrase(f"passphrase for {options.file}") if options.passphrase else None
        lines = [new_identity(options.file, passphrase)]
        print(f"{options.file} is your private key: keep it to yourself, and a copy in a safe place.", file=sys.stderr)
    print("\n".join(lines))
    print("That line is no secret: give it to whoever is to encrypt something to you.", file=sys.stderr)
    return 0


def open_received(options: argparse.Namespace) -> int:
    """Open what was received, and say what it is."""
    opened = open_locked(options.file, options.out, _key(options))
    print(opened.place)
    if opened.rows is not None:
        _say_site(opened)
    print(_NO_SENDER, file=sys.stderr)
    return 0


def _key(options: argparse.Namespace) -> Key:
    if options.identity is not None:
        return read_identity(options.identity)
    if locked_to(options.file) is LockedTo.KEYS:
        raise LockingError(f"{options.file} is encrypted to a key: give the file that holds yours, --identity KEYFILE")
    return Key(passphrase=ask_passphrase(f"passphrase of {options.file}"))


def _say_site(opened: Opened) -> None:
    print(f"It is a ship's site with {opened.rows} rows in its journal: exact and private.", file=sys.stderr)
    for name in opened.elsewhere:
        print(
            f"Aboard, its {name} folder lay elsewhere: before anything runs on the copy, set [storage] "
            f'{name} = "{name}" in {opened.expedition}.',
            file=sys.stderr,
        )
    print(_ONE_SHIP, file=sys.stderr)


def secrets(options: argparse.Namespace) -> int:
    """Encrypt the site's secrets where they lie, or make them plain again."""
    private = read_expedition(expedition_file(options.expedition)).private
    if options.secrets == "unlock":
        print(unlock_secrets(private, options.secrets_key))
        return 0
    print(lock_secrets(private, options.secrets_key))
    what = "the passphrase" if options.secrets_key is None else str(options.secrets_key)
    print(
        f"Without {what} this site is lost: keep it apart from this disk, and a copy ashore. What lay here before may "
        "still be in the disk's free blocks and in older copies.",
        file=sys.stderr,
    )
    return 0


def backup(options: argparse.Namespace) -> int:
    """Back a site up, and say what is in it."""
    expedition = read_expedition(expedition_file(options.expedition))
    for left in copies_left(expedition.private):
        print(
            f"{left} is plain and exact, of a command that was killed or still runs: see, and remove it",
            file=sys.stderr,
        )
    with telling() as tell:
        done = back_up(expedition, options.out, options.to, partial(_tell, tell))
    print(options.out)
    print(
        f"{done.files} files, {done.octets >> 20} MiB, {done.rows} rows of the journal; `offing open` opens it for "
        "whoever has the key. Charts of audits aren't in it.",
        file=sys.stderr,
    )
    return 0


def _tell(tell: Telling, done: int, octets: int) -> None:
    tell("backing up (MiB)", done >> 20, octets >> 20)
