"""`offing key`: the site's public key, the only thing that ever comes out of the secrets file.

Rules: printed before the first start, it is the key that the start will sign with: what is drawn here is noted in the
journal as by the relay itself. A relay that runs is not disturbed.
"""

import argparse
import sqlite3
import sys
from pathlib import Path

from relay.core.errors import JournalError, SecretsError
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.journal import JournalFile, read_marks
from relay.shell.record.secrets_file import MARK, fingerprint, open_secrets, secrets_path


def show_key(options: argparse.Namespace) -> int:
    """Print the key; SecretsError where the site has lost its secrets."""
    private = read_expedition(options.expedition).private
    print(public_key(private, options.secrets_key).hex())
    print("It is no secret: whoever has it can check what the ship released, and sign nothing.", file=sys.stderr)
    return 0


def public_key(private: Path, key: Path | None = None) -> bytes:
    """Return the public key of the site whose private folder this is; its secrets are drawn if it has none yet.

    `key`: the file that opens the secrets where they are encrypted.
    """
    try:
        secrets = _open(private, key) if secrets_path(private) is not None else _draw(private)
    except (OSError, sqlite3.Error, JournalError) as error:
        raise SecretsError(f"the site's key can't be had from {private}: {error}; see to it, and ask again") from error
    return Signer(secrets.signing_seed).key


def _open(private: Path, key: Path | None) -> Secrets:
    return open_secrets(private, read_marks(private / JOURNAL).get(MARK), key)


def _draw(private: Path) -> Secrets:
    file = JournalFile(private)
    try:
        secrets = open_secrets(private, file.marks().get(MARK))
        file.commit([], {MARK: fingerprint(secrets)})
    finally:
        file.close()
    return secrets
