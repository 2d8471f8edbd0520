"""The file that holds a site's key: drawn once, mode 0600, beside the journal, never logged.

Rules: the journal keeps a fingerprint of the key; a file that is missing, changed, or readable by others stops
the start, with the way out. A copy kept ashore in a safe place is the back-up: put it back and start again.
It is `secrets.json`, or `secrets.age`, which is the same encrypted: opened with a file that holds its key, or a
passphrase asked for on the terminal, and kept in memory alone. While both are there, as after a crash between
two steps of locking it, the plain one counts.
"""

import json
import logging
import secrets
import stat
from hashlib import sha256
from pathlib import Path

from relay.core.errors import SecretsError
from relay.core.secrets import Secrets
from relay.shell.locked.identities import Ask, ask_passphrase, read_key
from relay.shell.locked.locking import Key, LockedTo, locked_bytes_to, open_bytes
from relay.shell.record.whole_file import new_file

NAME = "secrets.json"
LOCKED = "secrets.age"
MARK = "secrets fingerprint"
BOTH = "%s holds %s beside %s: the plain one counts. `offing secrets lock` takes %s away, or move away the wrong one"
log = logging.getLogger("offing.secrets")


def fingerprint(site: Secrets) -> str:
    """Return a text that tells one key from another and gives neither away."""
    return sha256(b"offing fingerprint\0" + site.key).hexdigest()[:32]


def secrets_path(folder: Path) -> Path | None:
    """Return which of the two files counts; None if a folder has neither."""
    return next((folder / name for name in (NAME, LOCKED) if (folder / name).exists()), None)


def open_secrets(folder: Path, known: str | None, key: Path | None = None) -> Secrets:
    """Read the site's secrets, or draw them if the journal has never known any (`known` is None).

    `key`: the file that opens them where they are encrypted; without it a passphrase is asked for on the terminal.
    """
    path = secrets_path(folder)
    if path == folder / NAME and (folder / LOCKED).exists():
        log.warning(BOTH, folder, NAME, LOCKED, NAME)
    if path is not None:
        site = read_secrets(path, key)
    elif known is None:
        path, site = folder / NAME, Secrets(secrets.token_bytes(32))
        write_secrets(folder, site)
    else:
        raise SecretsError(
            f"{folder / NAME} is missing, but this site's journal was written with it. Put the back-up copy there; "
            "without it the track can't go on in the same frame, and the site needs a new name and a new private "
            "folder."
        )
    if known is not None and fingerprint(site) != known:
        raise SecretsError(
            f"{path} is not the file this site's journal was written with. Put the right one back; to begin "
            "afresh give the site a new private folder."
        )
    return site


def read_secrets(path: Path, key: Path | None = None, ask: Ask = ask_passphrase) -> Secrets:
    """Read a secrets file, plain or encrypted; SecretsError if it isn't one or others may read it.

    LockingError if `key`, or what `ask` returns, doesn't open it.
    """
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        data = path.read_bytes()
    except OSError as error:
        raise SecretsError(f"{path} can't be read: {error.strerror}.") from error
    if mode & 0o077:
        raise SecretsError(f"{path} may be read by others (mode {mode:o}). Run: chmod 600 {path}")
    if path.suffix == Path(LOCKED).suffix:
        data = open_bytes(data, _key_to(data, path, key, ask), path)
    try:
        value = json.loads(data)
        return Secrets(bytes.fromhex(value["key"]))
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise SecretsError(f"{path} is not a secrets file of Offing. Put the back-up copy there.") from error


def _key_to(data: bytes, path: Path, key: Path | None, ask: Ask) -> Key:
    """Return what opens encrypted secrets: what a file holds, or a passphrase that is asked for."""
    to = locked_bytes_to(data, path)
    if key is None and to is LockedTo.KEYS:
        raise SecretsError(f"{path} is encrypted to a key: give the file that holds it, --secrets-key FILE")
    found = Key(passphrase=ask(f"passphrase of {path}")) if key is None else read_key(key, ask)
    if (found.passphrase is None) is (to is LockedTo.PASSPHRASE):
        raise SecretsError(
            f"{key} holds {'a passphrase' if found.passphrase else 'a key'}, and {path} is encrypted to {to.value}"
        )
    return found


def secrets_text(site: Secrets) -> bytes:
    """Return what a plain secrets file of a site holds."""
    text = json.dumps({"offing": "secrets of a site: keep a copy in a safe place ashore", "key": site.key.hex()})
    return text.encode() + b"\n"


def seeded_secrets(seed: int) -> Secrets:
    """Return the secrets that belong to a rehearsal's seed; never for a real site."""
    return Secrets(sha256(f"offing rehearsal {seed}".encode()).digest())


def write_secrets(folder: Path, site: Secrets) -> None:
    """Write a site's secrets file, whole or not at all; OperatorError where one is there or the disk takes nothing."""
    with new_file(folder / NAME) as file:
        file.write(secrets_text(site))
