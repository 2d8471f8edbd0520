"""Certificates on the disk: when they end, and that a renewed one is shown without a restart."""

import asyncio
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from certificates import self_signed
from relay.core.errors import OperatorError
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
