"""Certificates on the disk: when they end, and that a renewed one is shown without a restart."""

import asyncio
import errno
import os
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from certificates import self_signed
from peers import PATIENCE_S, until
from relay.core.errors import OperatorError
from relay.shell.site import tls_files
from relay.shell.site.certificate_end import Renewal, certificate_end
from relay.shell.site.site import Site
from relay.shell.site.tls_door import site_tls
from released import EXPEDITION


def test_end_of_a_certificate_is_read_and_what_is_none_is_named(tmp_path: Path) -> None:
    """To the second, for one that has ended, too."""
    for days in (30, -1):
        pem, key = self_signed(tmp_path, days=days)
        apart = certificate_end(pem) - datetime.now(UTC) - timedelta(days=days)
        assert abs(apart) < timedelta(minutes=1)
        with pytest.raises(OperatorError, match=r"uplink\.key holds no certificate"):
            certificate_end(key)
        key.unlink()
    with pytest.raises(OperatorError, match="can't be read: No such file"):
        certificate_end(tmp_path / "none.pem")


async def shown(site: Site) -> str:
    """Return the certificate that a client is shown."""
    pem = await asyncio.to_thread(ssl.get_server_certificate, site.address)
    return pem.strip()


async def test_renewed_certificate_is_shown_and_a_broken_one_never(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """While the files are replaced the one in use stays; what was renewed counts for who comes next."""
    pem, key = self_signed(tmp_path, "site")
    context, site = site_tls(pem, key), Site(EXPEDITION)
    renewal = Renewal(context, pem, key)
    await site.start("127.0.0.1", 0, context)
    first = pem.read_text().strip()
    assert (renewal.renew(), await shown(site)) == (False, first)
    pem.unlink()
    assert (renewal.renew(), await shown(site)) == (False, first)
    pem.write_text("half a certifi")
    assert (renewal.renew(), await shown(site)) == (False, first)
    (tmp_path / "new").mkdir()
    for new, path in zip(self_signed(tmp_path / "new", "site"), (pem, key), strict=True):
        new.replace(path)
    assert (renewal.renew(), await shown(site)) == (True, pem.read_text().strip())
    assert "the certificate in use stays" in caplog.text
    await site.close()


def another(folder: Path) -> tuple[Path, Path]:
    """Return a pair in a folder of its own."""
    folder.mkdir()
    return self_signed(folder, "site")


@pytest.mark.parametrize("becomes", ["another", "gone"])
async def test_certificate_replaced_while_it_is_looked_at_ends_nothing(
    becomes: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the trial of a pair and its use: who comes is shown a whole pair, and the next look takes the new one."""
    pem, key = self_signed(tmp_path, "site")
    new_pem, new_key = another(tmp_path / "new")
    old, new, loads = pem.read_text().strip(), new_pem.read_text().strip(), 0
    plain = tls_files._load

    def load(context: ssl.SSLContext, certificate: Path, its_key: Path) -> None:
        nonlocal loads
        loads += 1
        if loads == 2:
            pem.unlink()
            if becomes == "another":
                pem.write_text(new)
        plain(context, certificate, its_key)

    context, site = site_tls(pem, key), Site(EXPEDITION)
    renewal = Renewal(context, pem, key, look_s=0.01)
    await site.start("127.0.0.1", 0, context)
    try:
        monkeypatch.setattr(tls_files, "_load", load)
        pem.touch()
        await renewal.start()
        async with asyncio.timeout(PATIENCE_S):
            await until(lambda: loads >= 2)
            assert await shown(site) == old
            assert not renewal.jobs[0].done()
            new_key.replace(key)
            new_pem.replace(pem)
            await until(lambda: renewal.jobs[0].done() or renewal._used == renewal._written())
            assert await shown(site) == new
        assert not renewal.jobs[0].done()
    finally:
        await renewal.close()
        await site.close()


def test_pair_that_could_not_be_read_for_a_while_is_taken_though_it_is_no_newer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Here the process had no open file left for it: told once, however often it is looked, and then used."""
    pem, key = self_signed(tmp_path, "site")
    renewal = Renewal(site_tls(pem, key), pem, key)
    new = another(tmp_path / "new")
    for each, path in zip(new, (pem, key), strict=True):
        each.replace(path)

    def none_left(name: str) -> int:
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))

    with monkeypatch.context() as patched:
        patched.setattr(os, "memfd_create", none_left)
        assert [renewal.renew() for _ in range(3)] == [False] * 3
    assert [renewal.renew(), renewal.renew()] == [True, False]
    assert caplog.text.count(f"the certificate in use stays: {pem} and {key} can't be used: Too many open files") == 1
