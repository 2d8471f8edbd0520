"""A proof as a value and as text: rows of the exact record, each with its way to a head that was released.

Rules: canonical JSON (RFC 8259), two spaces deep, its members in one order, a SHA-256 of each record and of the whole:
read strictly, for it must be written again as the same bytes, so that no bit of it can be altered unnoticed. It opens
the rows it holds, by their salts, and tells of no other row: `record_log.Inclusion`. What proves something is the way
to a head that the ship signed and released, never the file's own sums, which are there to say where it was damaged.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from relay.core.errors import ProofError
from relay.core.merkle import OCTETS
from relay.core.minute_tree import LEVELS, SALT_OCTETS
from relay.core.model import Row, RowKind
from relay.core.record_log import Inclusion

TITLE, VERSION = "offing proof", 1
SUFFIX = ".proof"
PROOF_LIMIT = 16 << 20  # bytes of a text: some 3,000 rows
_SUM = '  "sha256": "'
_MOST_DEEP = 64
_LARGEST = 1 << 63


@dataclass(frozen=True, slots=True)
class Proved:
    """A row of the journal with its salt, and its way to the head in a record of the dive (`sealed_by`: its number)."""

    row: Row
    salt: bytes
    sealed_by: int
    way: Inclusion

    @property
    def head(self) -> bytes | None:
        """The head to which the row leads, None if it leads to none."""
        return self.way.head(self.row, self.salt)


@dataclass(frozen=True, slots=True)
class Proof:
    """What a proof file holds: whose dive for whom, and the rows. `lines`: of each row in the text, from 1, both in."""

    expedition: str
    audience: str
    dive: int
    records: tuple[Proved, ...]
    lines: tuple[tuple[int, int], ...] = ()


def write_proof(proof: Proof) -> bytes:
    """Return the text of a proof."""
    value = {
        "format": TITLE,
        "version": VERSION,
        "expedition": proof.expedition,
        "audience": proof.audience,
        "dive": proof.dive,
        "records": [_written(proved) for proved in proof.records],
    }
    told = json.dumps(value, indent=2, ensure_ascii=False).removesuffix("\n}").encode() + b",\n"
    return told + f'{_SUM}{sha256(told).hexdigest()}"\n}}\n'.encode()


def read_proof(data: bytes) -> Proof:
    """Return the proof in a text; ProofError says what is wrong with it, and where."""
    try:
        text = data.decode()
        value = json.loads(text)
    except UnicodeDecodeError as error:
        raise ProofError(f"not a proof as Offing writes it: byte {error.start}: no UTF-8") from error
    except json.JSONDecodeError as error:
        raise ProofError(f"not a proof as Offing writes it: line {error.lineno}: {error.msg}") from error
    except (ValueError, RecursionError) as error:
        raise ProofError("not a proof as Offing writes it: a number or a nesting beyond all bounds") from error
    proof = _read(value, text)
    if (good := write_proof(proof)) != data:
        raise ProofError(f"altered: {_differs(proof, value['records'], good, data)}")
    return proof


def is_proof(data: bytes) -> bool:
    """Whether a file, by its first bytes, seems to be a proof rather than a recording."""
    return data[:1] in (b"{", b" ", b"\n")


def _written(proved: Proved) -> dict[str, Any]:
    row, way = proved.row, proved.way
    value = {
        "row": row.seq,
        "embargo_us": row.embargo_us,
        "wall_s": row.wall_s,
        "source": row.source,
        "kind": str(row.kind),
        "data": row.data.hex(),
        "salt": proved.salt.hex(),
        "sealed_by": proved.sealed_by,
        "seat": way.seat,
        "seat_path": [step.hex() for step in way.seat_path],
        "minute": way.minute,
        "minutes": way.minutes,
        "log_path": [step.hex() for step in way.log_path],
        "blind": way.blind.hex(),
    }
    return {**value, "sha256": sha256(json.dumps(value, ensure_ascii=False).encode()).hexdigest()}


_MEMBERS = ("format", "version", "expedition", "audience", "dive", "records", "sha256")


def _read(value: object, text: str) -> Proof:
    known = _members(value, "the proof", _MEMBERS)
    if (known["format"], known["version"]) != (TITLE, VERSION):
        raise ProofError(
            f"lines 2 and 3: this Offing reads the format {TITLE!r} of version {VERSION}, and it says something else"
        )
    records = known["records"]
    if not isinstance(records, list) or not records:
        raise ProofError("records: a list of at least one record")
    names = {name: _text(known, name, "") for name in ("expedition", "audience")}
    dive = _whole(known, "dive", "")
    proved = tuple(_proved(item, f"record {number} of the proof") for number, item in enumerate(records, 1))
    return Proof(**names, dive=dive, records=proved, lines=_lines(text, len(records)))


_PROVED = ("row", "embargo_us", "wall_s", "source", "kind", "data", "salt", "sealed_by", "seat", "seat_path",
           "minute", "minutes", "log_path", "blind", "sha256")  # fmt: skip


def _proved(value: object, where: str) -> Proved:
    known = _members(value, where, _PROVED)
    if not isinstance(known["wall_s"], float):
        raise ProofError(f"{where}: wall_s: a number of seconds with a point")
    if known["kind"] not in list(RowKind):
        raise ProofError(f"{where}: kind: one of {', '.join(RowKind)}")
    row = Row(
        _whole(known, "row", where),
        _whole(known, "embargo_us", where),
        known["wall_s"],
        _text(known, "source", where),
        RowKind(known["kind"]),
        _octets(known["data"], f"{where}: data"),
    )
    way = Inclusion(
        _whole(known, "seat", where),
        _path(known, "seat_path", where, LEVELS),
        _whole(known, "minute", where),
        _whole(known, "minutes", where),
        _path(known, "log_path", where),
        _octets(known["blind"], f"{where}: blind", OCTETS),
    )
    salt = _octets(known["salt"], f"{where}: salt", SALT_OCTETS)
    return Proved(row, salt, _whole(known, "sealed_by", where), way)


def _members(value: object, where: str, names: tuple[str, ...]) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise ProofError(f"{where}: not an object of {', '.join(names)}")
    if (found := tuple(value)) != names:
        wrong = next((name for name in found if name not in names), None) or next(
            (name for name in names if name not in found), "their order"
        )
        raise ProofError(f"{where}: its members are not those of a proof: see {wrong[:40]!r}")
    return value


def _whole(known: Mapping[str, Any], name: str, where: str) -> int:
    value = known[name]
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < _LARGEST:
        raise ProofError(f"{_at(where, name)}: a whole number, not negative")
    return value


def _text(known: Mapping[str, Any], name: str, where: str) -> str:
    value = known[name]
    if not isinstance(value, str) or any("\ud800" <= letter <= "\udfff" for letter in value):
        raise ProofError(f"{_at(where, name)}: a text")
    return value


def _octets(value: object, where: str, length: int | None = None) -> bytes:
    try:
        data = bytes.fromhex(value) if isinstance(value, str) else None
    except ValueError:
        data = None
    if data is None or (length is not None and len(data) != length):
        raise ProofError(f"{where}: {'' if length is None else f'{length} '}bytes, in hexadecimal digits")
    return data


def _path(known: Mapping[str, Any], name: str, where: str, length: int | None = None) -> tuple[bytes, ...]:
    value = known[name]
    if not isinstance(value, list) or len(value) > _MOST_DEEP or (length is not None and len(value) != length):
        raise ProofError(f"{_at(where, name)}: {'' if length is None else f'{length} '}hashes")
    return tuple(_octets(step, f"{_at(where, name)}: hash {at}", OCTETS) for at, step in enumerate(value, 1))


def _at(where: str, name: str) -> str:
    return f"{where}: {name}" if where else name


def _differs(proof: Proof, records: list[dict[str, Any]], good: bytes, data: bytes) -> str:
    """Say where a text isn't as it would be written: by a record's sum, by its line and byte, or by what is left."""
    for number, (proved, read) in enumerate(zip(proof.records, records, strict=True), 1):
        if (written := _written(proved)) != read and {**written, "sha256": read["sha256"]} == read:
            return f"{record_words(proof, number)} doesn't have its sum"
    at = next((at for at, (one, other) in enumerate(zip(good, data, strict=False)) if one != other), None)
    at = min(len(good), len(data)) if at is None else at
    if at >= good.rfind(_SUM.encode()):
        return "what stands outside its records, or the last line but one: they don't have the sum that it tells"
    line = data[:at].count(b"\n") + 1
    return f"line {line}, byte {at}: it isn't written so"


def record_words(proof: Proof, number: int) -> str:
    """Return a record of a proof in words: its number, its row, and its lines in the text where they are known."""
    lines = proof.lines[number - 1] if proof.lines else None
    where = "" if lines is None else f", lines {lines[0]} to {lines[1]}"
    return f"record {number} of the proof (row {proof.records[number - 1].row.seq}{where})"


def _lines(text: str, records: int) -> tuple[tuple[int, int], ...]:
    """Return from which line to which each record goes, as a proof is written."""
    begins = [number for number, line in enumerate(text.split("\n"), 1) if line == "    {"]
    ends = [number for number, line in enumerate(text.split("\n"), 1) if line in ("    }", "    },")]
    return tuple(zip(begins, ends, strict=False)) if len(begins) == len(ends) == records else ()
