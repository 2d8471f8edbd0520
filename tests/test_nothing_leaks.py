"""R1 on a real ship's relay under way: nothing that leaves it, nor its log, holds a canary."""

import asyncio
import re
import signal
import socket
import time
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import msgpack
import pytest
from PIL import Image

import relay
from canaries import Scanner, Sighting
from canary_ashore import Ashore, memory_of, prepare_talkative, seen_ashore, spelled_in, spellings
from canary_photo import MAKER
from canary_public import CLOSED, OPEN, Listener, ask, ask_everything, packed, plain
from canary_signatures import signatures_of, without_signatures
from canary_voyage import (
    FEED_HOST,
    FEEDS,
    KEY,
    PLACE,
    PLAIN_NOTES,
    STATION_HOST,
    STILL_WORDS,
    VEHICLE_CLOCK,
    ZONES,
    Station,
    TalkativeShip,
    astray,
    dive,
    prepare,
)
from relay.core.area import hidden_disc
from relay.core.finds import finds_in
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.guests import read_listing
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.core.wire import SIGNATURE_OCTETS
from relay.shell.demo.demo_run import DEMO_SECRETS
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.journal import read_rows
from relay.shell.record.secrets_file import seeded_secrets

GUESTS = "guests.listing"
ROOT = Path(relay.__file__).resolve().parents[1]
SITE = Secrets(KEY)
# What the log may not hold either, though it is the operator's own: secrets, and the bytes of feeds.
NOWHERE: dict[str, str | bytes] = {
    "the key": KEY,
    "a sentence": "$GP",
    "the vehicle's clock": VEHICLE_CLOCK,
    "a field nobody knows": "kurs_geheim",
    "a vehicle nobody knows": "Pelican",
    "a note that was kept back": "sherd at",
    "a camera": MAKER,
    "a forbidden word": "Gannet Hollow",
}
# What only the public may not be told: names and addresses of the ship's inside.
INSIDE: dict[str, str | bytes] = {
    **{f"feed {name}": name for name in FEEDS},
    **{f"zone {name}": name for name in ("the kiln", "the galley")},
    "the ship": "Harrow Tern",
    "feeds' address": FEED_HOST,
    "station's address": STATION_HOST,
    "this machine": socket.gethostname(),
    "closed audience": CLOSED,
    "position field": "latitude_deg",
    "a folder": "/private",
}


@dataclass
class Voyage:
    """What came of a voyage: what was sent, when, what the public got, and what the relay said."""

    folder: Path
    station: Station
    since_s: float
    until_s: float
    public: dict[str, bytes]
    records: dict[str, list[list[Any]]]
    refused: list[str]
    log: bytes
    signed: frozenset[bytes]
    ashore: Ashore

    def scanner(self, words: dict[str, str | bytes]) -> Scanner:
        """Return a scanner for every position sent, for the secrets, and for the moments of the voyage."""
        moments_s = (self.since_s, self.until_s)
        return Scanner(self.station.sent, moments_s=moments_s, secrets=self.secrets(), words=words)

    def secrets(self) -> dict[str, float]:
        """Return the numbers that follow from the key: turn, shift, and the discs that hide the zones."""
        frame = SiteFrame(Anchor(*self.station.sent[len(ZONES)], 0), SITE)
        zones = read_expedition(self.folder / "EXPEDITION.toml").plan.zones
        numbers = {"turn": SITE.turn_deg, **dict(zip(("shift east", "shift north"), SITE.shift_m, strict=True))}
        for zone in zones:
            disc = hidden_disc(zone, frame, SITE)
            numbers |= {f"{zone.name} {axis}": getattr(disc, axis) for axis in ("east_m", "north_m", "radius_m")}
        return numbers


async def sail(folder: Path) -> Voyage:
    """Run a ship through two dives, the second of which leaves the declared area, while the public asks everything."""
    ship, station = prepare(folder)
    shore, ashore = prepare_talkative(folder / "ashore", SITE.signing_seed, OPEN), Ashore()
    with ship.expedition.open("a") as file:
        file.write(shore.for_the_ship)
    since_s = time.time()
    await shore.start()
    await ship.start()
    try:
        public, records, refused = await _dives(ship, station, ashore)
        await seen_ashore(shore, ashore)
        await ship.stop()
        recordings = [(path.parent.name, path) for path in (folder / "released").rglob("dive-*.recording")]
        signed = signatures_of(recordings, Signer(SITE.signing_seed))
        public |= await _after_a_damaged_recording(ship, folder)
    finally:
        if ship.process is not None and ship.process.returncode is None:
            await ship.stop(signal.SIGKILL)
        if shore.process is not None and shore.process.returncode is None:
            await shore.stop(signal.SIGKILL)
    log = "".join([*ship.words, *ship.said]).encode()
    return Voyage(folder, station, since_s, time.time(), public, records, refused, log, signed, ashore)


async def _dives(
    ship: TalkativeShip, station: Station, ashore: Ashore
) -> tuple[dict[str, bytes], dict[str, list[list[Any]]], list[str]]:
    listeners = {audience: Listener(ship.port, audience) for audience in OPEN}
    listening = [asyncio.ensure_future(listener.listen()) for listener in listeners.values()]
    async with station:
        before = await ask_everything(ship.port)
        moments, decided = dive(26, 0.0), asyncio.Event()
        playing = asyncio.ensure_future(station.play(moments[:18], decided))
        await asyncio.gather(*(listener.until(1, 0) for listener in listeners.values()))
        refused = await station.decide()
        decided.set()
        await playing
        await station.play(moments[18:])
        await asyncio.gather(*(listener.until(1, 3) for listener in listeners.values()))
        playing = asyncio.ensure_future(station.play([*dive(16, 40.0), *astray(12)]))
        during = await ask_everything(ship.port, patient=True)
        await playing
        await ship.until_said("the release to public has stopped: Lantern was outside the declared area")
        await ship.until_said("rejected: ")
        after = await ask_everything(ship.port)
        assert ship.process is not None
        ashore.memory_aboard = memory_of(ship.process.pid)
    public = {
        f"{when}: {sending[:400]!r}": answer
        for when, answers in (("before", before), ("during", during), ("after", after))
        for sending, answer in answers.items()
    }
    for target in ("/", "/dives.json", *(f"/recordings/{audience}/dive-001.recording" for audience in OPEN)):
        for coding in ("gzip", "deflate"):
            head, body = await packed(ship.port, target, coding)
            public |= {f"{coding} head of {target}": head, f"{coding} body of {target}": body}
    stopping = asyncio.ensure_future(ship.stop())
    await asyncio.gather(*listening, stopping)
    for audience, listener in listeners.items():
        public[f"live socket of {audience}"] = bytes(listener.received)
    return public, {audience: listener.frames() for audience, listener in listeners.items()}, refused


async def _after_a_damaged_recording(ship: TalkativeShip, folder: Path) -> dict[str, bytes]:
    """Start the relay again with a recording that disagrees with the journal; return what the public then gets."""
    path = folder / "released" / "public" / "dive-002.recording"
    data = bytearray(path.read_bytes())
    data[-5] ^= 1
    path.write_bytes(data)
    await ship.start()
    await ship.until_said("the release has stopped, the journal goes on")
    answers = {target: await ask(ship.port, plain("GET", target)) for target in ("/dives.json", "/nothing")}
    await ship.stop()
    return {f"with a damaged recording: {target}": answer for target, answer in answers.items()}


@pytest.fixture(scope="module")
def voyage(tmp_path_factory: pytest.TempPathFactory) -> Voyage:
    """Return one voyage for all tests here."""
    return asyncio.run(sail(tmp_path_factory.mktemp("voyage")))


def without_pixels(answer: bytes) -> bytes:
    """Return an answer without the packed pixels of a PNG, in which short names occur by chance; the rest stays."""
    head, mark, picture = answer.partition(b"\x89PNG\r\n\x1a\n")
    kept, at = [head, mark], 0
    while mark and at < len(picture):
        size = int.from_bytes(picture[at : at + 4], "big")
        kept.append(picture[at : at + 8] if picture[at + 4 : at + 8] == b"IDAT" else picture[at : at + 12 + size])
        at += 12 + size
    return b"".join(kept)


def told(sightings: dict[str, list[Sighting]]) -> dict[str, list[Sighting]]:
    """Return only those where something was found."""
    return {what: found for what, found in sightings.items() if found}


@pytest.mark.slow
def test_voyage_was_one(voyage: Voyage) -> None:
    """The checks here are not empty: positions went in, tracks and plain notes came out, bad input was counted."""
    assert len(voyage.station.sent) > 100
    for audience, fields in (("public", 3), ("funders", 6)):
        ticks = [record for record in voyage.records[audience] if record[2] == 1]
        assert sum(any(row[1] is not None for row in record[4]) for record in ticks) >= fields
    for audience in OPEN:
        notes = {record[4][1] for record in voyage.records[audience] if record[2] == 2}
        assert notes == set(PLAIN_NOTES)
        targets = [record[4][1] for record in voyage.records[audience] if record[2] == 4]
        assert targets == ["boiler"]
    stills = [record[4] for record in voyage.records["public"] if record[2] == 5]
    assert [still[:4] for still in stills] == [[None, STILL_WORDS, 320, 240]]
    with Image.open(BytesIO(stills[0][4])) as read:
        assert read.size == (320, 240)
    assert len(voyage.refused) == 4
    statuses = {answer.split(b" ", 2)[1] for answer in voyage.public.values() if answer.startswith(b"HTTP/1.1 ")}
    assert statuses >= {b"101", b"200", b"304", b"400", b"404", b"405", b"408", b"426", b"431"}


@pytest.mark.slow
def test_exact_record_and_closed_audience_hold_canaries(voyage: Voyage) -> None:
    """The same scanner finds positions in the journal and in the exact recordings: it would find them outside."""
    scanner = voyage.scanner(NOWHERE)
    kept = (voyage.folder / "private" / "journal.db").read_bytes()
    kept += b"".join(path.read_bytes() for path in (voyage.folder / "private").glob("journal.db-*"))
    assert {"latitude", "longitude"} <= {sighting.what.split(",")[0] for sighting in scanner.find(kept)}
    originals = list((voyage.folder / "private" / "stills").iterdir())
    assert [path.suffix for path in originals] == [".jpg"]
    (find,) = finds_in(read_rows(voyage.folder / "private" / "journal.db"))
    assert find.current.find.place is not None
    copies = list((voyage.folder / "private" / "finds").iterdir())
    assert [path.read_bytes() for path in copies] == [originals[0].read_bytes()]
    seen = scanner.find(originals[0].read_bytes())
    assert {"latitude, decimal degrees", "longitude, decimal degrees", "a camera"} <= {one.what for one in seen}
    exact = (voyage.folder / "released" / CLOSED / "dive-001.recording").read_bytes()
    assert {"latitude, >f8", "longitude, >f8"} <= {sighting.what for sighting in scanner.find(exact)}


@pytest.mark.slow
def test_nothing_on_the_public_port_holds_a_canary(voyage: Voyage) -> None:
    """Pages, lists, recordings, sockets, errors, to good requests and to bad ones: no place, secret, moment or name."""
    find = cache(voyage.scanner({**NOWHERE, **INSIDE}).find)  # many answers are the same to the byte
    assert len(voyage.public) > 300
    plain = {what: without_signatures(without_pixels(answer), voyage.signed) for what, answer in voyage.public.items()}
    assert sum(plain[what] != answer for what, answer in voyage.public.items()) > 20
    assert told({what: find(answer) for what, answer in plain.items()}) == {}


@pytest.mark.slow
def test_closed_audience_is_answered_like_one_that_is_not_there(voyage: Voyage) -> None:
    """Its recordings stay aboard, its socket doesn't exist: byte for byte as for a name nobody has."""
    answers = {what: answer for what, answer in voyage.public.items() if CLOSED in what and "&audience" not in what}
    assert len(answers) > 20
    for what, answer in answers.items():
        assert answer == voyage.public[what.replace(CLOSED, "nobody")], what


@pytest.mark.slow
def test_released_files_hold_no_canary(voyage: Voyage) -> None:
    """Recordings of open audiences, what is shipped with Offing, and the document of the wire."""
    scanner, ashore = voyage.scanner(NOWHERE), Scanner(voyage.station.sent)
    released = [path for audience in OPEN for path in (voyage.folder / "released" / audience).rglob("*")]
    assert len(released) == 2 * len(OPEN)
    shipped = [*(ROOT / "relay").glob("*.yaml"), *(ROOT / "recordings").rglob("*"), *(ROOT / "web" / "dist").rglob("*")]
    demo = signatures_of(
        [("public", path) for path in shipped if path.suffix == ".recording"],
        Signer(seeded_secrets(DEMO_SECRETS).signing_seed),
    )
    files = {path.name: without_signatures(path.read_bytes(), demo) for path in shipped if path.is_file()}
    kept = {path.name: without_signatures(path.read_bytes(), voyage.signed) for path in released}
    assert told({name: scanner.find(data) for name, data in kept.items()}) == {}
    assert told({name: ashore.find(data) for name, data in files.items()}) == {}


@pytest.mark.slow
def test_log_at_its_most_talkative_holds_no_canary(voyage: Voyage) -> None:
    """Rejected bytes, kept-back notes, alarms, a stop and every library's debugging: counts and words, no place."""
    log = voyage.log.decode()
    for words in ("every logger is on", "bad checksum", "is outside the declared area", "the release has stopped"):
        assert words in log
    # The moment of each line is the log's own, and its minutes and seconds read like half a position now and then.
    bare = re.sub(r"^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d,\d{3} ", "", log, flags=re.MULTILINE)
    scanner = voyage.scanner(NOWHERE)
    assert told({line: scanner.find(line.encode()) for line in bare.splitlines()}) == {}
    assert scanner.find(f"INFO lark: {PLACE[0]:.4f}".encode())


def guests_in(listing: bytes) -> bytes:
    """Return the rows of a list of guests that the site signed.

    Without its signature, and without its number: that is when the list was last made, of no dive, and goes to the
    shore's disk alone.
    """
    read_listing(Signer(SITE.signing_seed).key, listing)
    _, _, rows = msgpack.unpackb(listing[SIGNATURE_OCTETS:])
    return bytes(msgpack.packb(rows))


@pytest.mark.slow
def test_shore_holds_what_was_released_and_no_canary(voyage: Voyage) -> None:
    """Its disk has the ship's released files, octet for octet; its answers, its disk and its log tell no place."""
    find, own = cache(voyage.scanner({**NOWHERE, **INSIDE}).find), voyage.folder / "released"
    for audience in OPEN:
        name = f"{audience}/dive-001.recording"
        assert voyage.ashore.disk[str(voyage.folder / "ashore" / "shore" / name)] == (own / name).read_bytes()
    folder = str(voyage.folder).encode()
    assert len(voyage.ashore.answers) > 100
    disk = {what: guests_in(data) if what.endswith(GUESTS) else data for what, data in voyage.ashore.disk.items()}
    for what, data in {**disk, **voyage.ashore.answers, "log": voyage.ashore.log}.items():
        plain = without_signatures(without_pixels(data), voyage.signed).replace(folder, b"")
        bare = re.sub(rb"^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d,\d{3} ", b"", plain, flags=re.MULTILINE)
        assert find(bare) == [], what
    assert b"every logger is on" in voyage.ashore.log


@pytest.mark.slow
def test_memory_of_the_shore_holds_no_canary(voyage: Voyage) -> None:
    """Of all that was told aboard, and of the secrets, not an octet is ashore; the ship's own memory is full of it."""
    told = spellings(voyage.station.sent, voyage.secrets())
    words = [KEY, *(word.encode() for word in (FEED_HOST, "kurs_geheim", "sherd at", "Gannet Hollow"))]
    assert len(spelled_in(voyage.ashore.memory_aboard, told)) > 5
    assert [word for word in words if word not in voyage.ashore.memory_aboard] == []
    assert PLAIN_NOTES[0].encode() in voyage.ashore.memory
    assert spelled_in(voyage.ashore.memory, told) == {}
    assert [word for word in [*words, KEY.hex().encode(), SITE.signing_seed] if word in voyage.ashore.memory] == []
