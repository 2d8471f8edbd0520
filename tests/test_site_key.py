"""`offing key`: the key that the ship will sign with, whenever it is asked for, and nothing of the secret one."""

import asyncio
import json
import sqlite3
import stat
from pathlib import Path

import pytest

from expeditions import RIGHT
from relay.__main__ import main
from relay.core.errors import SecretsError
from relay.core.seal import Signer, is_sealed
from relay.core.wire import decode
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.secrets_file import NAME, read_secrets
from relay.shell.record.site_key import public_key
from relay.shell.released.outlet import Frame
from ship_in_hand import sailing


def put(folder: Path) -> Path:
    """Write an expedition file."""
    path = folder / "EXPEDITION.toml"
    path.write_text(RIGHT)
    return path


def test_key_is_printed_alone_and_stays_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Before the first start the secrets are drawn, for the owner alone; asked again, it is that key."""
    path = put(tmp_path)
    printed = []
    for _ in range(2):
        assert main(["key", str(path)]) == 0
        said = capsys.readouterr()
        printed.append(said.out)
        assert "no secret" in said.err
    private = read_expedition(path).private
    secrets = read_secrets(private / NAME)
    assert printed == [Signer(secrets.signing_seed).key.hex() + "\n"] * 2
    assert stat.S_IMODE((private / NAME).stat().st_mode) == 0o600
    assert stat.S_IMODE(private.stat().st_mode) == 0o700
    for secret in (secrets.key, secrets.signing_seed):
        assert secret.hex() not in said.out + said.err


async def test_ship_signs_with_the_key_that_was_printed_before_and_is_not_disturbed_by_asking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Printed before the first start, while she runs, and after: one key, which she names and signs with."""
    before = public_key(tmp_path / "private")
    async with sailing(tmp_path) as ship:
        gone: asyncio.Queue[Frame] = asyncio.Queue()
        publish = ship.site.publish

        def listen(frame: Frame) -> None:
            publish(frame)
            gone.put_nowait(frame)

        monkeypatch.setattr(ship.site, "publish", listen)
        assert public_key(tmp_path / "private") == before
        ship.decide(json.dumps({"do": "begin"}).encode(), "Ada")
        frames = [await asyncio.wait_for(gone.get(), 20) for _ in range(4)]
    assert public_key(tmp_path / "private") == before
    assert {frame.audience for frame in frames} == {"public", "family"}
    for frame in frames:
        assert is_sealed(before, frame.audience, frame.data)
        assert frame.seq > 0 or decode(frame.data).body["key"] == before.hex()


def test_lost_or_changed_secrets_are_told_and_none_are_drawn_in_their_place(tmp_path: Path) -> None:
    """Another key than the printed one would be worse than none."""
    before = public_key(tmp_path)
    path = tmp_path / NAME
    kept = path.read_text()
    path.write_text(json.dumps({"key": "00" * 32}))
    with pytest.raises(SecretsError, match="not the file this site's journal was written with"):
        public_key(tmp_path)
    path.unlink()
    with pytest.raises(SecretsError, match="Put the back-up copy there"):
        public_key(tmp_path)
    assert not path.exists()
    path.write_text(kept)
    path.chmod(0o600)
    assert public_key(tmp_path) == before


def test_folder_that_takes_nothing_is_told(tmp_path: Path) -> None:
    """In words, with the folder."""
    (tmp_path / "private").write_text("a file where the folder should be")
    with pytest.raises(SecretsError, match=r"the site's key can't be had from .*private"):
        public_key(tmp_path / "private")


def test_journal_that_is_none_is_told(tmp_path: Path) -> None:
    """Then nobody knows whether the secrets are this site's."""
    public_key(tmp_path)
    for beside in tmp_path.glob(f"{JOURNAL}*"):
        beside.unlink()
    (tmp_path / JOURNAL).write_text("not a journal at all, but a text of some length")
    with pytest.raises(SecretsError, match="the site's key can't be had from"):
        public_key(tmp_path)
    with pytest.raises(sqlite3.Error):
        sqlite3.connect(tmp_path / JOURNAL).execute("SELECT * FROM mark")
