"""A shore's relay as its file has it: site, logs, and what runs beside them, put together."""

import asyncio
from collections.abc import Mapping
from contextlib import suppress

from relay.core.errors import OperatorError
from relay.shell.shore.shore import Shore
from relay.shell.shore.shore_counts import Counted, LinkCounts, registry_of
from relay.shell.shore.shore_file import ShoreFile, StreamPlan, UplinkPlan
from relay.shell.shore.shore_site import new_site, site_context
from relay.shell.shore.watch import Watch
from relay.shell.shore.workers import Workers
from relay.shell.site.certificate_end import Renewal, certificate_end
from relay.shell.uplink.uplink_port import UplinkPort


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

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return self.port.jobs

    def counts(self) -> LinkCounts:
        """Return what the port has seen."""
        facts = self.port.facts
        return LinkCounts(facts.linked, facts.links, facts.strangers, facts.octets)


def new_shore(file: ShoreFile) -> Shore:
    """Return a shore that isn't started yet; OperatorError says which of its files can't be used."""
    shore = Shore(file, new_site(file) if file.processes == 1 else Workers(file))
    shore.tls = site_context(file)
    if shore.tls is not None and file.tls is not None:
        shore.parts.append(Renewal(shore.tls, file.tls.certificate, file.tls.key))
    dialled = None if file.uplink is None else Dialled(shore, file.uplink)
    if dialled is not None:
        shore.dialled = dialled.port
        shore.parts.append(dialled)
    if file.stream is not None:
        _join(shore, file.stream)
    if file.watch is not None:
        registry = registry_of(_counted(shore, dialled))
        shore.watch = Watch(file.watch, registry, lambda: None if shore.ready else "what is kept is still being read")
        shore.early.insert(0, shore.watch)  # it answers while everything else still begins
    return shore


def _join(shore: Shore, plan: StreamPlan) -> None:
    try:
        from relay.shell.shore.shore_stream import join_stream
    except ModuleNotFoundError as error:
        raise OperatorError(
            f"[stream] needs the library {error.name}, which is installed with the extra `scale`: pip install "
            "--require-hashes -r requirements.lock -r requirements-scale.lock"
        ) from error
    join_stream(shore, plan)


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
    """Return when each of a shore's certificates ends, in seconds since 1970; not of one that can't be read now."""
    paths = {} if file.tls is None else {"site": file.tls.certificate}
    if file.uplink is not None:
        paths["uplink"] = file.uplink.tls.certificate
    ends = dict[str, float]()
    for name, path in paths.items():
        with suppress(OperatorError):  # being replaced, or gone: the other counts are told all the same
            ends[name] = certificate_end(path).timestamp()
    return ends
