"""Arguments alone: what a record of a find is made of. What is done with it is in `finding`."""

import argparse
from pathlib import Path

from relay.shell.reading_arguments import Commands, add_command

_ABOUT = """\
Writes a record of a find into the journal of the relay that runs on this expedition file, exact and private: nobody
ashore is told of it. The first record of a name is the find as found. Nothing overwrites it: a later record supersedes
it (--supersedes ROW), takes over what it doesn't say, and all of them stay."""

_EXAMPLES = """\
examples:
  offing find EXPEDITION.toml "the bell" --what "ship's bell, bronze" --target "anomaly 3" --depth "1103 m" \\
      --photo IMG_0031.JPG IMG_0032.JPG --outline bell.geojson
  offing find EXPEDITION.toml "jar 7" --what "jar, whole" --at -38.61472 -21.93306 --within "4 m"
  offing find EXPEDITION.toml "the bell" --supersedes 4117 --what "ship's bell, brass" --photo IMG_0044.JPG
"""


def add_find(commands: Commands) -> None:
    """Add the command."""
    parser = add_command(
        commands, "find", "record a find in the exact record: as found, or superseding what was", _ABOUT, _EXAMPLES
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
    parser.add_argument("name", metavar="NAME", help='what the find is called on board, such as "the bell"')
    parser.add_argument("--what", metavar="TEXT", help="what it is; needed of the find as found")
    parser.add_argument("--description", metavar="TEXT", help="how it lies, its state, what is beside it")
    place = parser.add_mutually_exclusive_group()
    place.add_argument("--target", metavar="NAME", help="it lies where this target does, as is known now")
    place.add_argument(
        "--at",
        nargs=2,
        type=float,
        metavar=("LAT", "LON"),
        help="where it lies: degrees, WGS84, south and west negative",
    )
    parser.add_argument(
        "--within", metavar="LENGTH", help='how well that is known: 95 %% within this about it, such as "4 m"'
    )
    parser.add_argument("--depth", metavar="LENGTH", help='such as "1103 m"')
    parser.add_argument("--vehicle", metavar="NAME", help="the vehicle that found it")
    _files(parser)
    parser.add_argument(
        "--supersedes",
        type=int,
        metavar="ROW",
        help="the row of the record that this one supersedes, as `tell ... status` lists it: what is known now",
    )
    parser.add_argument(
        "--afresh",
        action="store_true",
        help="with the photographs and drawings given here alone, without those of the record before",
    )
    parser.add_argument("--who", help="who records it (default: the user of this machine)")
    parser.add_argument("--json", action="store_true", help="answer as JSON, for another program")


def _files(parser: argparse.ArgumentParser) -> None:
    kept = "kept unchanged in the private folder, and told by name, size and SHA-256"
    for name, what in (("photo", "photographs"), ("drawing", "drawings as files (what they show: --drawing-is)")):
        parser.add_argument(
            f"--{name}", nargs="+", action="extend", type=Path, default=[], metavar="FILE", help=f"{what}: {kept}"
        )
    parser.add_argument(
        "--photo-elsewhere",
        nargs=3,
        action="append",
        default=[],
        metavar=("NAME", "SHA256", "BYTES"),
        help="a photograph that stays where it is, told by name, SHA-256 and size alone",
    )
    parser.add_argument("--drawing-is", choices=["outline", "section", "plan"], default="plan", help="default: plan")
    drawn = "points, lines and areas without holes in [longitude, latitude] (RFC 7946)"
    for name, what in (("outline", "its outline"), ("section", "where it was cut"), ("plan", "its parts in plan")):
        parser.add_argument(
            f"--{name}", action="append", type=Path, default=[], metavar="GEOJSON", help=f"{what}: {drawn}"
        )
