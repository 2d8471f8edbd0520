"""What each command of `offing journal` runs: the module and the function, loaded when it is asked for."""

import argparse
from collections.abc import Callable


def journal(options: argparse.Namespace) -> int:
    """Run the command below `journal` that is in `options`."""
    return _COMMANDS[options.journal](options)


def _import(options: argparse.Namespace) -> int:
    from relay.shell.record.import_log import import_log

    return import_log(options)


def _backup(options: argparse.Namespace) -> int:
    from relay.shell.locked.locked_command import backup

    return backup(options)


def _export(options: argparse.Namespace) -> int:
    from relay.shell.exact.exporting import export_journal

    return export_journal(options)


def _verify(options: argparse.Namespace) -> int:
    from relay.shell.proofs.checking import verify_journal

    return verify_journal(options)


_COMMANDS: dict[str, Callable[[argparse.Namespace], int]] = {
    "backup": _backup,
    "export": _export,
    "import": _import,
    "verify": _verify,
}
