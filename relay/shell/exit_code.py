"""How a command ends: 0 when it did what was asked, 2 when something a person gave it is wrong, told on stderr."""

import argparse
import sys
from collections.abc import Callable

from relay.core.errors import OperatorError
from relay.shell.released.printable import printable_lines

FAULT = 2


def exit_code(command: Callable[[argparse.Namespace], int], options: argparse.Namespace) -> int:
    """Run a command; a reader of its words that goes away ends it without a fault."""
    try:
        return command(options)
    except OperatorError as error:
        print(printable_lines(str(error)), file=sys.stderr)
        return FAULT
    except BrokenPipeError:
        return 0
