"""`offing secrets lock` and `unlock`: the site's secrets encrypted where they lie, and back.

Rules: at every moment one whole file is there that gives the same secrets: the new one is written, made durable and
opened again before the old one goes. Which of the two counts is `secrets_file`'s; whether the relay runs or not is
all the same, for it has read them. What was on the disk before may stay in its free blocks, and in copies.
"""

from pathlib import Path

from relay.core.errors import SecretsError
from relay.core.secrets import Secrets
from relay.shell.locked.identities import Ask, ask_new_passphrase, ask_passphrase, read_key
from relay.shell.locked.locking import Key, encrypt_bytes, open_bytes
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.journal import read_marks
from relay.shell.record.secrets_file import LOCKED, MARK, NAME, fingerprint, read_secrets, secrets_text, write_secrets
from relay.shell.record.whole_file import new_file, sync


def lock_secrets(private: Path, key: Path | None, ask: Ask = ask_passphrase) -> Path:
    """Encrypt a site's secrets to the key in a file, or to a passphrase asked for; return the file that holds them."""
    plain, locked = private / NAME, private / LOCKED
    if not plain.exists():
        there = f"{locked} is there: they are encrypted already" if locked.exists() else "there are none yet"
        raise SecretsError(f"{private} has no {NAME} to encrypt: {there}")
    site = read_secrets(plain)
    _check(site, private, plain)
    if locked.exists():  # a lock that was cut off between its two steps
        if read_secrets(locked, key, ask) != site:
            raise SecretsError(f"{locked} holds other secrets than {plain}: move away the one that isn't this site's")
    else:
        _write_locked(locked, site, _key(key, ask))
    _remove(plain)
    return locked


def unlock_secrets(private: Path, key: Path | None, ask: Ask = ask_passphrase) -> Path:
    """Write a site's secrets as a plain file again, and return it."""
    plain, locked = private / NAME, private / LOCKED
    if not locked.exists():
        raise SecretsError(f"{private} has no {LOCKED}: the secrets aren't encrypted")
    site = read_secrets(locked, key, ask)
    _check(site, private, locked)
    if plain.exists():
        if read_secrets(plain) != site:
            raise SecretsError(f"{plain} holds other secrets than {locked}: move away the one that isn't this site's")
    else:
        write_secrets(private, site)
        sync(private)
    _remove(locked)
    return plain


def _key(key: Path | None, ask: Ask) -> Key:
    return Key(passphrase=ask_new_passphrase("passphrase for the secrets", ask)) if key is None else read_key(key, ask)


def _write_locked(locked: Path, site: Secrets, key: Key) -> None:
    text = secrets_text(site)
    with new_file(locked) as file:
        file.write(encrypt_bytes(text, key))
    if open_bytes(locked.read_bytes(), key, locked) != text:
        raise SecretsError(f"{locked} doesn't hold what was written: the disk is failing; {NAME} stays as it is")


def _check(site: Secrets, private: Path, path: Path) -> None:
    """Refuse secrets that the journal doesn't know: to encrypt them would hide that the right ones are lost."""
    known = read_marks(private / JOURNAL).get(MARK)
    if known is not None and known != fingerprint(site):
        raise SecretsError(f"{path} is not the file this site's journal was written with: put the right one back first")


def _remove(path: Path) -> None:
    path.unlink()
    sync(path.parent)
