"""Files that leave the ship, or lie still aboard, encrypted in the age format (C2SP, age-encryption.org/v1).

Rules: the format and its arithmetic are a library's (`pyrage`); here are keys, files and words for what goes wrong.
What goes to somebody is encrypted to recipients (`age1...`, X25519), streaming; a passphrase is for small files that
stay with one hand, and is never an argument. Nothing is written over; a file is there whole, with mode 0600 and on
the disk, or not at all: so what is opened was authenticated to its last byte before it has its name.
"""

import base64
import binascii
import contextlib
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

import pyrage
from pyrage import passphrase as by_passphrase
from pyrage import x25519

from relay.core.errors import LockingError
from relay.shell.record.whole_file import new_file

T = TypeVar("T")

ENDING = ".age"
SMALL_BYTES = 64 << 20  # the library opens what a passphrase locks in memory
_BINARY = b"age-encryption.org/v1\n-> "
_ARMOR = b"-----BEGIN AGE ENCRYPTED FILE-----"
_NOT_AGE = "{} isn't encrypted in the age format, or its beginning is damaged: ask for it again, as it was made"


class LockedTo(Enum):
    """What a file is encrypted to."""

    KEYS = "keys"
    PASSPHRASE = "a passphrase"


@dataclass(frozen=True, slots=True)
class Key:
    """What opens a file: private keys, or a passphrase. Neither is ever shown."""

    identities: tuple[Any, ...] = field(default=(), repr=False)
    passphrase: str | None = field(default=None, repr=False)


def recipients_of(texts: Sequence[str]) -> list[Any]:
    """Return the recipients that texts name, `age1...` each; LockingError where one isn't or there is none."""
    if not texts:
        raise LockingError("nobody is named to encrypt it to: give --to age1..., which `offing identity` prints")
    return [_recipient(text.strip()) for text in texts]


def _recipient(text: str) -> Any:
    if text.upper().startswith("AGE-SECRET-KEY-"):
        raise LockingError(
            "what was given to encrypt to is somebody's private key: it is known to others now, so let a new one be "
            "made (`offing identity`), and give the line of it that begins with age1"
        )
    try:
        return x25519.Recipient.from_str(text)
    except pyrage.RecipientError as error:
        raise LockingError(
            f"{text!r} is nobody's line to encrypt to: it begins with age1 and has 62 letters; copy it whole"
        ) from error


def encrypt_file(source: Path, target: Path, recipients: Sequence[str], *, over: bool = False) -> None:
    """Encrypt a file of any size to recipients (`age1...`), streaming, as a new file; LockingError says why not.

    `over`: in place of a file that is there, once this one is whole.
    """
    keys = recipients_of(recipients)
    with _reading(source) as plain, new_file(target, over=over) as out:
        _pass_on(pyrage.encrypt_io, plain, out, keys, target)


def encrypt_stream(
    write: Callable[[BinaryIO], None], target: Path, recipients: Sequence[str], *, over: bool = False
) -> None:
    """Encrypt what `write` writes, as it writes it; whatever `write` raises ends it, and leaves nothing new."""
    keys = recipients_of(recipients)
    with new_file(target, over=over) as out, ThreadPoolExecutor(1, "locking") as pool:
        reading, writing = os.pipe()
        with os.fdopen(reading, "rb") as plain:
            feeding = pool.submit(_feed, write, writing)
            _pass_on(pyrage.encrypt_io, plain, out, keys, target)
        feeding.result()


def _feed(write: Callable[[BinaryIO], None], writing: int) -> None:
    with os.fdopen(writing, "wb") as stream:
        write(stream)


def encrypt_bytes(data: bytes, to: Key) -> bytes:
    """Return a small thing encrypted to whoever has a key, or to its passphrase (armored: it is text)."""
    if to.passphrase is not None:
        return bytes(by_passphrase.encrypt(data, to.passphrase, armored=True))
    return bytes(pyrage.encrypt(data, [identity.to_public() for identity in to.identities], armored=True))


def open_file(source: Path, target: Path, key: Key) -> None:
    """Decrypt a file as a new one: whole, as it was encrypted, or LockingError and nothing is written."""
    if locked_to(source) is LockedTo.PASSPHRASE:
        with new_file(target) as out:
            out.write(open_bytes(_small(source), key, source))
        return
    if not key.identities:
        raise LockingError(f"{source} is encrypted to a key, not to a passphrase: give --identity and its file")
    with _reading(source) as locked, new_file(target) as out:
        _pass_on(pyrage.decrypt_io, locked, out, key.identities, source)


def open_bytes(data: bytes, key: Key, name: Path) -> bytes:
    """Return what small encrypted bytes hold; `name` is for the words of a LockingError."""
    try:
        if key.passphrase is not None:
            return bytes(by_passphrase.decrypt(data, key.passphrase))
        return bytes(pyrage.decrypt(data, key.identities))
    except (pyrage.DecryptError, OSError) as error:
        raise _unopened(name, error, key) from error


def locked_to(path: Path) -> LockedTo:
    """Return what a file is encrypted to; LockingError if it is none of the age format."""
    with _reading(path) as file:
        return locked_bytes_to(file.read(1024), path)


def locked_bytes_to(data: bytes, name: Path) -> LockedTo:
    """Return what the beginning of a file says it is encrypted to."""
    if data.lstrip().startswith(_ARMOR):
        try:
            data = base64.b64decode(data.split()[4])
        except (IndexError, binascii.Error) as error:
            raise LockingError(_NOT_AGE.format(name)) from error
    if not data.startswith(_BINARY):
        raise LockingError(_NOT_AGE.format(name))
    return LockedTo.PASSPHRASE if data[len(_BINARY) :].startswith(b"scrypt ") else LockedTo.KEYS


@contextlib.contextmanager
def _reading(path: Path) -> Iterator[BinaryIO]:
    try:
        file = path.open("rb")
    except OSError as error:
        raise LockingError(f"{path} can't be read: {error.strerror}") from error
    with file:
        yield file


def _small(path: Path) -> bytes:
    with _reading(path) as file:
        data = file.read(SMALL_BYTES + 1)
    if len(data) > SMALL_BYTES:
        raise LockingError(
            f"{path} is encrypted to a passphrase and has more than {SMALL_BYTES >> 20} MiB: any program for the age "
            "format opens it; or let it be encrypted to a key, which has no such bound"
        )
    return data


class _Noted:
    """A file at the library's hand, which gives an exception of the file's on as words alone: this keeps it."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.fault: OSError | None = None

    def read(self, size: int) -> bytes:
        """Read from the file."""
        return self._noting(lambda: self._file.read(size))

    def write(self, data: bytes) -> int:
        """Write to the file."""
        return self._noting(lambda: self._file.write(data))

    def flush(self) -> None:
        """Let what was written reach the file."""
        self._noting(self._file.flush)

    def _noting(self, act: Callable[[], T]) -> T:
        try:
            return act()
        except OSError as error:
            self.fault = error
            raise


def _pass_on(act: Callable[..., None], source: BinaryIO, target: BinaryIO, keys: Sequence[Any], name: Path) -> None:
    """Let the library read, work and write; a disk's fault stays that, anything else is the file's or the key's."""
    reading, writing = _Noted(source), _Noted(target)
    try:
        act(reading, writing, keys)
    except (pyrage.EncryptError, pyrage.DecryptError, OSError) as error:
        if reading.fault is not None:
            raise LockingError(f"{source.name} can't be read: {reading.fault.strerror}") from error
        if writing.fault is not None:
            raise writing.fault from error
        raise _unopened(name, error, Key(tuple(keys))) from error


def _unopened(name: Path, error: Exception, key: Key) -> LockingError:
    """Return what it means that the library doesn't open a file."""
    said = str(error)
    if "No matching keys" in said:
        return LockingError(
            f"{name} isn't encrypted to what was given to open it: it was encrypted to somebody else's key, or to a "
            "passphrase. Give that, or let it be encrypted to your line that begins with age1"
        )
    if key.passphrase is not None and "Decryption failed" in said:
        return LockingError(f"{name} doesn't open: the passphrase isn't the one it was encrypted to")
    return LockingError(f"{name} is damaged, cut off or was changed ({said}): nothing of it is given out")
