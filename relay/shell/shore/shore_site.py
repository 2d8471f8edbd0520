"""The site of a shore as its file has it: of one that serves in its only process, and of each worker."""

import dataclasses
import resource
import ssl
from urllib.parse import urlsplit

from relay.shell.shore.shore_file import ShoreFile
from relay.shell.site.gate import DEFAULTS, Limits, within
from relay.shell.site.page_words import words_of
from relay.shell.site.public_files import Telling
from relay.shell.site.site import Site
from relay.shell.site.site_files import site_folder
from relay.shell.site.tls_door import site_tls


def new_site(file: ShoreFile) -> Site:
    """Return the site, not yet open."""
    telling = Telling(file.expedition, words_of(file.language), file.address, file.questions_to)
    site = Site(
        telling,
        file.open,
        site_folder(),
        limits=limits_of(file),
        socket_origins=_origins(file.address),
        invited=file.invited,
    )
    site.guests.trust(file.key)
    return site


def site_context(file: ShoreFile) -> ssl.SSLContext | None:
    """Return the site's TLS; OperatorError says which of its files can't be used."""
    return None if file.tls is None else site_tls(file.tls.certificate, file.tls.key)


def limits_of(file: ShoreFile) -> Limits:
    """Return the site's limits: behind a proxy every follower has the proxy's address, and the proxy counts."""
    limits = within(DEFAULTS, resource.getrlimit(resource.RLIMIT_NOFILE)[0])
    if not file.behind_proxy:
        return limits
    return dataclasses.replace(limits, viewers_per_address=0, connections_per_address=0, wrong_tokens=0)


def _origins(address: str) -> list[str]:
    """Return where the page's socket is, for browsers in which 'self' doesn't cover it."""
    parts = urlsplit(address)
    return [f"{'wss' if parts.scheme == 'https' else 'ws'}://{parts.netloc}"] if parts.netloc else []
