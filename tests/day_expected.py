"""What the day on board leaves behind, written by hand from the script and the policies: data alone.

How each number came about stands beside it. What is used throughout, of the expedition file and the rules of DESIGN.md:

- A record leaves for each tick, a multiple of public 15 s, funders 5 s, heritage 1 s, families 60 s. At a tick is known
  what was received up to it: of Lantern, while anything changes, what it was 4 s ago at the most: its reports tell
  multiples of 4 s and come 20 ms later, so that of the tick's own second doesn't count yet.
- A value is shown until it is older than 30 s (public, heritage), 2 min (funders), 5 min (families).
- What is stepped stays as it is until it is more than three quarters of a step away, then takes the nearest step.
- Times are times of day of the embargo clock. In a table a value holds from its tick until the next one in the table.

Where a vehicle was is given as the name of a place; the test lays these out by geographiclib, and turns them.
"""

from typing import Any, NamedTuple

Changes = tuple[tuple[str, Any], ...]


class Seen(NamedTuple):
    """What one audience sees of a vehicle in a dive: the ticks at which something changes, and to what.

    `fix`: the place that is known; `shown`: whether the track may show it; `heading`: of the vehicle, true.
    While it isn't `heard` nothing of it is shown.
    """

    heard: Changes = ()
    leg: Changes = ()
    depth: Changes = ()
    altitude: Changes = ()
    mode: Changes = ()
    pitch: Changes = ()
    roll: Changes = ()
    fix: Changes = ()
    shown: Changes = ()
    heading: Changes = ()


class Dive(NamedTuple):
    """A dive of one audience: first and last tick, how much later records leave, and what is in them."""

    first: str
    last: str
    lag_s: int
    lantern: Seen
    moth: Seen
    told: tuple[tuple[str, int, list[Any]], ...] = ()


def ramp(first: str, every_s: int, values: list[float]) -> Changes:
    """Return changes at regular ticks."""
    hours, minutes, seconds = map(int, first.split(":"))
    begun_s = hours * 3_600 + minutes * 60 + seconds
    moments = (begun_s + at * every_s for at in range(len(values)))
    return tuple(
        (f"{moment // 3_600}:{moment // 60 % 60:02}:{moment % 60:02}", value)
        for moment, value in zip(moments, values, strict=True)
    )


NOTE, TARGET = 2, 4

# The delays: public 45 min, funders 20 min, heritage 0, families 90 min, and a secret extra of whole ticks for each
# dive, up to 10 min for the public and 5 min for funders. The ticks of the site's key 00 01 02 ... 1f were worked out
# apart from the relay: HMAC-SHA256 (RFC 2104) of "extra public 1" and so on, its first seven octets as a share of 41 or
# 61.
EXTRA_TICKS = {"public": (4, 26, 28), "funders": (2, 23, 13)}
PUBLIC_LAG_S = tuple(45 * 60 + 15 * ticks for ticks in EXTRA_TICKS["public"])
FUNDERS_LAG_S = tuple(20 * 60 + 5 * ticks for ticks in EXTRA_TICKS["funders"])
FAMILIES_LAG_S = 90 * 60

# The public was held from 4:05:00.5 to 4:25:00.5; what fell due meanwhile leaves at the first tick after that.
HELD_FROM_S, LEAVES = 4 * 3600 + 5 * 60 + 0.5, "4:25:15"

# ---- the first dive: Lantern from 0:30 to 2:12 -----------------------------------------------------------------------
# It begins where depth is beyond 5 m. Lantern is 4 m deep at 0:30:04 and 8 m at 0:30:08, told at 0:30:08.02: the first
# ticks after that are 0:30:09, :10, :15 and 0:31:00. It ends when depth was below 2.5 m for 2 min. Lantern tells 0 m
# first at 2:10:00.02, seen at 2:10:01, :05, :15 and 2:11:00; two minutes later it is over. Moth says nothing.

# Down at a metre a second. At a tick x seconds after 0:30:00 the depth is the multiple of 4 below x. public, 10 m: x =
# 15, 30, 45, 60 knows 12, 28, 44, 56 m: 10, 30, 40, 60, then 60 m more each minute; each is at least 12 m from the step
# before, so nothing is held. The tenth minute ends at 600, where it stays: on the bottom steps are 50 m, kept through
# the whole dive: 600, and 611 and 606 are not 37.5 m from it.
_PUBLIC_DOWN = ramp("0:30:15", 15, [60.0 * minute + step for minute in range(10) for step in (10, 30, 40, 60)])
#   funders, 10 m: x = 5, 10, 15, 20 knows 4, 8, 12, 16 m. 8 m is shown as 10 and 12, 16 are within 7.5 of it, and so is
#   20 + 4 = 24 not: 20. So 20n, 20n + 10, and again twice; the first tick is x = 10.
_FUNDERS_DOWN = ramp("0:30:10", 5, [20.0 * n + step for n in range(30) for step in (0, 10, 10, 10)][1:])
#   heritage, 0.1 m: 8 m at x = 9 to 12, then 12 and so on to 596 m at x = 597 to 600.
_HERITAGE_DOWN = ramp("0:30:09", 4, [4.0 * n for n in range(2, 150)])

# Up again from 606 m at 2:00:00. At x seconds after that 606 less the multiple of 4 below x.
#   public: at x = 30 still on the bottom (below), from x = 45 in steps of 10 m: x = 45, 60, 75, 90 knows 562, 550, 534,
#   518 m: 560, 550, 530, 520, then 60 m less each minute. x = 600 knows 10 m; x = 615 knows 0.
_PUBLIC_UP = (*ramp("2:00:45", 15, [step - 60.0 * n for n in range(10) for step in (560, 550, 530, 520)][:38]),
              ("2:10:15", 0))  # fmt: skip
#   funders: x = 5, 10, 15, 20 knows 602, 598, 594, 590. 610 was shown; 602 is 8 from it: 600; 598 and 594 are within
#   7.5; 590: 590; then 582 is 8 from that: 580. So 600, 600, 600, 590, less 20 for each 20 s. x = 605 knows 0.
_FUNDERS_UP = (*ramp("2:00:05", 5, [step - 20.0 * n for n in range(30) for step in (600, 600, 600, 590)]),
               ("2:10:05", 0))  # fmt: skip
_HERITAGE_UP = (*ramp("2:00:01", 4, [606.0 - 4 * n for n in range(150)]), ("2:10:01", 0))

# Legs. Descent: deeper than 3 m at the first tick. Bottom: within 15 m of the seabed, 12 m from 0:40:00 on. Ascent:
# more than 40 m above it; at 2:00:32 it is 38, at 2:00:36 it is 42 (and 41 above the deepest, 611). Deck: above 1.5 m.
# Words for the altitude: none while none is told; 12 m near; 1 m on the bottom (up to 1.5); 6 m near again (beyond
# 1.875, a quarter more); going up "near" until 18.75: at 2:00:12 it is 18, at 2:00:16 it is 22: mid-water. Told last at
# 2:01:32. Place: A until the last fix of 0:49:56 is too old; B from 0:56:40 on; the line to C from 1:10:00 to 1:20:00;
# then C. The stations contradict each other from 1:14:10.05 (standby 300 m off) to 1:14:20.02 (main against the
# standby's last wrong one), and have to agree for 5 s: no place at ticks from 1:14:10.05 to 1:14:25.02. Roll: the
# standby tells 8, the main station 2. The main station's last report is that of 1:12:59.9, at 1:12:59.92; it is silent
# after three tenths, half a second at the least: at the standby's report of 1:13:00.45. The reports of the standby
# since then count, so from the tick 1:13:01 on. Main is back at 1:13:30.02 and counts when it was healthy for 10 s,
# from its report at 1:13:40.02 on: tick 1:13:40 is the standby's, 1:13:41 main's. The cut, 1:30 to 1:35, at 1:36:
# before anybody but heritage had it. For the others Lantern was last heard at 1:29:56.02.

# Decided half a second after the minute, or told by both stations at once and counted once (1:16:28.02):
_HULL = [0, "Back at the hull."]  # by the stations at 1:35:00.02, right behind what was cut
_BELL = [None, "The bell is still there."]  # approved at 1:28:00.5: for public and families
_BOW, _RIVETS, _FAMILY = (
    [0, "The bow stands upright."],
    [0, "A row of eleven rivets."],
    [None, "Your grandfathers' ship."],
)
_VERDICTS = ("rock", "modern debris", "of interest", "withheld")


def _targets(ticks: tuple[str, ...]) -> tuple[tuple[str, int, list[Any]], ...]:
    """Return four targets unchecked, 1:40:00.5 to 1:43:00.5, and their verdicts, 1:45:00.5 to 1:48:00.5."""
    words = ("unchecked",) * 4 + _VERDICTS
    names = [f"Contact {number}" for number in (1, 2, 3, 4, 1, 2, 3, 4)]
    return tuple((tick, TARGET, [0, name, word]) for tick, name, word in zip(ticks, names, words, strict=True))


PUBLIC_1 = Dive(
    "0:30:15", "2:12:15", PUBLIC_LAG_S[0],
    Seen(
        # 1:30:15 is 18.98 s after the last report before the cut, 1:30:30 is 33.98 s; 1:35:00.02 is seen at 1:35:15
        heard=(("0:30:15", True), ("1:30:30", False), ("1:35:15", True)),
        leg=(("0:30:15", "descent"), ("0:40:15", "bottom"), ("2:00:45", "ascent"), ("2:10:15", "deck")),
        depth=(*_PUBLIC_DOWN, *_PUBLIC_UP),
        # 2:01:32.02 is 27.98 s before 2:02:00, 42.98 before 2:02:15
        altitude=(("0:40:15", "near the bottom"), ("0:56:45", "on the bottom"), ("1:10:15", "near the bottom"),
                  ("2:00:30", "mid-water"), ("2:02:15", None)),
        mode=(("0:30:15", "tethered"),),
        pitch=(("0:30:15", 0),),  # 1 and 2 degrees in steps of 5
        roll=(("0:30:15", 0), ("1:13:15", 10), ("1:13:45", 0)),  # 8 is beyond 3.75: 10
        fix=(("0:30:15", "A"), ("0:50:30", None), ("0:56:45", "B"), ("1:10:15", "line"), ("1:14:15", None),
             ("1:14:30", "line"), ("1:20:15", "C")),
        # on the bottom alone, 10 min after 0:40:15 and 100 m from there: A is not, B is 200 m away
        shown=(("0:56:45", True), ("2:00:45", False)),
        heading=(("0:56:45", 70.0), ("1:10:15", 160.0), ("1:20:15", 250.0)),
    ),
    Seen(heard=(("0:30:15", False),)),
    (("0:58:15", NOTE, _BOW), ("1:16:30", NOTE, _RIVETS), ("1:28:15", NOTE, _BELL), ("1:35:15", NOTE, _HULL),
     *_targets(("1:40:15", "1:41:15", "1:42:15", "1:43:15", "1:45:15", "1:46:15", "1:47:15", "1:48:15"))),
)  # fmt: skip

FUNDERS_1 = Dive(
    "0:30:10", "2:12:05", FUNDERS_LAG_S[0],
    Seen(
        heard=(("0:30:10", True), ("1:32:00", False), ("1:35:05", True)),  # 1:31:55 is 118.98 s after 1:29:56.02
        leg=(("0:30:10", "descent"), ("0:40:05", "bottom"), ("2:00:40", "ascent"), ("2:10:05", "deck")),
        # 596 m held 590; 600 is 10 from it; 611 is 11 from 600; 606 is 4 from 610
        depth=(*_FUNDERS_DOWN, ("0:40:05", 600), ("0:56:45", 610), *_FUNDERS_UP),
        altitude=(("0:40:05", "near the bottom"), ("0:56:45", "on the bottom"), ("1:10:05", "near the bottom"),
                  ("2:00:20", "mid-water"), ("2:03:35", None)),  # 2:01:32.02 and two minutes
        mode=(("0:30:10", "tethered"),),
        pitch=(("0:30:10", 0),),
        roll=(("0:30:10", 0), ("1:13:05", 10), ("1:13:45", 0)),  # 1:13:40 is the standby's
        fix=(("0:30:10", "A"), ("0:52:00", None), ("0:56:45", "B"), ("1:10:05", "line"), ("1:14:15", None),
             ("1:14:30", "line"), ("1:20:05", "C")),  # 0:49:56.02 and two minutes
        shown=(("0:56:45", True), ("2:00:40", False)),  # 5 min and 50 m
        heading=(("0:56:45", 70.0), ("1:10:05", 160.0), ("1:20:05", 250.0)),
    ),
    Seen(heard=(("0:30:10", False),)),
    (("0:58:05", NOTE, _BOW), ("1:02:05", NOTE, [None, "Thank you for the lamps."]), ("1:16:30", NOTE, _RIVETS),
     ("1:35:05", NOTE, _HULL),
     *_targets(("1:40:05", "1:41:05", "1:42:05", "1:43:05", "1:45:05", "1:46:05", "1:47:05", "1:48:05"))),
)  # fmt: skip

HERITAGE_1 = Dive(
    "0:30:09", "2:12:01", 0,
    Seen(
        heard=(("0:30:09", True),),  # what is cut at 1:36 had left
        leg=(("0:30:09", "descent"), ("0:40:01", "bottom"), ("2:00:37", "ascent"), ("2:10:01", "deck")),
        depth=(*_HERITAGE_DOWN, ("0:40:01", 600), ("0:56:41", 611), ("1:10:01", 606), ("1:30:01", 590),
               ("1:35:01", 606), *_HERITAGE_UP),
        altitude=(("0:40:01", "near the bottom"), ("0:56:41", "on the bottom"), ("1:10:01", "near the bottom"),
                  ("1:30:01", "mid-water"), ("1:35:01", "near the bottom"), ("2:00:17", "mid-water"),
                  ("2:02:03", None)),
        mode=(("0:30:09", "tethered"),),
        pitch=(("0:30:09", 1),),
        roll=(("0:30:09", 2), ("1:13:01", 8), ("1:13:41", 2)),
        fix=(("0:30:09", "A"), ("0:50:27", None), ("0:56:41", "B"), ("1:10:01", "line"), ("1:14:11", None),
             ("1:14:26", "line"), ("1:20:01", "C")),
        shown=(("0:30:13", True),),  # the frame needs a second fix, that of 0:30:12; the exact position doesn't
        heading=(("0:30:09", 40.0), ("0:50:01", 70.0), ("1:10:01", 160.0), ("1:20:01", 250.0)),
    ),
    Seen(heard=(("0:30:09", False),)),
    (("0:58:01", NOTE, _BOW), ("1:16:29", NOTE, _RIVETS), ("1:21:01", NOTE, _FAMILY),
     ("1:22:01", NOTE, [0, "USBL gives 30 14.9 S 22 29.8 W"]),  # a place: for those alone whose texts aren't checked
     ("1:23:01", NOTE, [None, "30 14.9 S 22 29.8 W, for the register"]),
     ("1:30:01", NOTE, [0, "For the register alone."]),
     ("1:31:01", NOTE, [None, "We look at what nobody should see."]),
     ("1:32:01", TARGET, [0, "Contact 0", "unchecked"]), ("1:33:01", NOTE, [0, "A shoe, left where it lies."]),
     ("1:35:01", NOTE, _HULL),
     *_targets(("1:40:01", "1:41:01", "1:42:01", "1:43:01", "1:45:01", "1:46:01", "1:47:01", "1:48:01"))),
)  # fmt: skip

FAMILIES_1 = Dive(
    "0:31:00", "2:13:00", FAMILIES_LAG_S,
    Seen(
        heard=(("0:31:00", True), ("1:35:00", False), ("1:36:00", True)),  # 1:35:00 is 303.98 s after 1:29:56.02
        leg=(("0:31:00", "descent"), ("0:41:00", "bottom"), ("2:01:00", "ascent"), ("2:11:00", "deck")),
        # relative to 600 m, in steps of 5 m: 11 m below it: 10; then 6 m below it, 4 from 10 and so beyond 3.75: 5
        depth=(("0:41:00", 0), ("0:57:00", 10), ("1:11:00", 5), ("2:01:00", None)),
        altitude=(("0:41:00", "near the bottom"), ("0:57:00", "on the bottom"), ("1:11:00", "near the bottom"),
                  ("2:01:00", "mid-water"), ("2:07:00", None)),
        mode=(("0:31:00", "tethered"),),
    ),
    Seen(heard=(("0:31:00", False),)),
    (("0:59:00", NOTE, _BOW), ("1:17:00", NOTE, _RIVETS), ("1:22:00", NOTE, _FAMILY),
     ("1:29:00", NOTE, _BELL), ("1:36:00", NOTE, _HULL),
     *_targets(("1:41:00", "1:42:00", "1:43:00", "1:44:00", "1:46:00", "1:47:00", "1:48:00", "1:49:00"))),
)  # fmt: skip

# ---- the second dive: Moth on its own, from 3:05 to 3:50, begun and ended by hand at half a second past --------------
# Lantern is on deck all the while, at A, told every 20 s. Of Moth's reports 0, 1, 2, ... of 3:10:00, 3:10:30, 3:11:00,
# ... these arrive, in this order: report 9 after 11, 17 after 18, 31 after 32, 30 after 34; 4, 5, 6, 13, 40, 41 never
# do.
ARRIVED = (0, 1, 2, 3, 7, 8, 10, 11, 9, 12, 14, 15, 16, 18, 17, *range(19, 30), 32, 31, 33, 34, 30, *range(35, 40),
           *range(42, 80))  # fmt: skip
ARRIVES_AFTER_S = 5.3
ARRIVES_LATE = {9: "3:15:40.3", 17: "3:19:20.3", 30: "3:27:10.3", 31: "3:26:10.3"}
# Report k tells 200 m + 10 m times k, 800 m from 60 on. What came last is shown, even where a vehicle's clock calls it
# older. Ten metres and more are always beyond three quarters of a step of 10 m, 5 m or 0.1 m. The leg: on the first
# tick that knows of it a descent (it was on deck), on the next it is near the bottom. Silence beyond 30 s: after report
# 3 (3:11:35.3) until 7 (3:13:35.3), after 8 (3:14:05.3) until 10 (3:15:05.3), after 12 (3:16:05.3) until 14
# (3:17:05.3), after 16 (3:18:05.3) until 18 (3:19:05.3), after 29 (3:24:35.3) until 32 (3:26:05.3), after 39
# (3:29:35.3) until 42 (3:31:05.3). And on the public's last tick: report 80 comes at 3:50:05.3, after the end was
# decided, and belongs to no dive; 79 came 39.7 s ago. The longest is 120.0 s: funders and families always hear it. A
# zone of the desk about where Moth is at report 70, hidden at 3:41:00.5 from all whose place isn't exact, in whatever
# had not left: for public and funders all of this dive that lies in it. It is shown again from the tick after 3:46:00.5
# on.
ZONE = ("Isoline's cargo", 70, 100.0, 60.0)  # name, report, radius and margin in metres
ZONE_LIFTED = {"public": "3:46:15", "funders": "3:46:05"}
_NEAR, _ALONE = "near the bottom", "autonomous"
_ON_ITS_OWN = [1, "Moth is on its own."]  # 3:12:00.5

PUBLIC_2 = Dive(
    "3:05:15", "3:50:15", PUBLIC_LAG_S[1],
    Seen(heard=(("3:05:15", True),), leg=(("3:05:15", "deck"),), depth=(("3:05:15", 0),),
         mode=(("3:05:15", "tethered"),), pitch=(("3:05:15", 0),), roll=(("3:05:15", 0),), fix=(("3:05:15", "A"),)),
    Seen(
        heard=(("3:10:15", True), ("3:12:15", False), ("3:13:45", True), ("3:14:45", False), ("3:15:15", True),
               ("3:16:45", False), ("3:17:15", True), ("3:18:45", False), ("3:19:15", True), ("3:25:15", False),
               ("3:26:15", True), ("3:30:15", False), ("3:31:15", True), ("3:50:15", False)),
        leg=(("3:10:15", "descent"), ("3:10:30", "bottom")),
        # 50 m: 270 is 70 from 200; 300; 340; 390; 440; 490 are 40 or 50 from the step before. Report 34's 540 comes and
        # goes between two ticks, with 30's 500 after it; then 550, 590, 640, 690, 740, 790
        depth=(("3:10:15", 200), ("3:13:45", 250), ("3:15:15", 300), ("3:17:15", 350), ("3:19:45", 400),
               ("3:22:15", 450), ("3:24:45", 500), ("3:27:45", 550), ("3:29:45", 600), ("3:32:15", 650),
               ("3:34:45", 700), ("3:37:15", 750), ("3:39:45", 800)),
        altitude=(("3:10:15", _NEAR),), mode=(("3:10:15", _ALONE),),
        pitch=(("3:10:15", -5),),  # -3 in steps of 5
        fix=(("3:10:15", "moth"),),
        shown=(("3:20:30", True),),  # 10 min after 3:10:30, and 300 m from there
        heading=(("3:10:15", 200.0),),
    ),
    (("3:12:15", NOTE, _ON_ITS_OWN),),
)  # fmt: skip

FUNDERS_2 = Dive(
    "3:05:05", "3:50:05", FUNDERS_LAG_S[1],
    Seen(heard=(("3:05:05", True),), leg=(("3:05:05", "deck"),), depth=(("3:05:05", 0),),
         mode=(("3:05:05", "tethered"),), pitch=(("3:05:05", 0),), roll=(("3:05:05", 0),), fix=(("3:05:05", "A"),)),
    Seen(
        heard=(("3:10:10", True),), leg=(("3:10:10", "descent"), ("3:10:15", "bottom")),
        depth=(("3:10:10", "moth"),), altitude=(("3:10:10", _NEAR),), mode=(("3:10:10", _ALONE),),
        pitch=(("3:10:10", -5),), fix=(("3:10:10", "moth"),),
        shown=(("3:15:15", True),),  # 5 min after 3:10:15, and 150 m from there
        heading=(("3:10:10", 200.0),),
    ),
    (("3:12:05", NOTE, _ON_ITS_OWN),),
)  # fmt: skip

HERITAGE_2 = Dive(
    "3:05:01", "3:50:01", 0,
    Seen(heard=(("3:05:01", True),), leg=(("3:05:01", "deck"),), depth=(("3:05:01", 0),),
         mode=(("3:05:01", "tethered"),), pitch=(("3:05:01", 1),), roll=(("3:05:01", 2),), fix=(("3:05:01", "A"),),
         shown=(("3:05:01", True),), heading=(("3:05:01", 40.0),)),
    Seen(
        heard=(("3:10:06", True), ("3:12:06", False), ("3:13:36", True), ("3:14:36", False), ("3:15:06", True),
               ("3:16:36", False), ("3:17:06", True), ("3:18:36", False), ("3:19:06", True), ("3:25:06", False),
               ("3:26:06", True), ("3:30:06", False), ("3:31:06", True)),
        leg=(("3:10:06", "descent"), ("3:10:07", "bottom")),
        depth=(("3:10:06", "moth"),), altitude=(("3:10:06", _NEAR),), mode=(("3:10:06", _ALONE),),
        pitch=(("3:10:06", -3),), fix=(("3:10:06", "moth"),), shown=(("3:10:06", True),),
        heading=(("3:10:06", 200.0),),
    ),
    (("3:12:01", NOTE, _ON_ITS_OWN),),
)  # fmt: skip

FAMILIES_2 = Dive(
    "3:06:00", "3:51:00", FAMILIES_LAG_S,
    Seen(heard=(("3:06:00", True),), leg=(("3:06:00", "deck"),), mode=(("3:06:00", "tethered"),)),
    Seen(
        heard=(("3:11:00", True),), leg=(("3:11:00", "descent"), ("3:12:00", "bottom")),
        # Below 230 m, where it is on the bottom first, with report 3. Last at each minute: reports 3, 3, 7, 8, 9 (after
        # 11), 12, 15, 16, 19, and 21, 23, ... (two a minute), 29 twice, 33, ..., 39 twice, 43, ...; 800 m from 60 on.
        depth=ramp("3:12:00", 60, [0, 0, 40, 50, 60, 90, 120, 130, 160, 180, 200, 220, 240, 260, 260, 300, 320, 340,
                                   360, 360, 400, 420, 440, 460, 480, 500, 520, 540, 560, 570]),
        altitude=(("3:11:00", _NEAR),), mode=(("3:11:00", _ALONE),),
    ),
    (("3:13:00", NOTE, _ON_ITS_OWN),),
)  # fmt: skip

# ---- the third dive: Moth by cable, every 10 s, in NMEA 0183; Lantern says nothing -----------------------------------
# 10 m are told first at 5:00:10.02: ticks 5:00:11, :15, :15, 5:01:00. A metre a second to 150 m at 5:02:30. No
# altitude: it is on the bottom when its depth has been level within 5 m for 180 s. The last change is seen at 5:02:31,
# :35, :45, 5:03:00. The last report is that of 5:15:00.02: too old after 30 s, 2 min, 5 min; and after 10 min the dive
# is over. On the bottom it never moves 100 m or 50 m, so that public and funders see no track.
_STILL = Seen(heard=(("5:00:00", False),))

PUBLIC_3 = Dive(
    "5:00:15", "5:25:15", PUBLIC_LAG_S[2], _STILL,
    Seen(
        heard=(("5:00:15", True), ("5:15:45", False)),
        leg=(("5:00:15", "descent"), ("5:05:45", "bottom")),
        # x = 15, 30, 45, 60, ... knows 10, 20, 40, 50, 70, 80, ... m. The step of 50 m on the bottom is 150, too: 140
        # is 40 from 100
        depth=ramp("5:00:15", 15, [10, 20, 40, 50, 70, 80, 100, 110, 130, 140, 150]),
        fix=(("5:00:15", "F"),), heading=(("5:00:15", 300.0),),
    ),
)  # fmt: skip

FUNDERS_3 = Dive(
    "5:00:15", "5:25:05", FUNDERS_LAG_S[2], _STILL,
    Seen(
        heard=(("5:00:15", True), ("5:17:05", False)),
        leg=(("5:00:15", "descent"), ("5:05:35", "bottom")),
        depth=ramp("5:00:15", 10, [10.0 * n for n in range(1, 16)]),
        fix=(("5:00:15", "F"),), heading=(("5:00:15", 300.0),),
    ),
)  # fmt: skip

HERITAGE_3 = Dive(
    "5:00:11", "5:25:01", 0, _STILL,
    Seen(
        heard=(("5:00:11", True), ("5:15:31", False)),
        leg=(("5:00:11", "descent"), ("5:05:31", "bottom")),
        depth=ramp("5:00:11", 10, [10.0 * n for n in range(1, 16)]),
        fix=(("5:00:11", "F"),), shown=(("5:00:11", True),), heading=(("5:00:11", 300.0),),
    ),
)  # fmt: skip

FAMILIES_3 = Dive(
    "5:01:00", "5:26:00", FAMILIES_LAG_S, _STILL,
    Seen(
        heard=(("5:01:00", True), ("5:21:00", False)),
        leg=(("5:01:00", "descent"), ("5:06:00", "bottom")),
        depth=(("5:06:00", 0),),
    ),
)  # fmt: skip

DIVES = {
    "public": (PUBLIC_1, PUBLIC_2, PUBLIC_3),
    "funders": (FUNDERS_1, FUNDERS_2, FUNDERS_3),
    "heritage": (HERITAGE_1, HERITAGE_2, HERITAGE_3),
    "families": (FAMILIES_1, FAMILIES_2, FAMILIES_3),
}

# ---- what the first record of a dive says: the expedition file's settings and its presets' ---------------------------
_SEEN = ["track", "depth", "altitude", "heading", "pitch", "roll", "mode", "leg", "notes"]
_COMMON = {
    "format": "offing recording", "version": 1, "expedition": "The search for the Isoline Marr",
    "vehicles": ["Lantern", "Moth"], "area": "South Atlantic", "swath_m": None,
}  # fmt: skip
HEADERS: dict[str, dict[str, Any]] = {
    "public": {**_COMMON, "audience": "public", "tick_s": 15, "delay_s": [2700, 3300], "cell_m": 25,
               "depth_step_m": 50, "heading_step_deg": 22.5, "fields": _SEEN, "place": "local", "depth": "absolute"},
    "funders": {**_COMMON, "audience": "funders", "tick_s": 5, "delay_s": [1200, 1500], "cell_m": 10,
                "depth_step_m": 10, "heading_step_deg": 22.5, "fields": _SEEN, "place": "local", "depth": "absolute"},
    "heritage": {**_COMMON, "audience": "heritage", "tick_s": 1, "delay_s": [0, 0], "cell_m": 1, "depth_step_m": 0.1,
                 "heading_step_deg": 1, "fields": [*_SEEN, "stills"], "place": "exact", "depth": "absolute"},
    "families": {**_COMMON, "audience": "families", "tick_s": 60, "delay_s": [5400, 5400], "cell_m": None,
                 "depth_step_m": 5, "heading_step_deg": None, "fields": ["depth", "altitude", "mode", "leg", "notes"],
                 "place": "local", "depth": "relative"},
}  # fmt: skip
