"""Times, dates, sun, moon and tide in a programme's words: found in any dress, and ordinary dive talk passes.

The sentences are invented for this test; what tells a place by its time is from memory of astronomical navigation and
of life aboard (common practice, no source).
"""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.place_finding import When
from relay.core.time_in_text import find_times

TIMES = """
next dive at 14:30|at 2 pm|2.30pm today|0930 UTC|1430Z|by 0900.|14h30|after lunch|before breakfast|at noon|midnight
this morning|half past nine|quarter to ten|at nine|9 o'clock|nine o’clock|eight bells|second dog watch|ship's time
local time|one dinner later|um 9 Uhr|14.30 Uhr|halb zehn|am Vormittag|nachmittags|Sonntagmittag|Frühstück
heute Nacht|à 9 h|vers 9 heures|à midi|minuit|a las 9 horas|a mediodía|de la tarde|às 9 horas|meia-noite|１４：３０
in the evening|overnight work|dusk|daylight|0600 launch|launch 0600|1430-1600 survey|1430 to 1600|0600/1200 dives
from 0600|0600 to 1200|0600L|1430L|14.30 launch|06.00 launch|survey 9.30|launch 14h|14h-16h|launch 14 h|14h
six in the am|8-12 watch|the 4 to 8 watch|at fourteen thirty|launch fourteen thirty|oh six hundred|1 4 3 0|watch change
dive two, 1430|(1530)|launch 1912|0600-1200|de 1500 a 1700|0600 m|2 p.m.|daily 0715, 1915|00.30: the bow|2330
1430,1600|T0600|06-00|14;30|half six|five thirty launch|elevenish
""".replace("\n", "|").strip("|").split("|")  # fmt: skip
DATES = """
on Monday|Sunday's dive|3 May|May 3rd|the 3rd of march|2031-05-03|3.5.2031|03/05/31|am 3.5.|on the 3rd|in March
since January|tomorrow|yesterday|today|Christmas dive|in winter|midsummer|new year's dive|am Montag|Sonntagabend
Thu 12|Sat dive|Sat 14|dive Sat|Fri|Mon-Wed|Sat/Sun|15/6|6/15 dive|launch 3/5|Mi 12|jeu 12
übermorgen|Ostern|im Mai|demain|lundi|en août|mañana|el lunes|amanhã|segunda e domingo|the weekend
""".replace("\n", "|").strip("|").split("|")  # fmt: skip
SKIES = """
before sunset|sunrise|full moon|at high water|slack water|low tide|the ebb|spring tide|first light|after dark
the sun is out|moonrise|southern cross|the solstice|vor Sonnenuntergang|bei Hochwasser|Ebbe|Vollmond|marée basse
coucher de soleil|marea alta|maré baixa|ѕunset|s\u200bunset|midnight sun
""".replace("\n", "|").strip("|").split("|")  # fmt: skip
PASSES = """
Next dive in about 3 h.|The boiler at 12 m is next.|Lantern sat 3 m above the seabed at 1120 m.
We may dive again in 2 h 30 min.|Dives 2 and 3.|One by one.|Built in 1912, lost about 1914.
Through the moon pool, then down.|Up at 14.5 m.|Dark down there, lamps on.
March on: the second dive looks at the stern.|About 40 min of work on the bottom.|The spring line is cut.
Target 3 am Heck.|Hier liegt die Schraube.|Le navire est prêt.|Five to ten crates.|A montage of the wreck
Descent, then the bow, then ascent.|Pitch 5, roll 10.|Second dive: the cargo; third dive: the stern.
Heading 270 at 3 kn|3 days of survey|Flood lights on|Der zweite Tauchgang folgt in etwa 3 h.|The wreck of 1907
At 3,300 ft|Until the tether is in|Two vehicles: Lantern and Moth.|Survey of lines 1 to 12|Dive 2 of 3
1430 m|down to 1430 m|3300 ft|1,100 m|dive 12|lines 1-4|1120 metres deep|1200 m of line|1430-m line
Lantern sat 12 m off|In 1912 she was lost|the plans of 1912|sunk about 1917
in about 3h|for another 2h|2h 30min|1/2 of the site|14.30 m of chain
dives 12 to 14|lines 12-14|1430 kg|2.45 x 1.20 m|23.50 °C|targets 4, 5 and 12|heading 270 for 1,430 m
After the second dive: your questions.|Starboard side, then port.|The swath is 1,000 m wide.
""".replace("\n", "|").strip("|").split("|")  # fmt: skip


@pytest.mark.parametrize("text", [*TIMES, *DATES, *SKIES])
def test_what_tells_when_it_is_at_the_ship_is_found(text: str) -> None:
    """Each is stopped, alone and within a sentence, in small and in capital letters."""
    for written in (text, f"The second dive: {text}, all being well.", text.upper(), text.lower()):
        assert find_times(written), written


@pytest.mark.parametrize("text", PASSES)
def test_ordinary_words_of_a_programme_pass(text: str) -> None:
    """How long until, after what, how deep, how many: none of it is stopped."""
    assert find_times(text) == []


def test_every_kind_has_its_sentence_that_quotes_the_words() -> None:
    """A time, a date and a tide are each told apart, with the words found and how to say it instead."""
    for kind, text in ((When.TIME_OF_DAY, "at noon"), (When.DATE, "on Monday"), (When.SKY, "slack water")):
        (finding,) = find_times(f"Dive two {text}.")
        assert finding.notation is kind
        assert finding.excerpt in finding.why
        assert "in about 3 h" in finding.why
        assert f"Dive two {text}."[finding.start : finding.end] == finding.excerpt


@given(st.text(max_size=80))
def test_any_text_is_read_and_ranges_lie_in_it_in_order(text: str) -> None:
    """Nothing raises; findings quote the text and none lies inside another."""
    findings = find_times(text)
    assert all(text[finding.start : finding.end] == finding.excerpt != "" for finding in findings)
    assert all(one.end <= other.end and one.start < other.start for one, other in pairwise(findings))


def test_longest_text_is_read_quickly_whatever_it_is() -> None:
    """Work grows with the length: five hundred of a letter, a digit, or a word are nothing to wait for."""
    for piece in ("a", "1", "mittag", "1:", "at 9 ", "é"):
        find_times(piece * (500 // len(piece)))
