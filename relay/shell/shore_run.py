"""A shore's relay as its file has it: site, logs, and what runs beside them, put together."""

import dataclasses
from collections.abc import Mapping
from urllib.parse import urlsplit

from relay.shell.certificate_end import Renewal, certificate_end
from relay.shell.gate import DEFAULTS, Limits
from relay.shell.page_words import words_of
from relay.shell.public_files import Telling
from relay.shell.shore import Shore
from relay.shell.shore_counts import Counted, LinkCounts, registry_of
from relay.shell.shore_file import ShoreFile, UplinkPlan
from relay.shell.site import Site
from relay.shell.site_files import site_folder
from relay.shell.tls_door import site_tls
from relay.shell.uplink_port import UplinkPort
from relay.shell.watch import Watch


class Dialled:
    """The port that the ship dials, as a part of a shore."""

    def __init__(self, shore: Shore, plan: UplinkPlan) -> None:
        self._listen = plan.listen
        self.port = UplinkPort(shore, plan.tls.certificate, plan.tls.key)

    async def start(self) -> None:
        """Listen for the ship."""
        await self.port.start(*self._listen)

    async def close(self) -> None:
        """End the link."""
        await self.port.close()

    def counts(self) -> LinkCounts:
        """Return what the port has seen."""
        facts = self.port.facts
        return LinkCounts(facts.linked, facts.links, facts.strangers, facts.octets)


def new_shore(file: ShoreFile) -> Shore:
    """Return a shore that isn't started yet; OperatorError says which of its files can't be used."""
    telling = Telling(file.expedition, words_of(file.language), file.address, file.questions_to)
    site = Site(
        telling,
        file.open,
        site_folder(),
        limits=limits_of(file),
        socket_origins=_origins(file.address),
        invited=file.invited,
    )
    shore = Shore(file, site)
    if file.tls is not None:
        shore.tls = site_tls(file.tls.certificate, file.tls.key)
        shore.parts.append(Renewal(shore.tls, file.tls.certificate, file.tls.key))
    dialled = None if file.uplink is None else Dialled(shore, file.uplink)
    if dialled is not None:
        shore.dialled = dialled.port
        shore.parts.append(dialled)
    if file.watch is not None:
        registry = registry_of(_counted(shore, dialled))
        shore.watch = Watch(file.watch, registry, lambda: None if shore.ready else "what is kept is still being read")
        shore.early.append(shore.watch)
    return shore


def limits_of(file: ShoreFile) -> Limits:
    """Return the site's limits: behind a proxy every follower has the proxy's address, and the proxy counts."""
    if not file.behind_proxy:
        return DEFAULTS
    return dataclasses.replace(DEFAULTS, viewers_per_address=0, connections_per_address=0, wrong_tokens=0)


def _origins(address: str) -> list[str]:
    """Return where the page's socket is, for browsers in which 'self' doesn't cover it."""
    parts = urlsplit(address)
    return [f"{'wss' if parts.scheme == 'https' else 'ws'}://{parts.netloc}"] if parts.netloc else []


def _counted(shore: Shore, dialled: Dialled | None) -> Counted:
    return Counted(
        ready=lambda: shore.ready,
        figures=shore.site.figures,
        histories=shore.histories,
        fault=lambda: shore.fault,
        came_s=lambda: shore.came_s,
        link=None if dialled is None else dialled.counts,
        folder=None if shore.logs is None else shore.file.folder,
        certificates=lambda: certificate_ends(shore.file),
    )


def certificate_ends(file: ShoreFile) -> Mapping[str, float]:
    """Return when each of a shore's certificates ends, in seconds since 1970."""
    paths = {} if file.tls is None else {"site": file.tls.certificate}
    if file.uplink is not None:
        paths["uplink"] = file.uplink.tls.certificate
    return {name: certificate_end(path).timestamp() for name, path in paths.items()}
