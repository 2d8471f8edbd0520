"""What nothing released may tell (R1): places, datum, turn, key, moments, a station's own field names.

The scanner is that of the canaries (`canaries.py`), which knows nothing of how Offing writes. Signatures and heads look
like anything: they are taken out of a record only where it is, byte for byte, the one that the journal gives again. The
site's public key, which isn't secret, is taken out where all its digits stand.
"""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from canaries import Scanner
from canary_signatures import key_text, without_signatures
from left_behind import Left
from relay.core.errors import RecordingError
from relay.core.model import Accepted, RowKind
from relay.core.policy import Place
from relay.core.release import Kind
from relay.core.seal import Signer
from relay.core.sources import Source
from relay.core.wire import SIGNATURE_OCTETS, decode, objects, pad_start

GRID_DEG = 3e-4  # about 30 m: less than what the scanner calls near, so one place stands for all about it
_STAMP = re.compile(
    rb"^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d,\d{3} ", re.MULTILINE
)  # of a line of a log: 21,933 is a longitude
RAW_OCTETS = 16
SINCE_S = 1e9  # a wall clock before 2001 is a virtual one of a test
FIELD_NAMES = ("latitude_deg", "longitude_deg", "depth_m", "altitude_m", "heading_deg", "pressure_dbar")


class Unsaid:
    """Looks for what must not be told in all that a run left."""

    def __init__(self, left: Left) -> None:
        self._exact = {name for name, policy in left.policies.items() if policy.place is Place.EXACT}
        frames = {frame for told in left.frames.values() for _, frame in told} | set(left.programmes)
        mine = key_text(Signer(left.secrets.signing_seed))
        self._signatures = frozenset(part for frame in frames for part in _random_in(frame)) | {mine}
        self._looked: set[bytes] = set()
        told = _places(left)
        places = _one_for_all_about(told)
        # Not all between the first and the last: where the wall clock was set, hours that never were look like numbers.
        about_s = sorted({30.0 * round(row.wall_s / 30) for row in left.rows if row.wall_s > SINCE_S})
        secrets = left.secrets
        east, north = secrets.shift_m
        numbers = {"the turn": secrets.turn_deg, "the datum's east": east, "the datum's north": north}
        words = {"the key": secrets.key, "the signing seed": secrets.signing_seed}
        named = {f"the field name {name}": name for name in FIELD_NAMES}
        self._records = Scanner(places, exact=told, about_s=about_s, secrets=numbers, words={**words, **named})
        self._words = Scanner(places, exact=told, secrets=numbers, words=words)
        self._raw = _beginnings(left)

    def in_recording(self, audience: str, path: Path) -> Iterator[str]:
        """Yield what a recording tells, record by record, and what stands in it that is no record."""
        if audience in self._exact:
            return
        data, last = path.read_bytes(), 0
        try:
            for value, start, end in objects(data):
                if not isinstance(value, list):
                    break
                yield from self.in_frames(str(path), [data[start:end]])
                last = end
        except RecordingError:
            pass  # told of elsewhere, and looked at here
        yield from self.in_frames(str(path), [data[last:]])

    def in_frames(self, name: str, frames: Iterable[bytes]) -> Iterator[str]:
        """Yield what released records tell; each is looked at once, whoever has it."""
        for frame in set(frames) - self._looked:
            self._looked.add(frame)
            if _audience(frame) in self._exact:
                continue
            for seen in self._records.find(without_signatures(frame, self._signatures)):
                yield f"{name} tells {seen.what}: {seen.excerpt!r}"
            yield from self._raw_in(name, frame)

    def _raw_in(self, name: str, data: bytes) -> Iterator[str]:
        found = (data[at : at + RAW_OCTETS] for at in range(len(data) - RAW_OCTETS + 1))
        yield from (f"{name} tells raw bytes of a station: {raw!r}" for raw in found if raw in self._raw)

    def in_words(self, path: Path) -> Iterator[str]:
        """Yield what a log, an answer, or another file tells."""
        data = _STAMP.sub(b"", path.read_bytes())
        for seen in self._words.find(without_signatures(data, self._signatures)):
            yield f"{path} tells {seen.what}: {seen.excerpt!r}"
        yield from self._raw_in(str(path), data)


def _audience(frame: bytes) -> str | None:
    try:
        body = decode(frame).body
    except RecordingError:
        return None
    return str(body.get("audience")) if isinstance(body, dict) else None


def _random_in(frame: bytes) -> Iterator[bytes]:
    at = pad_start(frame)
    yield frame[at : at + SIGNATURE_OCTETS]
    record = decode(frame)
    if record.kind == Kind.HEAD:
        yield record.body[0]


def _beginnings(left: Left) -> frozenset[bytes]:
    """Return how the lines of all feeds begin: so much of one is enough to know it by, and no note has it."""
    out = set()
    for source in left.plan.sources:
        whole = b"".join(row.data for row in left.rows if row.source == source.name)
        out |= {line[:RAW_OCTETS] for line in whole.split(b"\n") if len(line) >= RAW_OCTETS}
    return frozenset(raw for raw in out if len(set(raw)) > RAW_OCTETS // 3)  # not of zeros, as every pad has


def _places(left: Left) -> list[tuple[float, float]]:
    """Return the places in the journal."""
    sources = {source.name: Source(at, source) for at, source in enumerate(left.plan.sources)}
    found: dict[tuple[float, float], None] = {}
    for row in left.rows:
        if row.kind is RowKind.DECISION or row.source not in sources:
            continue
        for event in sources[row.source].read(row):
            told = event.observation if isinstance(event, Accepted) else None
            if told is not None and told.latitude_deg is not None and told.longitude_deg is not None:
                found[told.latitude_deg, told.longitude_deg] = None
    return list(found) or [(-38.61472, -21.93306)]


def _one_for_all_about(places: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return one place for all that lie together."""
    found: dict[tuple[int, ...], tuple[float, float]] = {}
    for place in places:
        found.setdefault(tuple(round(degrees / GRID_DEG) for degrees in place), place)
    return list(found.values())
