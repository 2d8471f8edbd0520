"""The file that holds a site's key: drawn once, mode 0600, beside the journal, never logged.

Rules: the journal keeps a fingerprint of the key; a file that is missing, changed, or readable by others stops
the start, with the way out. A copy kept ashore in a safe place is the back-up: put it back and start again.
"""

import json
import os
import secrets
import stat
from hashlib import sha256
from pathlib import Path

from relay.core.errors import SecretsError
from relay.core.secrets import Secrets

NAME = "secrets.json"
MARK = "secrets fingerprint"


def fingerprint(site: Secrets) -> str:
    """Return a text that tells one key from another and gives neither away."""
    return sha256(b"offing fingerprint\0" + site.key).hexdigest()[:32]


def open_secrets(folder: Path, known: str | None) -> Secrets:
    """Read the site's secrets, or draw them if the journal has never known any (`known` is None)."""
    path = folder / NAME
    if path.exists():
        site = read_secrets(path)
    elif known is None:
        site = Secrets(secrets.token_bytes(32))
        write_secrets(folder, site)
    else:
        raise SecretsError(
            f"{path} is missing, but this site's journal was written with it. Put the back-up copy there; without "
            "it the track can't go on in the same frame, and the site needs a new name and a new private folder."
        )
    if known is not None and fingerprint(site) != known:
        raise SecretsError(
            f"{path} is not the file this site's journal was written with. Put the right one back; to begin "
            "afresh give the site a new private folder."
        )
    return site


def read_secrets(path: Path) -> Secrets:
    """Read a secrets file; SecretsError if it isn't one or others may read it."""
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        text = path.read_text()
    except OSError as error:
        raise SecretsError(f"{path} can't be read: {error.strerror}.") from error
    if mode & 0o077:
        raise SecretsError(f"{path} may be read by others (mode {mode:o}). Run: chmod 600 {path}")
    try:
        value = json.loads(text)
        return Secrets(bytes.fromhex(value["key"]))
    except (ValueError, KeyError, TypeError) as error:
        raise SecretsError(f"{path} is not a secrets file of Offing. Put the back-up copy there.") from error


def seeded_secrets(seed: int) -> Secrets:
    """Return the secrets that belong to a rehearsal's seed; never for a real site."""
    return Secrets(sha256(f"offing rehearsal {seed}".encode()).digest())


def write_secrets(folder: Path, site: Secrets) -> None:
    """Write a site's secrets file, durably; never over one that is there (FileExistsError)."""
    text = json.dumps({"offing": "secrets of a site: keep a copy in a safe place ashore", "key": site.key.hex()})
    descriptor = os.open(folder / NAME, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w") as file:
        file.write(text + "\n")
        file.flush()
        os.fsync(file.fileno())
