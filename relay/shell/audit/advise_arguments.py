"""Arguments of `offing advise`.

Rules: arguments alone, as in `__main__`; nothing of the audit is loaded before it is known that it is wanted.
"""

import argparse
from pathlib import Path

from relay.shell.reading_arguments import Commands, add_command

PLACES, FRESH, TURNS = 40, 200, 72

_ADVISED = """\
example, with the chart that everybody can have of the place:
  offing advise EXPEDITION.toml --chart chart.nc --promise "87 km2"
  offing advise EXPEDITION.toml --chart chart.nc --promise "87 km2" --dive released/public/dive-001.recording --write
"""


def add_advise(commands: Commands) -> None:
    """Add the command with its help."""
    parser = add_command(
        commands,
        "advise",
        "find the settings that show most of a dive and still keep a promise",
        "Makes a dive at random places of the declared area, shows it as an audience would be shown it, and looks for\n"
        "each place on the chart as an outsider would. Searches tick, cell, steps of depth, relative depth, height in\n"
        "words, legs and radius for the most detail at which 19 places in 20 leave at least the promised area, and\n"
        "audits what it chose at places that it hasn't tried. The chart alone is matched: play `offing audit` on what\n"
        "you release. It takes an hour and more, and the extra `audit`.",
        _ADVISED,
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
    parser.add_argument(
        "--chart",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="a chart: NetCDF, GeoTIFF, or CSV; again for a finer one of a part (default: those of the file)",
    )
    parser.add_argument("--audience", help="whose policy (default: the one with a promise, or the only one)")
    parser.add_argument("--promise", metavar="AREA", help='what must be left, such as "87 km2" (default: the file\'s)')
    parser.add_argument(
        "--dive",
        type=Path,
        metavar="RECORDING",
        help="a dive to try, of which a recording or the journal.db is read (default: an invented one: three hours, "
        "lines over a wreck, 2 km to another target)",
    )
    _effort(parser)
    parser.add_argument("--picture", type=Path, metavar="FILE.png", help="draw detail against what is left")
    parser.add_argument(
        "--write", action="store_true", help="change the policy in the file (after a copy of it) and show what changed"
    )
    parser.add_argument("--who", help="who has the policy changed (default: the user of this machine)")


def _effort(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--sites", type=int, default=PLACES, metavar="N", help=f"places that the search tries (default {PLACES})"
    )
    parser.add_argument(
        "--fresh", type=int, default=FRESH, metavar="N", help=f"fresh places for the choice (default {FRESH})"
    )
    parser.add_argument("--most", type=int, default=80, metavar="N", help="settings tried at most (default 80)")
    parser.add_argument(
        "--chart-error", type=float, default=1.0, metavar="FACTOR", help="times the chart's own error (default 1)"
    )
    parser.add_argument("--turns", type=int, default=TURNS, help=f"turns tried of an unknown one (default {TURNS})")
    parser.add_argument("--seed", type=int, default=1, help="another number draws other places (default 1)")
