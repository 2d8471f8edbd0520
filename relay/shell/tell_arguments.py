"""Arguments alone: what can be told to a running relay. What is done with it is in `tell`."""

import argparse
from pathlib import Path

_ABOUT = """\
Takes a decision to the relay that runs on this expedition file. It is journalled with your name before it
acts. Stop, hold, cut and a new zone act at once: they only remove. What tells something (annotation,
target, leg, begin, end) or shows more (a zone that is lifted) waits out the delay like everything else.
What waits for approval, where targets lie and when a vehicle is expected stays on the ship."""

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

_Commands = argparse._SubParsersAction  # argparse has no public name for it


def add_tell(commands: "_Commands[argparse.ArgumentParser]") -> None:
    """Add the command and what can be told."""
    parser = commands.add_parser(
        "tell",
        help="tell a running relay what to do: stop, hold, resume, cut, annotate, ...",
        description=_ABOUT,
        epilog=_TOLD,
        formatter_class=argparse.RawDescriptionHelpFormatter,
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


def _say(words: "_Commands[argparse.ArgumentParser]") -> None:
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


def _target(words: "_Commands[argparse.ArgumentParser]") -> None:
    target = words.add_parser("target", help="name what was seen, and say what it was found to be")
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


def _zones(words: "_Commands[argparse.ArgumentParser]") -> None:
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


def _expected(words: "_Commands[argparse.ArgumentParser]") -> None:
    expect = words.add_parser("expect", help="say when an autonomous vehicle that leaves now is to be back")
    expect.add_argument("vehicle", metavar="VEHICLE")
    expect.add_argument("--returns-in", required=True, metavar="DURATION", help='such as "6 h"')
    expect.add_argument("--grace", default="0 s", metavar="DURATION", help="how late it may be without an alarm")
    expect.add_argument("--reports-every", metavar="DURATION", help="how often it reports meanwhile, if it does")
    expect.add_argument("--reports-grace", default="0 s", metavar="DURATION", help="room for several lost reports")
    words.add_parser("back", help="say that it is back").add_argument("vehicle", metavar="VEHICLE")


def _programme(words: "_Commands[argparse.ArgumentParser]") -> None:
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
