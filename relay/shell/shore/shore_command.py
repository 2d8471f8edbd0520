"""What `offing shore` does: run a shore, or say in words what it would do."""

import argparse
import logging

import uvloop

from relay.shell.ship.until_stopped import raise_open_files, run_until_stopped
from relay.shell.shore.log_lines import announce, log_to_stderr
from relay.shell.shore.shore import Shore
from relay.shell.shore.shore_file import read_shore_file
from relay.shell.shore.shore_named import check_named
from relay.shell.shore.shore_run import new_shore
from relay.shell.shore.shore_words import describe_shore

log = logging.getLogger("offing.shore")


def shore(options: argparse.Namespace) -> int:
    """Run a shore until it is stopped, or check its file and what it names."""
    file = read_shore_file(options.shore)
    if options.check:
        print("\n".join(describe_shore(file)))
        return 0
    log_to_stderr(form=options.log)
    check_named(file)
    raise_open_files()

    async def serve() -> None:
        relay = new_shore(file)
        await run_until_stopped(relay, lambda: announce(_announced(relay), options.log))
        log.info("Offing has ended, as it was told to")

    uvloop.run(serve())
    return 0


def _announced(relay: Shore) -> list[str]:
    """Return where the followers' page is, where the ship dials in, and how to stop."""
    host, port = relay.site.address
    lines = [f"Offing gives out {relay.file.expedition}, ashore."]
    lines += [f"followers' page: {'http' if relay.file.tls is None else 'https'}://{host}:{port}/"]
    if relay.dialled is not None:
        host, port = relay.dialled.address
        lines += [f"the ship dials wss://{host}:{port}/"]
    return [*lines, "Ctrl-C stops it. Started again, it goes on where it was."]
