"""The site of a shore as its file has it: of one that serves in its only process, and of each worker."""

from relay.shell.page_words import words_of
from relay.shell.public_files import Telling
from relay.shell.shore_file import ShoreFile
from relay.shell.site import Site
from relay.shell.site_files import site_folder
from relay.shell.tls_door import site_tls


def new_site(file: ShoreFile) -> Site:
    """Return the site, not yet open."""
    telling = Telling(file.expedition, words_of(file.language), file.address, file.questions_to)
    return Site(telling, file.open, site_folder())


async def open_site(site: Site, file: ShoreFile, host: str, port: int, *, shared: bool = False) -> None:
    """Let a site listen, with TLS if the file has it; `shared`: beside other processes. OSError: it can't."""
    tls = None if file.tls is None else site_tls(file.tls.certificate, file.tls.key)
    await site.start(host, port, tls, shared=shared)
