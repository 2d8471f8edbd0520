"""Number words and unit words of English, French, Spanish, Portuguese and German, folded (no accents).

From memory of the languages; only what a position or a distance needs: 0 to 199.
"""

_ENGLISH = (
    (
        "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
        "seventeen eighteen nineteen"
    ),
    "twenty thirty forty fifty sixty seventy eighty ninety",
)
_FRENCH = (
    "zero un deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze seize",
    "vingt trente quarante cinquante soixante septante huitante nonante",
)
_SPANISH = (
    (
        "cero uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciseis "
        "diecisiete dieciocho diecinueve"
    ),
    "veinte treinta cuarenta cincuenta sesenta setenta ochenta noventa",
)
_PORTUGUESE = (
    (
        "zero um dois tres quatro cinco seis sete oito nove dez onze doze treze catorze quinze dezesseis dezessete "
        "dezoito dezenove"
    ),
    "vinte trinta quarenta cinquenta sessenta setenta oitenta noventa",
)
_GERMAN = (
    (
        "null eins zwei drei vier funf sechs sieben acht neun zehn elf zwolf dreizehn vierzehn funfzehn sechzehn "
        "siebzehn achtzehn neunzehn"
    ),
    "zwanzig dreissig vierzig funfzig sechzig siebzig achtzig neunzig",
)
_EXTRA = {
    "oh": 0,
    "nought": 0,
    "niner": 9,
    "fower": 4,
    "fife": 5,
    "tree": 3,
    "fourty": 40,
    "une": 1,
    "una": 1,
    "uma": 1,
    "duas": 2,
    "eine": 1,
    "ein": 1,
    "zwo": 2,
    "fuenf": 5,
    "zwoelf": 12,
    "fuenfzig": 50,
    "dreissig": 30,
    "vingts": 20,
    "quatorze": 14,
    "dezasseis": 16,
    "dezassete": 17,
    "dezanove": 19,
    "veintiun": 21,
    "veintiuno": 21,
    "veintidos": 22,
    "veintitres": 23,
    "veinticuatro": 24,
    "veinticinco": 25,
    "veintiseis": 26,
    "veintisiete": 27,
    "veintiocho": 28,
    "veintinueve": 29,
    "hundred": 100,
    "cent": 100,
    "cien": 100,
    "ciento": 100,
    "cem": 100,
    "cento": 100,
    "hundert": 100,
    "einhundert": 100,
}


def _table() -> dict[str, int]:
    words: dict[str, int] = {}
    for small, tens in (_GERMAN, _PORTUGUESE, _SPANISH, _FRENCH, _ENGLISH):
        words.update({word: value for value, word in enumerate(small.split())})
        words.update({word: 10 * value for value, word in enumerate(tens.split(), start=2)})
    german_units = ["ein", *_GERMAN[0].split()[2:10]]
    for unit, name in enumerate(german_units, start=1):
        words.update({f"{name}und{ten}": 10 * value + unit for value, ten in enumerate(_GERMAN[1].split(), start=2)})
    return words | _EXTRA


NUMBER_WORDS = _table()
# Words of one language that are numbers of another: read as numbers only right before a degree or minute word.
CAUTIOUS_WORDS = frozenset("once elf sept seize null quince tree oh cent ein eine une un una um uma".split())
HUNDRED_WORDS = frozenset("hundred cent hundert".split())
AND_WORDS = frozenset("and et y e und".split())
DECIMAL_WORDS = frozenset("point decimal dot virgule coma komma virgula punto ponto".split())
MINUS_WORDS = frozenset("minus moins menos".split())

DEGREE_WORDS = frozenset(
    "° deg degs degree degrees degre degres grad grado grados grau graus gradi d".split(),
)
MINUTE_WORDS = frozenset("' min mins minute minutes minuto minutos minuten".split())
SECOND_WORDS = frozenset('" sec secs second seconds seconde secondes segundo segundos sekunde sekunden'.split())
STUCK_MARKS = SECOND_WORDS | {"m", "s"}

# The radio spelling alphabet: its first letters spell grid squares and locators. From memory.
SPELLING_ALPHABET = frozenset(
    "alfa alpha bravo charlie delta echo foxtrot golf hotel india juliett juliet kilo lima mike november oscar papa "
    "quebec romeo sierra tango uniform victor whiskey whisky xray yankee zulu".split()
)
