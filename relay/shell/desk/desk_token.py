"""The desk's token: who has it may see everything exact and decide.

Rules: 256 bits from the system's secure source, drawn once, in a file of mode 0600 beside the journal, never logged;
it is compared in constant time; whoever gives a wrong one waits for the answer, and waits alone.
"""

import asyncio
import hmac
import os
import re
import secrets
import stat
from collections.abc import Awaitable, Callable
from pathlib import Path

from relay.core.errors import SecretsError

NAME = "desk.token"
WRONG_S = 1.0
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")  # 32 octets in the alphabet of RFC 4648 section 5


def open_token(folder: Path) -> str:
    """Read the desk's token, or draw one; SecretsError if the file is none, or others may read it."""
    path = folder / NAME
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read(path)
    token = secrets.token_urlsafe(32)
    with os.fdopen(descriptor, "w") as file:
        file.write(token + "\n")
        file.flush()
        os.fsync(file.fileno())
    return token


def _read(path: Path) -> str:
    try:
        mode, text = stat.S_IMODE(path.stat().st_mode), path.read_text().strip()
    except (OSError, UnicodeDecodeError) as error:
        raise SecretsError(f"{path} can't be read: remove it, and a new token is drawn.") from error
    if mode & 0o077:
        raise SecretsError(
            f"{path} may be read by others (mode {mode:o}), and whoever has it can decide: remove it, and a new token "
            "is drawn."
        )
    if _TOKEN.fullmatch(text) is None:
        raise SecretsError(f"{path} holds no token of Offing's: remove it, and a new one is drawn.")
    return text


class Doorkeeper:
    """Judges tokens. At most `waiting` wrong ones wait at a time; one more is answered at once."""

    def __init__(
        self, token: str, *, waiting: int = 16, sleep: Callable[[float], Awaitable[object]] = asyncio.sleep
    ) -> None:
        self._wanted = f"Bearer {token}".encode()
        self._waiting, self._sleep = waiting, sleep
        self.wrong = 0

    def knows(self, authorization: str | None) -> bool:
        """Return whether a request's `Authorization` (RFC 6750 section 2.1) holds the token."""
        given = (authorization or "").encode("utf-8", "surrogateescape")
        return hmac.compare_digest(given, self._wanted)

    async def keep_waiting(self) -> None:
        """Let whoever gave a wrong token wait."""
        self.wrong += 1
        if self._waiting > 0:
            self._waiting -= 1
            try:
                await self._sleep(WRONG_S)
            finally:
                self._waiting += 1
