"""The keys of those who open what is encrypted: made, kept in a file, read again; and passphrases, asked for.

Rules: a private key is a line AGE-SECRET-KEY-1... (C2SP age) in a file of mode 0600, which may itself be encrypted to
a passphrase; what is told to others is the line age1... alone. A passphrase comes from the terminal or from a file
that its owner alone can read: never from an argument or the environment, and it is in no message and no log.
"""

import getpass
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pyrage
from pyrage import x25519

from relay.core.errors import LockingError
from relay.shell.locked.locking import Key, LockedTo, encrypt_bytes, locked_bytes_to, open_bytes
from relay.shell.record.whole_file import new_file

Ask = Callable[[str], str]
LEAST_LETTERS = 15  # NIST SP 800-63B-4, 3.1.1.2, for a password that stands alone (from memory)
LARGEST_BYTES = 1 << 20
_ABOUT = """\
# A key of Offing for receiving what is encrypted. Keep this file to yourself, and a copy in a safe place: whoever has
# it opens all that was encrypted to you, and without it nobody does. What you give to others is the line below alone.
# {recipient}
{secret}
"""


def ask_passphrase(prompt: str) -> str:
    """Ask for a passphrase on the terminal; LockingError if there is none to ask on."""
    try:
        os.close(os.open("/dev/tty", os.O_RDWR))
    except OSError as error:
        raise LockingError(
            f"{prompt}: there is no terminal to ask on. Give a file that holds it, --secrets-key FILE, where a command "
            "takes one"
        ) from error
    return getpass.getpass(f"{prompt}: ")


def ask_new_passphrase(prompt: str, ask: Ask = ask_passphrase) -> str:
    """Ask for a passphrase that is to be: twice, and not too short."""
    first = ask(prompt)
    if len(first) < LEAST_LETTERS:
        raise LockingError(
            f"the passphrase is too short: whoever has the file may try billions. Take {LEAST_LETTERS} letters or "
            "more, as five words drawn by dice"
        )
    if ask("the same once more") != first:
        raise LockingError("the two passphrases differ: nothing was encrypted")
    return first


def new_identity(target: Path, passphrase: str | None = None) -> str:
    """Make a key pair: the private key becomes a new file; return the line to give to others."""
    identity = x25519.Identity.generate()
    recipient = str(identity.to_public())
    data = _ABOUT.format(recipient=recipient, secret=identity).encode()
    with new_file(target) as file:
        file.write(data if passphrase is None else encrypt_bytes(data, Key(passphrase=passphrase)))
    return recipient


def read_identity(path: Path, ask: Ask = ask_passphrase) -> Key:
    """Return the private keys in a file, asking for its passphrase if it has one; LockingError if it holds none."""
    data = _own_bytes(path)
    if data.startswith((b"age-encryption.org/", b"-----BEGIN AGE ")):
        if locked_bytes_to(data, path) is LockedTo.KEYS:
            raise LockingError(f"{path} is a file that was encrypted to somebody, not a key: give the file of the key")
        data = open_bytes(data, Key(passphrase=ask(f"passphrase of {path}")), path)
    return _identities(data, path)


def read_key(path: Path, ask: Ask = ask_passphrase) -> Key:
    """Return what a file holds that opens another: private keys, or a passphrase as its one line."""
    data = _own_bytes(path)
    if data.startswith((b"#", b"AGE-", b"age-encryption.org/", b"-----BEGIN AGE ")):
        return read_identity(path, ask)
    lines = data.decode("utf-8", "replace").splitlines()
    if len(lines) != 1 or len(lines[0]) < LEAST_LETTERS:
        raise LockingError(
            f"{path} holds neither a private key (AGE-SECRET-KEY-1...) nor one line of {LEAST_LETTERS} letters or "
            "more, a passphrase"
        )
    return Key(passphrase=lines[0])


def recipients_told(key: Key) -> list[str]:
    """Return the lines to give to others that belong to private keys."""
    return [str(identity.to_public()) for identity in key.identities]


def _own_bytes(path: Path) -> bytes:
    """Return the bytes of a file that holds a secret; LockingError if others may read it."""
    try:
        with path.open("rb") as file:
            mode = stat.S_IMODE(os.fstat(file.fileno()).st_mode)
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise LockingError(f"{path} can't be read: {error.strerror}") from error
    if mode & 0o077:
        raise LockingError(f"{path} may be read by others (mode {mode:o}). Run: chmod 600 {path}")
    if len(data) > LARGEST_BYTES:
        raise LockingError(f"{path} is too large for the file of a key")
    return data


def _identities(data: bytes, path: Path) -> Key:
    lines = [line.strip() for line in data.decode("utf-8", "replace").splitlines()]
    texts = [line for line in lines if line and not line.startswith("#")]
    try:
        found = tuple(x25519.Identity.from_str(text) for text in texts)
    except pyrage.IdentityError as error:
        raise LockingError(f"{path} holds something that is no private key, or one with a slip in it") from error
    if not found:
        raise LockingError(f"{path} holds no private key: it is a line that begins with AGE-SECRET-KEY-1")
    return Key(found)
