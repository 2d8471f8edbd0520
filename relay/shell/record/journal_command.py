"""What each command of `offing journal` runs: the module and the function, loaded when it is asked for."""

import argparse
from collections.abc import Callable


def journal(options: argparse.Namespace) -> int:
    """Run the command below `journal` that is in `options`."""
    return _COMMANDS[options.journal](options)


def _import(options: argparse.Namespace) -> int:
    from relay.shell.import_log import import_log

    return import_log(options)


def _export(options: argparse.Namespace) -> int:
    from relay.shell.record.exporting import export_journal

    return export_journal(options)


_COMMANDS: dict[str, Callable[[argparse.Namespace], int]] = {"export": _export, "import": _import}
