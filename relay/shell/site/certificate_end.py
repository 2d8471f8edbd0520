"""When a certificate ends, and the renewal of a site's while it serves: by the library `cryptography`."""

import asyncio
import logging
import ssl
from datetime import datetime
from pathlib import Path

from cryptography import x509

from relay.core.errors import OperatorError
from relay.shell.site.tls_door import load_tls

log = logging.getLogger("offing.shore")
LOOK_S = 60.0


def certificate_end(path: Path) -> datetime:
    """Return when the first certificate in a PEM file ends (UTC); OperatorError if it holds none."""
    try:
        return x509.load_pem_x509_certificates(path.read_bytes())[0].not_valid_after_utc
    except OSError as error:
        raise OperatorError(f"{path} can't be read: {error.strerror}") from error
    except ValueError as error:
        raise OperatorError(f"{path} holds no certificate as a PEM file") from error


class Renewal:
    """Shows whoever comes a certificate that was renewed on the disk; one that can't be used leaves the old in use."""

    def __init__(self, context: ssl.SSLContext, certificate: Path, key: Path, look_s: float = LOOK_S) -> None:
        self._context, self._certificate, self._key, self._look_s = context, certificate, key, look_s
        self._used, self._said = self._written(), ""
        self._looking: asyncio.Task[None] | None = None

    def _written(self) -> tuple[int, ...]:
        try:
            return tuple(path.stat().st_mtime_ns for path in (self._certificate, self._key))
        except OSError:  # being replaced, or gone: the one in use stays
            return ()

    async def start(self) -> None:
        """Begin to look now and then."""
        self._looking = asyncio.ensure_future(self._look())

    async def close(self) -> None:
        """Look no more."""
        if self._looking is not None:
            self._looking.cancel()
            await asyncio.wait({self._looking})

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return [] if self._looking is None else [self._looking]

    async def _look(self) -> None:
        while True:
            await asyncio.sleep(self._look_s)
            self.renew()

    def renew(self) -> bool:
        """Take what is new on the disk; whether there was something that can be used."""
        written = self._written()
        if written in ((), self._used):
            return False
        try:
            load_tls(self._context, self._certificate, self._key)
        except OperatorError as error:  # looked at again, for what was wrong may not have been the files
            if str(error) != self._said:
                log.error("the certificate in use stays: %s", error)
            self._said = str(error)
            return False
        self._used, self._said = written, ""
        log.info("the site's certificate is renewed")
        return True
