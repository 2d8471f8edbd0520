"""The key of a site on disk: drawn once, for the owner alone, and its loss or change stops the start."""

import json
import stat
from pathlib import Path

import pytest

from relay.core.errors import SecretsError
from relay.shell.record.secrets_file import NAME, fingerprint, open_secrets, read_secrets, seeded_secrets


def test_secrets_are_drawn_once_and_read_again(tmp_path: Path) -> None:
    """The first start draws, later ones read the same; two sites differ; the file is of mode 0600."""
    first = open_secrets(tmp_path, None)
    assert open_secrets(tmp_path, fingerprint(first)) == first
    assert stat.S_IMODE((tmp_path / NAME).stat().st_mode) == 0o600
    other = tmp_path / "other"
    other.mkdir()
    assert open_secrets(other, None) != first


def test_secrets_missing_changed_or_open_to_others_stop_the_start(tmp_path: Path) -> None:
    """Each fault is named with the file and the way out."""
    known = fingerprint(open_secrets(tmp_path, None))
    path = tmp_path / NAME
    text = path.read_text()
    path.chmod(0o640)
    with pytest.raises(SecretsError, match="Run: chmod 600"):
        open_secrets(tmp_path, known)
    path.chmod(0o600)
    path.write_text(json.dumps({"key": "00" * 32}))
    with pytest.raises(SecretsError, match="not the file this site's journal was written with"):
        open_secrets(tmp_path, known)
    path.write_text(text[:30])
    with pytest.raises(SecretsError, match="not a secrets file"):
        open_secrets(tmp_path, known)
    path.unlink()
    with pytest.raises(SecretsError, match="Put the back-up copy there"):
        open_secrets(tmp_path, known)
    with pytest.raises(SecretsError, match="can't be read"):
        read_secrets(path)


def test_fingerprint_tells_keys_apart_and_gives_none_away() -> None:
    """The fingerprint holds no part of the key."""
    one, two = seeded_secrets(1), seeded_secrets(2)
    assert fingerprint(one) != fingerprint(two)
    assert fingerprint(one)[:8] not in one.key.hex()
    assert seeded_secrets(1) == one
