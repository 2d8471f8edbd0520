"""Arguments of `offing audit`.

Rules: arguments alone, as in `__main__`; nothing of the audit is loaded before it is known that it is wanted.
"""

import argparse
from pathlib import Path

from relay.shell.reading_arguments import Commands, add_command

TURNS, TRIALS = 72, 400  # of 200, one calibration in five would fall outside of 93 to 97 % by chance (binomial)

_AUDITED = """\
example, with a dive that you rehearsed, before anything of it is public:
  offing audit tryout/released/public/dive-001.recording --chart chart.nc --area EXPEDITION.toml
"""


def add_audit(commands: Commands) -> None:
    """Add the command with its help."""
    parser = add_command(
        commands,
        "audit",
        "say how small a search area a release leaves to an outsider",
        "Plays the outsider against recordings as everybody ashore has them: compares them with public charts, the\n"
        "ship's own track, lists of wrecks, each other, and says what area is left in which the dive must have been,\n"
        "attack by attack and by all of them together, and which field gave most away. RECORDING is a recording, or a\n"
        "folder of them (released/AUDIENCE); all of one site. What it finds is for the operator alone. It needs the\n"
        "extra `audit`.",
        _AUDITED,
    )
    parser.add_argument("recordings", type=Path, nargs="*", metavar="RECORDING")
    parser.add_argument(
        "--chart",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="a chart: NetCDF, GeoTIFF, or CSV; give it again for a finer one of a part",
    )
    _public(parser)
    _effort(parser)
    parser.add_argument(
        "--html",
        type=Path,
        nargs="?",
        const=Path(),
        metavar="FILE.html",
        help="write a report with a map, for your eyes alone (default: audit.html in the private folder)",
    )
    parser.add_argument("--force", action="store_true", help="write over a report that is there")
    parser.add_argument("--json", action="store_true", help="answer as JSON, for another program")
    parser.add_argument("--method", action="store_true", help="print how it is done, where that comes from, its limits")


def _public(parser: argparse.ArgumentParser) -> None:
    """Add what else an outsider has, and what he hasn't."""
    parser.add_argument(
        "--area", type=Path, metavar="EXPEDITION.toml", help="the expedition file: its declared area is searched"
    )
    parser.add_argument(
        "--for",
        dest="expedition",
        type=Path,
        metavar="EXPEDITION.toml",
        help="the same, and keep the result there: what an audience with a promise needs before it may start",
    )
    parser.add_argument(
        "--ship-track", type=Path, metavar="AIS.csv", help="the ship's track: columns time (UTC), lat, lon"
    )
    parser.add_argument("--wrecks", type=Path, metavar="LIST.csv", help="wrecks: columns name, lat, lon, depth, length")
    parser.add_argument(
        "--truth", type=Path, metavar="JOURNAL", help="the ship's journal.db: says whether the place would be found"
    )


def _effort(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--seabed", type=Path, metavar="FILE", help="a finer chart that outsiders lack: it is what trials are made on"
    )
    parser.add_argument(
        "--chart-error", type=float, default=1.0, metavar="FACTOR", help="times the chart's own error (default 1)"
    )
    parser.add_argument("--turns", type=int, default=TURNS, help=f"turns tried of an unknown one (default {TURNS})")
    parser.add_argument("--trials", type=int, default=TRIALS, help=f"dives at known places (default {TRIALS})")
    parser.add_argument("--seed", type=int, default=1, help="another number draws other trials (default 1)")
