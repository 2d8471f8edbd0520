"""Arguments alone: what each command takes. What they do is in `relay.shell.app` and `tell`."""

import argparse
import sys
from pathlib import Path

from relay import __version__
from relay.shell.exit_code import exit_code
from relay.shell.reading_arguments import Commands, add_command, add_reading

_ABOUT = """\
Offing lets people ashore follow an underwater dive without being told where it is. On the ship it takes the
vehicle's position and status from the control station (it only listens), keeps the exact record to itself, and
releases a thinned, delayed, place-less version that is followed in a browser."""

_CAUTION = """\
Not for navigation, vehicle control or collision avoidance. An embargo and a place-less track reduce what is given
away; they do not undo what AIS, photographs, crew or earlier publications give away."""

_FIRST = """\
first steps:
  offing demo                    an invented dive, in your browser
  offing check EXPEDITION.toml   what would each audience see, and how late?
"""

_TOLD = """\
examples:
  offing tell EXPEDITION.toml stop
  offing tell EXPEDITION.toml hold public
  offing tell EXPEDITION.toml cut "12 min" "3 min"
  offing tell EXPEDITION.toml say "The boiler is in sight." --vehicle Lantern
  offing tell EXPEDITION.toml target "the boiler" "of interest"
  offing tell EXPEDITION.toml leg Lantern bottom
  offing tell EXPEDITION.toml target "the bell" unchecked --vehicle Lantern --bearing -12 --range "35 m"
  offing tell EXPEDITION.toml zone "the hold" --centre -30.1 -22.2 --radius "100 m" --margin "60 m"
  offing tell EXPEDITION.toml expect Moth --returns-in "6 h" --grace "20 min" --reports-every "30 s"
"""

_REHEARSED = """\
example, with a capture of NMEA 0183 sentences from last year:
  offing rehearse EXPEDITION.toml dive.nmea --out tryout
  offing show tryout/released/public/dive-001.recording
"""

_IMPORTED = """\
example, with Moth on deck again:
  offing import EXPEDITION.toml --vehicle Moth moth-dive-3.jsonl
"""


def main(arguments: list[str] | None = None) -> int:
    """Run one command; return 0 when it did what was asked, 2 when something given to it was wrong."""
    options = _parser().parse_args(arguments)
    if options.command == "tell":  # without what the other commands load: a hold acts half a second sooner
        from relay.shell.tell import tell

        return exit_code(tell, options)
    from relay.shell import app

    return app.run(options)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="offing",
        description=_ABOUT,
        epilog=f"{_FIRST}\n{_CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"offing {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _demo(commands)
    _ship(commands)
    _key(commands)
    _check(commands)
    _rehearse(commands)
    add_reading(commands)
    _import(commands)
    _record(commands)
    _tell(commands)
    return parser


def _demo(commands: Commands) -> None:
    parser = add_command(
        commands,
        "demo",
        "show an invented dive, live, in a browser",
        "Runs a ship's relay and a simulated control station that talks to it over real sockets, and prints the\n"
        "address of the followers' page. The expedition is invented, and so is its place.",
    )
    parser.add_argument(
        "--port", type=int, default=8080, help="port of the page on this machine (default 8080; 0: a free one)"
    )
    parser.add_argument("--seed", type=int, default=1, help="another number gives another dive (default 1)")
    parser.add_argument("--folder", type=Path, help="where to keep the demo's files (default: a temporary folder)")
    parser.add_argument("--seconds", type=float, help="end by itself after so many seconds")


def _ship(commands: Commands) -> None:
    parser = add_command(
        commands,
        "ship",
        "run the relay on the ship",
        "Listens to the feeds of the expedition file, journals every byte with its moment of receipt, and releases to\n"
        "each audience what its policy allows, as late as it says. Stop it with Ctrl-C; started again, it goes on\n"
        "where it was: nothing is early, lost or sent twice.",
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")


def _key(commands: Commands) -> None:
    parser = add_command(
        commands,
        "key",
        "print the ship's public key, with which anyone ashore checks what she released",
        "Prints the public key of the site, drawing its secrets if there are none yet. It is no secret: give it to\n"
        "whoever runs the shore, and put it where followers trust it. The secrets file itself stays on the ship.",
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")


def _check(commands: Commands) -> None:
    parser = add_command(
        commands,
        "check",
        "check an expedition file and say what each audience will see",
        "Reads the expedition file as `offing ship` would and says in plain words what each audience will see and\n"
        "how late. Faults are named with their line. Nothing is started or written.",
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")


def _rehearse(commands: Commands) -> None:
    parser = add_command(
        commands,
        "rehearse",
        "run captures through the relay and write what would have been released",
        "Shows what would have been released of a dive that you have recorded: its captures go through the relay as\n"
        "fast as it can, and what each audience would have got, and when, is written below DIR:\n"
        "  released/AUDIENCE/dive-NNN.recording   what each audience would have got\n"
        "  send-times/AUDIENCE-dive-NNN.csv       when each record would have left\n"
        "  private/                               the exact record: keep it to yourself\n"
        "INPUT is a file of what a feed received: .nmea, .tlog or .jsonl (also .gz), or the journal.db of a site. It\n"
        "goes to the first feed of its format; FEED=INPUT names another. An .nmea capture is timed by its own\n"
        "sentences, or by --rate.",
        _REHEARSED,
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
    parser.add_argument("inputs", nargs="+", metavar="INPUT")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="a folder that doesn't exist yet, or is empty"
    )
    parser.add_argument("--rate", type=float, help="sentences a second, for a capture without times")
    group = parser.add_mutually_exclusive_group()
    group.add_argument(
        "--seed", type=int, default=1, help="secrets for this rehearsal alone, from a number (default 1)"
    )
    group.add_argument("--secrets", type=Path, metavar="FILE", help="the secrets file of a site")


def _import(commands: Commands) -> None:
    parser = add_command(
        commands,
        "import",
        "import a recovered vehicle's own log: it completes the exact record, on the ship alone",
        "Keeps the log that a vehicle brought back, its bytes as they are, beside the journal: with its name, its\n"
        "SHA-256, who imported it and when. Nothing that was or will be released is changed by it, and the relay may\n"
        "run meanwhile. FILE is .nmea, .tlog, .jsonl (also .gz) or .msgpack, and tells the time. The same file is\n"
        "kept once. What is printed holds no position.",
        _IMPORTED,
    )
    parser.add_argument(
        "expedition", type=Path, metavar="EXPEDITION.toml", help="the expedition file, or the folder it lies in"
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the log")
    parser.add_argument("--vehicle", required=True, metavar="NAME", help="whose log it is")
    parser.add_argument("--feed", metavar="NAME", help="read it as this feed of the expedition file is read")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="the day (UTC) on which a log without a date begins")
    parser.add_argument("--who", help="who imports it (default: the user of this machine)")
    parser.add_argument("--json", action="store_true", help="answer as JSON, for another program")


def _record(commands: Commands) -> None:
    parser = add_command(
        commands,
        "record",
        "say what the exact record of a vehicle covers, or print it: on the ship alone",
        "Reads the live reports in the journal and the logs that were imported as one, in the order of the vehicle's\n"
        "own time, and says from when to when it goes and how many positions it has. With --print it prints all of\n"
        "it, a report a line: exact and private.",
    )
    parser.add_argument(
        "expedition", type=Path, metavar="EXPEDITION.toml", help="the expedition file, or the folder it lies in"
    )
    parser.add_argument("--vehicle", required=True, metavar="NAME", help="its name in the expedition file")
    group = parser.add_mutually_exclusive_group()
    group.add_argument("--json", action="store_true", help="answer as JSON, for another program")
    group.add_argument("--print", action="store_true", help="print the record, positions and all, as JSON lines")


def _tell(commands: Commands) -> None:
    parser = add_command(
        commands,
        "tell",
        "tell a running relay what to do: stop, hold, resume, cut, annotate, ...",
        "Takes a decision to the relay that runs on this expedition file. It is journalled with your name before it\n"
        "acts. Stop, hold, cut and a new zone act at once: they only remove. What tells something (annotation,\n"
        "target, leg, begin, end) or shows more (a zone that is lifted) waits out the delay like everything else.\n"
        "What waits for approval, where targets lie and when a vehicle is expected stays on the ship.",
        _TOLD,
    )
    parser.add_argument("expedition", type=Path, metavar="EXPEDITION.toml")
    parser.add_argument("--who", help="who takes the decision (default: the user of this machine)")
    parser.add_argument("--json", action="store_true", help="answer as JSON, for another program")
    words = parser.add_subparsers(dest="word", required=True, metavar="WORD")
    words.add_parser("status", help="how things stand: exact and private")
    words.add_parser("stop", help="send nothing more to anybody, at once: the same as hold without an audience")
    hold = words.add_parser("hold", help="send nothing more to an audience, at once; what falls due is kept")
    hold.add_argument("audience", nargs="?", help="default: all")
    resume = words.add_parser("resume", help="go on: what was kept meanwhile goes out at once, then what follows")
    resume.add_argument("audience", nargs="?", help="default: all")
    resume.add_argument(
        "--outside", action="store_true", help="also where the release stopped because a vehicle left the declared area"
    )
    cut = words.add_parser("cut", help="remove an interval before it is released, for every audience")
    cut.add_argument("since", metavar="FROM", help='how long ago it begins, such as "12 min"')
    cut.add_argument("until", metavar="TO", help='how long ago it ends, such as "3 min" or "0 s"')
    early = words.add_parser("early", help="release to an audience now what its embargo holds back; asks twice")
    early.add_argument("audience")
    early.add_argument("since", metavar="UPTO", nargs="?", default="0 s", help='up to how long ago (default "0 s")')
    leg = words.add_parser("leg", help="set the leg of a vehicle by hand; auto: judge it by depth and height again")
    leg.add_argument("vehicle", metavar="VEHICLE", help="its name in the expedition file")
    leg.add_argument("leg", choices=["deck", "descent", "bottom", "ascent", "auto"])
    _say(words)
    _target(words)
    _zones(words)
    _expected(words)
    _programme(words)
    words.add_parser("begin", help="begin a dive")
    words.add_parser("end", help="end the dive")


def _say(words: Commands) -> None:
    say = words.add_parser("say", help="annotate")
    say.add_argument("text", help="what followers read, in quotes; refused, with the reason, if a place is found in it")
    say.add_argument("--vehicle", help="the vehicle that it is about")
    say.add_argument("--audience", action="append", default=[], help="for this audience alone; may be repeated")
    say.add_argument(
        "--wait", action="store_true", help="keep it until somebody approves it; `status` lists what waits"
    )
    say.add_argument(
        "--still",
        type=Path,
        metavar="PICTURE",
        help="with this picture (JPEG, PNG or WebP), for audiences whose fields name stills: made smaller, all "
        "metadata dropped; the original stays beside the journal",
    )
    say.add_argument(
        "--looked",
        action="store_true",
        help="you have looked: nothing in the picture tells a place. What is burned into it is not removed",
    )
    for word, does in (("approve", "tell now what waits for approval"), ("dismiss", "forget what waits for approval")):
        words.add_parser(word, help=does).add_argument("say", type=int, metavar="ROW", help="its row, as `status` says")


def _target(words: Commands) -> None:
    target = words.add_parser("target", help="name a find, and say what it was found to be")
    target.add_argument("name", help='what followers call it, such as "the boiler"')
    target.add_argument("verdict", help="unchecked, rock, modern debris, of interest or withheld")
    target.add_argument("--vehicle", help="the vehicle that found it")
    _sighting(target)


def _sighting(target: argparse.ArgumentParser) -> None:
    """How the vehicle sees a target; the usual uncertainties are common practice, no source."""
    seen = target.add_argument_group("how the vehicle sees it, for the ship alone (uncertainties: one sigma)")
    seen.add_argument("--bearing", type=float, metavar="DEG", help="from the bow, clockwise; to port negative")
    seen.add_argument("--range", metavar="LENGTH", help='such as "35 m"')
    seen.add_argument("--range-is", choices=["slant", "horizontal"], default="horizontal", help="default: horizontal")
    seen.add_argument("--depression", type=float, metavar="DEG", help="below the horizontal; a slant range needs it")
    for name, of, usual in (
        ("bearing", "the bearing, degrees", 2.0),
        ("heading", "the vehicle's heading, degrees", 1.0),
        ("depression", "the depression, degrees", 2.0),
        ("range", "the range, metres", 1.0),
        ("place", "the vehicle's position, metres", 5.0),
    ):
        seen.add_argument(f"--{name}-sigma", type=float, default=usual, help=f"of {of} (default {usual:g})")


def _zones(words: Commands) -> None:
    zone = words.add_parser("zone", help="hide a place in everything that hasn't left yet, at once")
    zone.add_argument("name", help="for the ship alone; the same place again takes the same name")
    zone.add_argument("--centre", nargs=2, type=float, required=True, metavar=("LAT", "LON"), help="degrees")
    zone.add_argument("--radius", required=True, metavar="LENGTH", help='such as "100 m"')
    zone.add_argument(
        "--margin", required=True, metavar="LENGTH", help="how far a secret moves it; half the radius at least"
    )
    zone.add_argument("--freeze", action="store_true", help="show where the vehicle was before (default: nothing)")
    unzone = words.add_parser("unzone", help="lift a zone of the desk: what comes from now on is shown there again")
    unzone.add_argument("name")


def _expected(words: Commands) -> None:
    expect = words.add_parser("expect", help="say when an autonomous vehicle that leaves now is to be back")
    expect.add_argument("vehicle", metavar="VEHICLE")
    expect.add_argument("--returns-in", required=True, metavar="DURATION", help='such as "6 h"')
    expect.add_argument("--grace", default="0 s", metavar="DURATION", help="how late it may be without an alarm")
    expect.add_argument("--reports-every", metavar="DURATION", help="how often it reports meanwhile, if it does")
    expect.add_argument("--reports-grace", default="0 s", metavar="DURATION", help="room for several lost reports")
    words.add_parser("back", help="say that it is back").add_argument("vehicle", metavar="VEHICLE")


def _programme(words: Commands) -> None:
    programme = words.add_parser(
        "programme", help="tell followers what is to come, in the place of what you told before"
    )
    programme.add_argument("--pinned", metavar="TEXT", help="a message that stays")
    programme.add_argument(
        "--schedule",
        metavar="TEXT",
        action="append",
        default=[],
        help="what comes, and in which order; may be repeated",
    )
    programme.add_argument(
        "--next-dive", metavar="IN", help='how long until the next dive, such as "3 h"; told coarsely'
    )
    programme.add_argument("--none", action="store_true", help="take it away")


if __name__ == "__main__":
    sys.exit(main())
