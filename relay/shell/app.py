"""What each command does. Results go to standard output, progress and complaints to standard error."""

import argparse
import logging
import sys
from collections.abc import Callable
from dataclasses import asdict
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

import uvloop

from relay.core.errors import OperatorError
from relay.core.figures import figures
from relay.core.policy import DiveLimits
from relay.core.release import HEAD_BYTES, Kind
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.shell.deploy import deploy
from relay.shell.desk.desk_token import NAME as TOKEN_FILE
from relay.shell.exit_code import exit_code
from relay.shell.plan.expedition import read_expedition
from relay.shell.plan.plain_cautions import cautions
from relay.shell.plan.plain_ground import (
    describe_desk,
    describe_feed,
    describe_ground,
    describe_page,
    describe_programme,
    describe_survey,
    describe_uplink,
    describe_vehicles,
)
from relay.shell.plan.plain_words import describe_audience
from relay.shell.plan.quantities import say_number, web_address
from relay.shell.record.clock import MachineTime
from relay.shell.record.secrets_file import read_secrets, seeded_secrets
from relay.shell.record.site_key import show_key
from relay.shell.released.briefing import brief
from relay.shell.released.export import export
from relay.shell.released.printable import as_json
from relay.shell.released.publish import publish
from relay.shell.released.recording import load_told
from relay.shell.ship.audit_gate import Leave, whose_process
from relay.shell.ship.audit_result import passed_words, why_not
from relay.shell.ship.rehearse import Outcome, rehearse
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from relay.shell.ship.until_stopped import raise_open_files, run_until_stopped
from relay.shell.shore.guests_told import guests, invite, uninvite
from relay.shell.shore.log_lines import announce, log_to_stderr
from relay.shell.site.page_words import words_of
from relay.shell.site.public_files import Telling
from relay.shell.site.site_files import site_folder

if TYPE_CHECKING:
    from rich.progress import Progress

_PLAIN: dict[str, Any] = {"highlight": False, "markup": False, "soft_wrap": True}
_log = logging.getLogger(__name__)


def run(options: argparse.Namespace) -> int:
    """Run the command in `options`; 0 when done, 2 when something a person gave us is wrong."""
    commands: dict[str, Callable[[argparse.Namespace], int]] = {
        "brief": _brief,
        "check": _check,
        "demo": _demo,
        "deploy": deploy,
        "export": _export,
        "guests": guests,
        "invite": invite,
        "key": show_key,
        "publish": _publish,
        "rehearse": _rehearse,
        "ship": _ship,
        "show": _show,
        "uninvite": uninvite,
    }
    return exit_code(commands[options.command], options)


def _check(options: argparse.Namespace) -> int:
    expedition = read_expedition(options.expedition)
    print(f"{expedition.plan.expedition}, aboard {expedition.ship}. The expedition file can be used.\n")
    print(describe_page(expedition.listen))
    if expedition.desk is not None:
        print(describe_desk(expedition.desk))
    if expedition.uplink is not None:
        print(describe_uplink(expedition.uplink))
    print(describe_vehicles(expedition.plan))
    for source, feed in zip(expedition.plan.sources, expedition.feeds, strict=True):
        print(describe_feed(source, feed.url))
    print("\n".join([*describe_survey(expedition.plan.vehicles, expedition.survey), *describe_ground(expedition.plan)]))
    print(describe_programme(expedition.plan, expedition.questions_to))
    unaudited = why_not(expedition)
    for policy in expedition.plan.policies:
        print(
            "\n" + describe_audience(policy, expedition.open_audiences, expedition.plan, expedition.invited_audiences)
        )
        if policy.audience in unaudited:
            print(passed_words(expedition, policy.audience, unaudited[policy.audience]))
    if told := cautions(expedition):
        print("\nIt can be used as it is, but think twice about this:")
        print("\n".join(f"CAUTION: {words}" for words in told))
    return 0


def _ship(options: argparse.Namespace) -> int:
    log_to_stderr(form=options.log)
    raise_open_files()
    expedition = read_expedition(options.expedition, options.secrets_key)
    leave = Leave(dict(options.without_audit), whose_process())
    for words in cautions(expedition):
        _log.warning("caution: %s", words)

    async def serve() -> None:
        ship = Ship(expedition, MachineTime(), new_site(expedition), leave)
        shown = sys.stdout.isatty() and options.log == "text"
        lines = partial(
            _announced, expedition.plan.expedition, ship, None if shown else expedition.private / TOKEN_FILE
        )
        await run_until_stopped(ship, lambda: announce(lines(), options.log))
        _log.info("Offing has ended, as it was told to")

    uvloop.run(serve())
    return 0


def _demo(options: argparse.Namespace) -> int:
    from relay.shell.demo.demo_run import run_demo  # no other command makes a dive up

    log_to_stderr(logging.WARNING)

    def ready(ship: Ship) -> None:
        announce(_announced("an invented dive", ship))

    uvloop.run(run_demo(options.port, options.seed, options.folder, options.seconds, ready))
    return 0


def _rehearse(options: argparse.Namespace) -> int:
    expedition = read_expedition(options.expedition)
    site: Secrets = (
        read_secrets(options.secrets, options.secrets_key) if options.secrets else seeded_secrets(options.seed)
    )
    secrets = site.for_rehearsal()
    with _progress() as progress:
        task = progress.add_task("rehearsing", total=None, what="")
        outcome = rehearse(
            expedition.plan,
            secrets,
            options.inputs,
            options.out,
            rate=options.rate,
            progress=lambda rows, seconds: progress.update(task, what=f"{rows} rows, {seconds / 60:.0f} min of dive"),
        )
    _print_outcome(outcome, options.out, expedition.plan.dive)
    print(f"It is signed with a key of rehearsals, {Signer(secrets.signing_seed).key.hex()}: nobody can pass it off")
    print("as what the ship released, whose key is another.")
    return 0


def _progress() -> "Progress":
    from rich.console import Console  # it takes a tenth of a second, which a ship's start does without
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description} {task.fields[what]}"), TimeElapsedColumn())
    return Progress(*columns, console=Console(stderr=True), transient=True)


def _print_outcome(outcome: Outcome, out: Path, limits: DiveLimits) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console()
    table = Table("feed", "read", "accepted", "of which passed over", "rejected", "why", box=None, pad_edge=False)
    for name, tally in outcome.tallies.items():
        accepted, passed, rejected = tally.accepted.total(), tally.passed_over.total(), tally.rejected.total()
        if accepted + passed + rejected:
            reasons = (*tally.rejected.most_common(), *tally.passed_over.most_common(3))
            why = ", ".join(f"{count} {reason}" for reason, count in reasons)
            counts = (accepted + passed + rejected, accepted + passed, passed, rejected)
            table.add_row(name, *map(str, counts), why or "-")
    console.print(table)
    for (audience, dive), records in sorted(outcome.released.items()):
        console.print(f"released to {audience}, dive {dive}: {records} records", **_PLAIN)
    for audience, vehicle in outcome.stopped.items():
        console.print(f"the release to {audience} STOPPED: {vehicle} was outside the declared area", **_PLAIN)
    for kept in outcome.kept_back:
        why = " ".join(finding.why for finding in kept.findings)
        console.print(f'kept from {", ".join(kept.audiences)}: "{kept.text}": {why}', **_PLAIN)
    if not outcome.released:
        console.print(f"released: nothing, for no dive began. {_begins(limits)}", **_PLAIN)
    console.print(f"written to {out}", **_PLAIN)


def _begins(limits: DiveLimits) -> str:
    """Return what a dive begins with, and how to begin it otherwise."""
    if limits.begin_depth_m is None:
        return "A dive begins with the first report of a vehicle, and there was none: see what was rejected, and why."
    deep = say_number(limits.begin_depth_m)
    return (
        f"A dive begins when a vehicle reports a depth of {deep} m or more, and none did. If the captures tell no "
        'depth, write [dive] begins = "report" in the expedition file; if a sounder tells it, sounder = "depth" in its '
        'feed, and sounder_sentence = "DBT" there if it sends DBT and not DPT.'
    )


def _show(options: argparse.Namespace) -> int:
    recording = load_told(options.recording)
    _say_unsigned(options.recording, recording.signed)
    if options.figures:
        print(as_json(asdict(figures(recording.records)), indent=2))
        return 0
    names = {int(kind): kind.name.lower() for kind in Kind}
    for record in recording.records:
        kind = names.get(record.kind, record.kind)
        place = {"dive": record.dive, "seq": record.seq, "kind": kind, "elapsed_s": record.elapsed_s}
        print(as_json({**place, "body": record.body}, _bytes_told))
    if not recording.closed:
        torn = f", {recording.torn_bytes} bytes of a torn tail left out" if recording.torn_bytes else ""
        print(f"{options.recording}: not closed: the dive goes on, or the end is missing{torn}", file=sys.stderr)
    return 0


def _say_unsigned(path: Path, signed: bool) -> None:
    if not signed:
        print(f"{path}: unsigned: nobody can check that it is the ship's", file=sys.stderr)


def _bytes_told(data: object) -> dict[str, object] | str:
    """Return a tree head in hexadecimal; of a still's bytes how many they are, and which; in words what is neither."""
    if not isinstance(data, bytes):
        return str(data)
    if len(data) == HEAD_BYTES:
        return data.hex()
    return {"octets": len(data), "sha256": sha256(data).hexdigest()}


def _brief(options: argparse.Namespace) -> int:
    read = brief(
        options.recording, options.notes, site_folder(), options.out, force=options.force, unfinished=options.unfinished
    )
    _say_unsigned(options.recording, read.signed)
    print(options.out)
    print("It opens from disk in a browser, without a network.", file=sys.stderr)
    return 0


def _export(options: argparse.Namespace) -> int:
    recording = load_told(options.recording)
    _say_unsigned(options.recording, recording.signed)
    export(recording, options.out, options.force)
    if not recording.closed:
        print(f"{options.recording}: not closed: what there is so far was written", file=sys.stderr)
    print(options.out)
    return 0


def _publish(options: argparse.Namespace) -> int:
    try:
        address = web_address(options.address) if options.address else ""
    except ValueError as error:
        raise OperatorError(f"--address: {error}") from error
    telling = Telling("", words_of(options.language), address)
    done = publish(options.recordings, options.out, site_folder(), telling)
    for line in done.left_out:
        print(f"left out: {line}", file=sys.stderr)
    for path in done.unsigned:
        _say_unsigned(path, False)
    dives = "1 dive" if done.dives == 1 else f"{done.dives} dives"
    print(f"{dives} in {done.files} files: {options.out / 'index.html'}")
    print("Any web server can give the folder out, below any path; nothing in it is private.", file=sys.stderr)
    return 0


def _announced(what: str, ship: Ship, token: Path | None = None) -> list[str]:
    """Return where the followers' page is and how to stop.

    `token`: where the desk's token is to be read, where what is said here may be kept, as in a system's log.
    """
    host, port = ship.site.address
    lines = [f"Offing relays {what}.", f"followers' page: http://{host}:{port}/"]
    if ship.desk.server is not None:
        address, _, secret = ship.desk.server.url.partition("#")
        last = secret if token is None else f"TOKEN, and TOKEN is what {token} holds"
        lines += [f"the desk, for you alone: {address}#{last}"]
    return [*lines, "Ctrl-C stops it. A ship's relay started again goes on where it was."]
