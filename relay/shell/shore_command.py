"""What `offing shore` does: run a shore, or say in words what it would do."""

import argparse
import sys

import uvloop

from relay.shell.log_lines import log_to_stderr
from relay.shell.shore import Shore
from relay.shell.shore_file import read_shore_file
from relay.shell.shore_run import new_shore
from relay.shell.shore_words import describe_shore
from relay.shell.until_stopped import raise_open_files, run_until_stopped


def shore(options: argparse.Namespace) -> int:
    """Run a shore until it is stopped, or check its file and what it names."""
    file = read_shore_file(options.shore)
    if options.check:
        print("\n".join(describe_shore(file)))
        return 0
    log_to_stderr(form=options.log)
    raise_open_files()

    async def serve() -> None:
        relay = new_shore(file)
        await run_until_stopped(relay, lambda: _announce(relay))

    uvloop.run(serve())
    return 0


def _announce(relay: Shore) -> None:
    """Say where the followers' page is, where the ship dials in, and how to stop."""
    host, port = relay.site.address
    print(f"Offing gives out {relay.file.expedition}, ashore.", file=sys.stderr)
    print(f"followers' page: {'http' if relay.file.tls is None else 'https'}://{host}:{port}/", flush=True)
    if relay.dialled is not None:
        host, port = relay.dialled.address
        print(f"the ship dials wss://{host}:{port}/", file=sys.stderr)
    print("Ctrl-C stops it. Started again, it goes on where it was.", file=sys.stderr)
