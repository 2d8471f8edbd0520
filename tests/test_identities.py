"""Keys to receive with, and passphrases: made, kept for their owner alone, read again, and every slip said."""

import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

import age_by_hand
from relay.core.errors import LockingError, OperatorError
from relay.shell.locked.identities import (
    LEAST_LETTERS,
    ask_new_passphrase,
    ask_passphrase,
    new_identity,
    read_identity,
    read_key,
    recipients_told,
)
from relay.shell.locked.locking import encrypt_bytes, encrypt_file, open_file
from terminal import on_terminal

PASSPHRASE = "lantern moth isoline marr tern"


def _asked(*answers: str) -> Callable[[str], str]:
    left = list(answers)
    return lambda prompt: left.pop(0)


def _never(prompt: str) -> str:
    raise AssertionError(f"asked: {prompt}")


def test_a_new_key_opens_what_was_encrypted_to_its_line(tmp_path: Path) -> None:
    """The line that is told belongs to the key in the file, which is for its owner alone and never made twice."""
    line = new_identity(tmp_path / "mine.key")
    assert stat.S_IMODE((tmp_path / "mine.key").stat().st_mode) == 0o600
    key = read_identity(tmp_path / "mine.key", _never)
    assert recipients_told(key) == [line] and line in (tmp_path / "mine.key").read_text()
    secret = age_by_hand.secret_of((tmp_path / "mine.key").read_text().split()[-1])
    private = age_by_hand.X25519PrivateKey.from_private_bytes(secret)
    assert age_by_hand.secret_of(line) == private.public_key().public_bytes_raw()
    (tmp_path / "plain").write_bytes(b"as found")
    encrypt_file(tmp_path / "plain", tmp_path / "a.age", [line])
    open_file(tmp_path / "a.age", tmp_path / "out", key)
    assert (tmp_path / "out").read_bytes() == b"as found"
    with pytest.raises(OperatorError, match="is there already"):
        new_identity(tmp_path / "mine.key")


@pytest.mark.slow
def test_a_key_may_have_a_passphrase(tmp_path: Path) -> None:
    """Its file then opens with the passphrase alone, which is asked for; another one is said to be another."""
    line = new_identity(tmp_path / "mine.key", PASSPHRASE)
    data = (tmp_path / "mine.key").read_bytes()
    assert line.encode() not in data and b"AGE-SECRET" not in data
    assert recipients_told(read_identity(tmp_path / "mine.key", _asked(PASSPHRASE))) == [line]
    (tmp_path / "mine.key").write_bytes(age_by_hand.sealed_with(b"AGE-SECRET-KEY-1...", PASSPHRASE))
    with pytest.raises(LockingError, match="the passphrase isn't the one") as caught:
        read_identity(tmp_path / "mine.key", _asked("lantern moth isoline marr turn"))
    assert "turn" not in str(caught.value)


def test_key_files_of_other_programs_are_read(tmp_path: Path) -> None:
    """Several keys, comments, blank lines and Windows' ends of lines are as the format's files have them."""
    lines = [new_identity(tmp_path / name) for name in ("one", "two")]
    secrets = [(tmp_path / name).read_text().split()[-1] for name in ("one", "two")]
    text = f"# created: 2026-05-01\r\n# public key: {lines[0]}\r\n{secrets[0]}\r\n\r\n  {secrets[1]}\r\n"
    _write(tmp_path / "both", text.encode())
    assert recipients_told(read_identity(tmp_path / "both", _never)) == lines
    assert recipients_told(read_key(tmp_path / "both", _never)) == lines


def _write(path: Path, data: bytes, mode: int = 0o600) -> Path:
    path.write_bytes(data)
    path.chmod(mode)
    return path


def test_every_slip_in_a_key_file_is_said_and_no_secret_repeated(tmp_path: Path) -> None:
    """What is missing, readable by others, empty, cut short, somebody's encrypted file, or huge."""
    line = new_identity(tmp_path / "mine.key")
    secret = (tmp_path / "mine.key").read_text().split()[-1]
    (tmp_path / "plain").write_bytes(b"as found")
    encrypt_file(tmp_path / "plain", tmp_path / "a.age", [line])
    faults = {
        tmp_path / "nothing": "can't be read",
        _write(tmp_path / "open", secret.encode(), 0o640): "Run: chmod 600",
        _write(tmp_path / "empty", b"# nothing\n"): "holds no private key",
        _write(tmp_path / "cut", secret[:-3].encode()): "no private key, or one with a slip",
        _write(tmp_path / "line", line.encode()): "no private key",
        tmp_path / "a.age": "encrypted to somebody, not a key",
        _write(tmp_path / "huge", bytes(1 + (1 << 20))): "too large",
    }
    for path, why in faults.items():
        with pytest.raises(LockingError, match=why) as caught:
            read_identity(path, _never)
        assert secret[20:40] not in str(caught.value)


def test_a_key_for_a_service_is_a_private_key_or_one_line(tmp_path: Path) -> None:
    """A file of one line is a passphrase, without its end of line; two lines or a short one are refused, unrepeated."""
    assert read_key(_write(tmp_path / "a", PASSPHRASE.encode() + b"\n"), _never).passphrase == PASSPHRASE
    assert read_key(_write(tmp_path / "b", b"x" * LEAST_LETTERS), _never).passphrase == "x" * LEAST_LETTERS
    for bad in (b"x" * (LEAST_LETTERS - 1), b"", PASSPHRASE.encode() + b"\nand more\n"):
        with pytest.raises(LockingError, match="neither a private key") as caught:
            read_key(_write(tmp_path / "c", bad), _never)
        assert "lantern" not in str(caught.value) and "xxx" not in str(caught.value)


def test_a_new_passphrase_is_asked_for_twice_and_has_a_least_length() -> None:
    """At the limit it is taken, one letter below it isn't; two that differ are refused."""
    least = "x" * LEAST_LETTERS
    assert ask_new_passphrase("new", _asked(least, least)) == least
    with pytest.raises(LockingError, match="too short"):
        ask_new_passphrase("new", _asked(least[1:], least[1:]))
    with pytest.raises(LockingError, match="differ"):
        ask_new_passphrase("new", _asked(least, least + "y"))


def test_a_passphrase_is_asked_for_on_the_terminal_unseen() -> None:
    """A process with a terminal asks there and shows nothing of the answer; one without says what to do instead."""
    code, seen = on_terminal(["-c", _ASKING], [PASSPHRASE])
    assert (code, PASSPHRASE in seen) == (0, False)
    assert f"{len(PASSPHRASE)} letters" in seen


_ASKING = (
    "from relay.shell.locked.identities import ask_passphrase; print(len(ask_passphrase('passphrase')), 'letters')"
)


def test_without_a_terminal_the_other_way_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no terminal can be opened, as in a service, it isn't asked for on standard input."""

    def none(path: str, flags: int) -> int:
        raise OSError(6, "No such device or address")

    monkeypatch.setattr(os, "open", none)
    with pytest.raises(LockingError, match=r"no terminal to ask on.*--secrets-key FILE"):
        ask_passphrase("passphrase of the secrets")


def test_small_things_are_encrypted_to_every_key_of_a_file(tmp_path: Path) -> None:
    """What is encrypted to a key file opens with it, and reads as text."""
    new_identity(tmp_path / "mine.key")
    key = read_identity(tmp_path / "mine.key", _never)
    data = encrypt_bytes(b"secret", key)
    assert data.startswith(b"-----BEGIN AGE ENCRYPTED FILE-----\n") and data.isascii()
    (tmp_path / "a.age").write_bytes(data)
    open_file(tmp_path / "a.age", tmp_path / "out", key)
    assert (tmp_path / "out").read_bytes() == b"secret"
