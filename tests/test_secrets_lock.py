"""The secrets at rest: encrypted and back, whole at every moment, opened by key or passphrase, every slip said."""

import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

import age_by_hand
import relay.shell.locked.secrets_lock as locking_secrets
from expeditions import RIGHT
from relay.core.errors import LockingError, OperatorError, SecretsError
from relay.shell.locked.identities import new_identity, read_identity
from relay.shell.locked.locking import encrypt_bytes
from relay.shell.locked.secrets_lock import lock_secrets, unlock_secrets
from relay.shell.record.journal import JournalFile
from relay.shell.record.secrets_file import (
    LOCKED,
    MARK,
    NAME,
    fingerprint,
    open_secrets,
    read_secrets,
    secrets_text,
    seeded_secrets,
    write_secrets,
)
from terminal import on_terminal

PASSPHRASE = "lantern moth isoline marr tern"


def _asked(*answers: str) -> Callable[[str], str]:
    left = list(answers)
    return lambda prompt: left.pop(0)


@pytest.fixture
def private(tmp_path: Path) -> Path:
    """Return a private folder whose journal knows its secrets, and a key beside it."""
    folder = tmp_path / "private"
    file = JournalFile(folder)
    file.commit([], {MARK: fingerprint(open_secrets(folder, None))})
    file.close()
    new_identity(tmp_path / "ship.key")
    return folder


def _known(private: Path) -> str:
    return fingerprint(read_secrets(private / NAME))


def test_locked_with_a_key_the_same_secrets_open_and_nothing_plain_is_left(private: Path) -> None:
    """There and back: the key opens them, no file of the folder holds them, and modes are the owner's alone."""
    key, site, known = private.parent / "ship.key", read_secrets(private / NAME), _known(private)
    assert lock_secrets(private, key) == private / LOCKED
    assert not (private / NAME).exists() and stat.S_IMODE((private / LOCKED).stat().st_mode) == 0o600
    for path in private.iterdir():
        data = path.read_bytes()
        assert site.key not in data and site.key.hex().encode() not in data
    assert open_secrets(private, known, key) == site
    with pytest.raises(SecretsError, match="--secrets-key FILE"):
        open_secrets(private, known)
    assert unlock_secrets(private, key) == private / NAME
    assert not (private / LOCKED).exists() and stat.S_IMODE((private / NAME).stat().st_mode) == 0o600
    assert open_secrets(private, known) == site


@pytest.mark.slow
def test_locked_with_a_passphrase_it_is_asked_for_or_read_from_a_file(private: Path) -> None:
    """The one that was asked for twice opens; another one is said; a file of one line opens without anybody there."""
    site = read_secrets(private / NAME)
    lock_secrets(private, None, _asked(PASSPHRASE, PASSPHRASE))
    (private / LOCKED).write_bytes(age_by_hand.sealed_with(secrets_text(site), PASSPHRASE))
    assert read_secrets(private / LOCKED, None, _asked(PASSPHRASE)) == site
    credential = private.parent / "credential"
    credential.write_text(PASSPHRASE + "\n")
    credential.chmod(0o400)
    assert open_secrets(private, fingerprint(site), credential) == site
    with pytest.raises(LockingError, match="the passphrase isn't the one") as caught:
        read_secrets(private / LOCKED, None, _asked("lantern moth isoline marr turn"))
    assert "turn" not in str(caught.value) and site.key.hex() not in str(caught.value)
    with pytest.raises(SecretsError, match=r"holds a key, and .* is encrypted to a passphrase"):
        open_secrets(private, None, private.parent / "ship.key")


def test_a_command_asks_for_the_passphrase_on_the_terminal(private: Path) -> None:
    """`offing secrets unlock` goes on with what is typed there, and it is never shown."""
    site = read_secrets(private / NAME)
    (private / NAME).unlink()
    (private / LOCKED).write_bytes(age_by_hand.sealed_with(secrets_text(site), PASSPHRASE))
    (private / LOCKED).chmod(0o600)
    (private.parent / "EXPEDITION.toml").write_text(RIGHT)
    words = ["-m", "relay", "secrets", "unlock", str(private.parent / "EXPEDITION.toml")]
    code, seen = on_terminal(words, [PASSPHRASE])
    assert (code, PASSPHRASE in seen, site.key.hex() in seen) == (0, False, False)
    assert read_secrets(private / NAME) == site


def test_a_wrong_key_a_passphrase_for_a_key_and_a_changed_file_are_said(private: Path) -> None:
    """Each is told from the others, and nothing is drawn or written in their place."""
    known = _known(private)
    lock_secrets(private, private.parent / "ship.key")
    new_identity(private.parent / "other.key")
    with pytest.raises(LockingError, match="isn't encrypted to what was given"):
        open_secrets(private, known, private.parent / "other.key")
    (private.parent / "line").write_text(PASSPHRASE)
    (private.parent / "line").chmod(0o600)
    with pytest.raises(SecretsError, match=r"holds a passphrase, and .* is encrypted to keys"):
        open_secrets(private, known, private.parent / "line")
    (private / LOCKED).chmod(0o640)
    with pytest.raises(SecretsError, match="Run: chmod 600"):
        open_secrets(private, known, private.parent / "ship.key")
    (private / LOCKED).chmod(0o600)
    data = (private / LOCKED).read_bytes()
    (private / LOCKED).write_bytes(data[:200] + b"x" + data[201:])
    with pytest.raises(LockingError):
        open_secrets(private, known, private.parent / "ship.key")
    assert not (private / NAME).exists()


def test_other_secrets_than_the_journals_are_not_locked(private: Path) -> None:
    """A file that isn't this site's stays as it is, and is said to be another."""
    (private / NAME).unlink()
    write_secrets(private, seeded_secrets(1))
    with pytest.raises(SecretsError, match="not the file this site's journal was written with"):
        lock_secrets(private, private.parent / "ship.key")
    assert [path.name for path in private.glob("secrets*")] == [NAME]


def test_a_lock_that_was_cut_off_is_ended_by_the_next(private: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed between its two steps, both files are there and give the same; locked again, the plain one goes."""
    key, site = private.parent / "ship.key", read_secrets(private / NAME)
    with monkeypatch.context() as patch:
        patch.setattr(locking_secrets, "_remove", _killed)
        with pytest.raises(KeyboardInterrupt):
            lock_secrets(private, key)
    assert (private / NAME).exists() and (private / LOCKED).exists()
    assert open_secrets(private, fingerprint(site)) == site
    lock_secrets(private, key)
    assert not (private / NAME).exists()
    with monkeypatch.context() as patch:
        patch.setattr(locking_secrets, "_remove", _killed)
        with pytest.raises(KeyboardInterrupt):
            unlock_secrets(private, key)
    unlock_secrets(private, key)
    assert [path.name for path in private.glob("secrets*")] == [NAME] and read_secrets(private / NAME) == site


def _killed(path: Path) -> None:
    raise KeyboardInterrupt


def test_nothing_goes_before_what_replaces_it_is_there(private: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that takes nothing leaves the plain secrets as they are."""
    before = (private / NAME).read_bytes()

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OperatorError, match="No space left"):
        lock_secrets(private, private.parent / "ship.key")
    assert (private / NAME).read_bytes() == before and not (private / LOCKED).exists()


def test_no_half_of_a_plain_file_comes_to_count(private: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that takes nothing while secrets are unlocked leaves the encrypted ones, which open as before."""
    key = private.parent / "ship.key"
    lock_secrets(private, key)

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as faults:
        faults.setattr(os, "fsync", full)
        with pytest.raises(OperatorError, match="No space left"):
            unlock_secrets(private, key)
    assert not (private / NAME).exists()
    open_secrets(private, None, key)


def test_what_doesn_t_open_again_doesn_t_replace_anything(private: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that gives back something else than it was given costs no secrets: the plain file stays."""
    before = (private / NAME).read_bytes()
    other = encrypt_bytes(b"{}", read_identity(private.parent / "ship.key"))
    monkeypatch.setattr(locking_secrets, "encrypt_bytes", lambda data, key: other)
    with pytest.raises(SecretsError, match="the disk is failing"):
        lock_secrets(private, private.parent / "ship.key")
    assert (private / NAME).read_bytes() == before


def test_what_is_locked_already_or_isn_t_there_is_said(private: Path) -> None:
    """Twice the same is refused with how things stand."""
    key = private.parent / "ship.key"
    with pytest.raises(SecretsError, match="aren't encrypted"):
        unlock_secrets(private, key)
    lock_secrets(private, key)
    with pytest.raises(SecretsError, match="encrypted already"):
        lock_secrets(private, key)
    (private / LOCKED).unlink()
    with pytest.raises(SecretsError, match="none yet"):
        lock_secrets(private, key)


def test_two_files_that_differ_are_never_guessed_about(private: Path) -> None:
    """Other secrets beside the site's stop both ways."""
    key = private.parent / "ship.key"
    lock_secrets(private, key)
    write_secrets(private, seeded_secrets(2))
    with pytest.raises(SecretsError, match="move away the one that isn't this site's"):
        unlock_secrets(private, key)
    with pytest.raises(SecretsError, match="not the file this site's journal was written with"):
        lock_secrets(private, key)
    assert (private / LOCKED).exists() and (private / NAME).exists()


def test_a_plain_file_beside_the_encrypted_one_is_told_each_time(
    private: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """It counts, so whoever thinks the secrets are encrypted learns that they lie there open; one alone is no word."""
    key = private.parent / "ship.key"
    site = open_secrets(private, None)
    assert caplog.text == ""
    lock_secrets(private, key)
    open_secrets(private, None, key)
    assert caplog.text == ""
    write_secrets(private, site)
    assert open_secrets(private, None) == site
    assert f"{private} holds secrets.json beside secrets.age" in caplog.text and site.key.hex() not in caplog.text
