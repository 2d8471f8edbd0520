"""What the day on board leaves on the ship alone, written by hand: the exact record, and what the desk knows."""

# Lantern. Instants: every 4 s from 0:28 to before 0:41: 195; every 20 s to 0:49: 24; every 4 s to 0:57: 120; every 20 s
# to 1:09: 36; every 4 s to 1:12:32: 53. Ten a second for two minutes to 1:14:32: 1,200. Every 4 s to 1:37: 1,348 s / 4
# = 337; every 20 s to 1:59: 66; every 4 s to 2:14, that one, too: 226. Every 20 s from 2:55 to 4:20, that one, too:
# 256.
LANTERN_INSTANTS = 195 + 24 + 120 + 36 + 53 + 1_200 + 337 + 66 + 226 + 256
# The main station told all of them but the 300 of the half minute in which it was silent, the standby all.
LANTERN_LIVE = 2 * LANTERN_INSTANTS - 300
# What both told alike stands once. They differ in the roll from 1:12:40 to 1:14:00, but for the half minute that main
# was silent: 50 s, 500 instants; and in the place from 1:14:10 to 1:14:20: 100.
LANTERN_REPORTS = LANTERN_INSTANTS + 500 + 100
# Moth. 91 half minutes from 3:10 to 3:55, 6 lost: 85 came; and one from the surface at 4:00.
MOTH_ACOUSTIC = 85 + 1
# The log: every 10 s from 3:10:00 to 3:55:00 are 271; of the 11 from 3:40:10 to 3:41:50 it has none.
MOTH_LOG = 271 - 11
# Of the 85 the log has all but those of 3:40:30, 3:41:00 and 3:41:30; at 3:35:00 it tells another speed.
MOTH_BOTH, MOTH_DIFFERING = 85 - 3, 1
MOTH_AFTER_IMPORT = MOTH_LOG + 3 + 1
# Both reports were lost of the minutes 3:12 (4 and 5) and 3:30 (40 and 41); 3:13 had 7, 3:16 had 12.
MOTH_MINUTES_GAINED = 2
# The cable: 4:59:00 to 5:15:00 each 10 s are 97 bursts, of three sentences each; one in three tells a position.
MOTH_CABLE = 97 * 3

# ---- what the desk knows ----
# Contact 3 is seen from C (the fix of 1:42:00) with 250 degrees of heading, 90 to starboard, along 50 m, 60 degrees
# down: in the direction of 340 degrees, and 25 m away, half the range. Its verdict of 1:47 leaves it there.
SEEN = ("Contact 3", "C", 340.0, 25.0)
# Along the line of sight: half of 0.5 m, and 43.3 m times a degree, 0.756 m: 0.796 m. Across: 25 m times a degree and a
# degree, 0.617 m. With the 2 m of the fix in each direction the root mean square is 8 + 0.634 + 0.381 m2: 3.002 m.
SEEN_DRMS_M = 3.002
VERDICTS = {"Contact 0": "unchecked", "Contact 1": "rock", "Contact 2": "modern debris", "Contact 3": "of interest",
            "Contact 4": "withheld"}  # fmt: skip
# 45 min from 3:10:00.5 on; back at 4:01:00.5.
EXPECTED_S = (3 * 3_600 + 55 * 60 + 0.5, 4 * 3_600 + 60 + 0.5)
