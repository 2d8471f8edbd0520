"""Find what in a programme's words tells when it is at the ship: a time of day, a date, the sun, the moon or a tide.

Rules (R3): how high the sun stands, what the clock says and how the tide runs tell where a ship is, so a programme says
how long until, never when. A pure function of the text; it blocks, it never edits; when in doubt it stops the text and
says how to write it. How long something takes ("2 h", "3 days"), years that are told as such ("built in 1912"), depths,
lengths with their unit, headings and counts pass. Four figures that a clock can show are a time but for their unit or
their word: a schedule aboard is written "0600 launch".

What it cannot know: languages beyond English, French, Spanish, Portuguese and German; what a reader works out from
events ashore. The words are from memory of those languages and of life aboard (common practice, no source).
"""

import re
from collections.abc import Iterator

from relay.core.place_finding import WHY, Finding, Hit, When
from relay.core.place_fold import fold
from relay.core.place_tokens import in_numerals, tokenize


def _any(words: str) -> str:
    return "|".join(words.split())


_MONTHS = (
    "january february april june july august september october november december januar februar marz maerz april juni "
    "juli oktober dezember janvier fevrier avril juin juillet aout septembre octobre novembre decembre enero febrero "
    "abril junio julio agosto septiembre octubre noviembre diciembre janeiro fevereiro junho julho setembro outubro "
    "novembro dezembro"
)
# Words of other meanings, too, so only beside a number or behind "in": "3 May", "march 12th".
_ALSO_MONTHS = "may mai mayo maio march mars marzo marco"
_MONTHS_BESIDE = f"{_MONTHS} {_ALSO_MONTHS} jan feb mar apr jun jul aug sep sept oct okt nov dec dez"
_DAYS = (
    "monday tuesday wednesday thursday friday saturday sunday montag dienstag mittwoch donnerstag freitag samstag "
    "sonnabend sonntag lundi mardi mercredi jeudi vendredi samedi dimanche lunes martes miercoles jueves viernes "
    "sabado domingo weekend weekends wochenende"
)
_NEAR = (
    "today tomorrow yesterday tonight overnight heute gestern vorgestern ubermorgen uebermorgen aujourd demain hoy "
    "manana ayer hoje amanha ontem"
)
_FEASTS = (
    "christmas xmas easter advent halloween thanksgiving ramadan weihnachten ostern pfingsten silvester neujahr noel "
    "navidad pascua natal pascoa carnival karneval"
)
_SEASONS = (
    "summer winter autumn midsummer midwinter monsoon sommer herbst fruhling fruehling hiver invierno verano inverno "
    "verao outono"
)
_CLOCK = (
    "midnight midday noon noonday morning mornings afternoon afternoons evening evenings forenoon night nights "
    "nightfall dawn dusk daybreak twilight daylight daytime breakfast lunch lunchtime brunch dinner dinnertime supper "
    "teatime siesta dogwatch gmt utc zulu edt pst bst timezone timezones uhr mittag mitternacht abend nacht morgen "
    "fruhstuck fruehstueck nachts tagsuber tagsueber ortszeit bordzeit uhrzeit zeitzone abendbrot matin matinee midi "
    "minuit soir soiree nuit aube crepuscule noche noite mediodia medianoche madrugada manha meianoite amanecer "
    "anochecer dejeuner almuerzo almoco cena jantar"
)
_SKY = (
    "sun suns sunny sunlight sunlit sunshine sunrise sunrises sunset sunsets sundown sunup moons moonlight moonlit "
    "moonrise moonset tide tides tidal ebb ebbs ebbing neap neaps slackwater highwater lowwater solstice equinox "
    "eclipse aurora polaris starlight starlit milkyway sonne mond vollmond neumond ebbe flut gezeiten tidenhub "
    "stauwasser soleil lune maree marees sol lua luna marea mareas mare mares estrellas sternenhimmel polarnacht"
)
_PARTS_CLOCK = (
    "mittag mitternacht abends vormittag nachmittag dammerung daemmerung morgens fruhmorgen sommerzeit winterzeit"
)
_PARTS_SKY = (
    "sonnenauf sonnenunter sonnenschein sonnig mondauf mondunter mondschein hochwasser niedrigwasser gezeit polarlicht"
)

_UNIT = (
    r"(?:[\s-]?(?:(?-i:m)|met(?:er|re|ro)s?|km|[cm]m|feet|ft|fu(?:ss|ß)|pieds?|pies|fathoms?|fms?|yards?|yds?|nmi?|"
    r"k?hz|kg|kilos?|tons?|tonnes?|tonnen|lbs?|litres?|liters?|d?bar|kn|knots|kw|watts?|volts?|px|pixels?|rpm|percent|"
    r"mins?|minutes?|minuten|minutos|secs?|seconds?|days?|years?|old)\b|\s?[%°x]|\s?['\"](?!\w))"
)
_EVENT = "dive dives launch launches recovery survey start starts begin begins deploy deployment splashdown briefing"
_WATCH = "watch watches wache wachen guardia"
_HOUR = r"(?:[01]?\d|2[0-4])"
_ORDINAL = r"(?:[12]?\d|3[01])\s?(?:st|nd|rd|th)"
_AT = _any("at by from until till before after around about um ab bis gegen vor nach vers")
_SHARP = _any("at by until till um ab bis")
_END = r"(?=\s*(?:$|[.;,!?)](?!\d)|\b(?:und|or|to|bis|ship|local)\b))"


def _words(when: When, words: str) -> tuple[When, re.Pattern[str]]:
    return when, re.compile(rf"(?<![^\W_])(?:{_any(words)})(?:'?s)?(?![^\W_])", re.IGNORECASE)


def _pattern(when: When, pattern: str) -> tuple[When, re.Pattern[str]]:
    return when, re.compile(pattern, re.IGNORECASE)


_TIME, _DATE, _HEAVENS = When.TIME_OF_DAY, When.DATE, When.SKY
_PATTERNS = (
    # 14:30, 2 pm, 1430Z, 0930 hrs, 14h30, 9 o'clock, half past nine, at 9, at 0930
    _pattern(_TIME, rf"(?<![\d:.,]){_HOUR}\s?:\s?[0-5]\d(?:\s?:\s?[0-5]\d)?(?![\d:])"),
    _pattern(_TIME, r"(?<![\d:.,])[01]?\d(?:\s?[.:]\s?[0-5]\d)?\s?(?:p\.?\s?m|a\.\s?m|a\s?m(?!\s(?-i:[A-Z])))\b"),
    _pattern(_TIME, r"(?<![\d:.,])(?:[01]\d|2[0-4])\s?[.:h]?\s?[0-5]\d\s?(?:z|utc|gmt|lt|hrs?|hours?|uhr|h)\b"),
    _pattern(_TIME, rf"(?<![\d:.,]){_HOUR}\s?h\s?[0-5]\d\b(?!\s?m)"),
    _pattern(_TIME, rf"(?<![\d:.,]){_HOUR}\s?[.:]?\s?(?:[0-5]\d)?\s?(?:uhr|o'?\s?clock)\b|\bo'?\s?clock\b"),
    _pattern(_TIME, r"\b(?:half|quarter)\s(?:past|to|before)\s[^\W_]+|\b(?:five|ten|twenty|\d\d?)\spast\s[^\W_]+"),
    _pattern(_TIME, rf"\b(?:halb|viertel|dreiviertel)\s(?:(?:vor|nach)\s)?{_HOUR}\b"),
    _pattern(_TIME, rf"(?<![^\W_])(?<!\d\s)(?:{_AT})\s{_HOUR}(?:[.:][0-5]\d)?{_END}"),
    _pattern(_TIME, rf"(?<![^\W_])(?<!\d\s)(?:{_SHARP})\s(?:[01]\d|2[0-4])[0-5]\d{_END}"),
    _pattern(
        _TIME,
        rf"\b(?:a|as|vers)\s(?:las?\s)?{_HOUR}\s?(?:h|heures?|horas?)\b|\b(?:de|por|a|da|na|a\sla|de\sla)\starde\b",
    ),
    _pattern(_TIME, r"\b(?:local|ship'?s|board)\s?time\b|\btime\s?zones?\b|\b(?:\d|one|two|three|four|eight)\sbells\b"),
    _pattern(_TIME, r"\b(?:first|middle|mid|morning|forenoon|afternoon|dog)\swatch(?:es)?\b"),
    _pattern(_TIME, rf"(?:{_any(_PARTS_CLOCK)})[^\W\d_]*"),
    # 14.30 launch, launch 14h, 0600L, six in the am, 8-12 watch
    _pattern(_TIME, rf"(?<![\d.,])(?:[01]?\d|2[0-3])\.[0-5]\d(?![\d.]|,\d)(?!{_UNIT})"),
    _pattern(_TIME, rf"\b(?:{_any(_EVENT)})[\s:]\s?{_HOUR}\s?h\b"),
    _pattern(_TIME, r"\b(?:oh|zero)\s[1-9][0-5]\d\b"),
    _pattern(_TIME, rf"(?<![^\W_])[1-9]\s(?:15|30|45)\b(?![.,\s]\d)(?!{_UNIT})|\bhalf\s(?:1[0-2]|[1-9])\b(?!{_UNIT})"),
    _pattern(_TIME, r"(?<![^\W_])(?:[01]\d|2[0-3])(?:[-_;]00|[_;][0-5]\d)(?![^\W_])"),
    _pattern(_TIME, r"\b(?:one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|noon)-?ish\b"),
    _pattern(_TIME, r"\bthe\s(?:am|pm)\b|\b(?:a\.m\b\.?|p\.m\b\.?|pm\b)"),
    _pattern(_TIME, rf"\b{_HOUR}\s?(?:-|/|to|bis)\s?{_HOUR}\s?-?\s?(?:{_any(_WATCH)})\b"),
    _pattern(
        _TIME, r"\bwatch\s(?:changes?|handover|relief)\b|\bchange\sof\s(?:the\s)?watch\b|\b(?:next|last)\swatch\b"
    ),
    _words(_TIME, _CLOCK),
    # 2031-05-03, 3.5.2031, 3.5., on 3/5, on the 3rd, 3 May, May 3rd
    _pattern(_DATE, r"(?<![\d.])\d{4}\s?[-/.]\s?\d{1,2}\s?[-/.]\s?\d{1,2}(?!\d)"),
    _pattern(_DATE, r"(?<![\d.,])\d{1,2}\s?[-/.]\s?\d{1,2}\s?[-/.]\s?(?:\d{4}|\d{2})(?!\d)"),
    _pattern(_DATE, r"(?<![\d.,])(?:0?[1-9]|[12]\d|3[01])\.\s?(?:0?[1-9]|1[0-2])\.(?!\d)"),
    _pattern(_DATE, r"\b(?:on|am|vom|le|el|em|dia)\s(?:the\s)?(?:0?[1-9]|[12]\d|3[01])\s?[/.]\s?(?:0?[1-9]|1[0-2])\b"),
    _pattern(_DATE, rf"\b(?:on|until|by|from|since|before|after)\sthe\s{_ORDINAL}\b(?=\s*(?:$|[.;,!?)]|of\b))"),
    _pattern(_DATE, rf"\b(?:{_ORDINAL}|[12]?\d|3[01])\.?\s(?:of\s|de\s)?(?:{_any(_MONTHS_BESIDE)})\b"),
    _pattern(_DATE, rf"\b(?:{_any(_MONTHS_BESIDE)})\.?\s(?:the\s)?(?:{_ORDINAL}|[12]?\d|3[01])\b"),
    _pattern(_DATE, rf"\b(?:in|of|since|until|im|seit|bis|en|em)\s(?:{_any(_ALSO_MONTHS)})\b"),
    _pattern(_DATE, rf"(?<![^\W_])(?:{_any(_DAYS)})(?:'?s|morgen|mittag|abend|nacht)?(?![^\W_])"),
    _pattern(_DATE, r"\b(?:tues?|weds?|thu|thurs?|fri)\b|\bnew\syear'?s?\b"),
    _pattern(_DATE, rf"\b(?:mon|sat)\b(?=\.?\s\d{{1,2}}\b(?!{_UNIT})|\s?[-/]|\s(?:{_any(_EVENT)})\b)"),
    _pattern(_DATE, rf"\b(?:{_any(_EVENT)}|on|by|until|next)\s(?:mon|sat)\b"),
    _pattern(
        _DATE, r"\b(?:mo|di|mi|fr|sa|lun|mar|mer|jeu|ven|sam|dim|mie|jue|vie|sab|dom|seg)\.?\s(?=\d{1,2}\b)(?!\d+\s?m)"
    ),
    # 15/6, 6/15
    _pattern(
        _DATE,
        rf"(?<![\d.,/])(?:(?:0?[1-9]|[12]\d|3[01])/(?:0?[1-9]|1[0-2])|(?:0?[1-9]|1[0-2])/(?:[12]\d|3[01]))(?![\d/]|[.,]\d)"
        rf"(?!{_UNIT}|\s(?:of|the)\b)",
    ),
    _words(_DATE, f"{_MONTHS} {_NEAR} {_FEASTS} {_SEASONS}"),
    # the sun, the moon (but for a moon pool, which is a hole in a ship), a tide
    _pattern(_HEAVENS, r"\b(?:slack|high|low)\s(?:water|tide)s?\b|\bflood\s(?:tide|stream|current)\b"),
    _pattern(_HEAVENS, r"\b(?:southern\scross|pole\sstar|north\sstar|milky\sway|polar\snight)\b|\bmoon\b(?!\s?pool)"),
    _pattern(_HEAVENS, r"\b(?:first|last)\slight\b|\b(?:after|before)\sdark\b"),
    _pattern(_HEAVENS, rf"(?:{_any(_PARTS_SKY)})[^\W\d_]*"),
    _words(_HEAVENS, _SKY),
)


# Four figures that a clock can show, alone or as 14 30, and an hour with its letter: read with what stands before them.
_FIGURES = re.compile(
    rf"(?<![^\W_])(?<!\d[.,])(?:t?0\d[0-5]\d(?!\d|\.\d|,\d{{1,3}}(?!\d))[a-z]?|(?:1\d|2[0-3])[0-5]\d(?!\d|\.\d|,\d{{1,3}}(?!\d))(?!{_UNIT})[a-z]?"
    rf"|(?:[01]\d|2[0-3])\s[0-5]\d(?!\d|[.,]\d|\s\d)(?!{_UNIT}))(?![^\W_])(?:\s?(?:-|/|to|bis|a)\s?\d{{4}}(?!\d))?",
    re.IGNORECASE,
)
_YEAR = re.compile(
    r"(?:\b(?:in|of|anno|year|circa|im\sjahre?|en|de|em|von|built|lost|sunk|sank|dated|wrecked|made)\s(?:about\s|around\s)?"
    r")\0(?:1[5-9]|20)\d\d$",
    re.IGNORECASE,
)
_HOURS = re.compile(rf"(?<![\d:.,])(?<![^\W_]){_HOUR}h\b(?!\s?\d+\s?m)", re.IGNORECASE)
_HOW_LONG = re.compile(
    r"\b(?:in|for|about|another|within|every|takes?|lasts?|than|etwa|ca\.?|rund|noch|dans|pendant|environ|durante|unas|"
    r"cerca\sde|some)\s\0",
    re.IGNORECASE,
)


def find_times(text: str) -> list[Finding]:
    """Return every time of day, date, or word on sun, moon and tides, in order, none inside another."""
    folded = fold(text)
    found: list[Hit] = []
    for read in (folded, in_numerals(folded, tokenize(folded))):
        found += [Hit(notation, *read.span(start, end)) for notation, start, end in _spans(read.text)]
    out: list[Finding] = []
    reach = -1
    for hit in sorted(found, key=lambda hit: (hit.start, -hit.end)):
        if hit.end > reach:
            excerpt = text[hit.start : hit.end]
            out.append(Finding(hit.notation, hit.start, hit.end, excerpt, WHY[hit.notation].format(excerpt)))
            reach = hit.end
    return out


def _spans(text: str) -> Iterator[tuple[When, int, int]]:
    for notation, pattern in _PATTERNS:
        for match in pattern.finditer(text):
            yield notation, match.start(), match.end()
    for pattern, but in ((_FIGURES, _YEAR), (_HOURS, _HOW_LONG)):
        for match in pattern.finditer(text):
            if not but.search(f"{text[max(0, match.start() - 40) : match.start()]}\0{match.group()}"):
                yield When.TIME_OF_DAY, match.start(), match.end()
