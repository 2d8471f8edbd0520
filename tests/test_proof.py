"""A proof: written and read as the same bytes, no bit of it to be altered, and silent about every other row."""

import json
import re
from dataclasses import replace
from hashlib import sha256
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flipped_bits import flip
from relay.core.errors import ProofError
from relay.core.merkle import leaf_hash
from relay.core.minute_tree import Evidence, opened
from relay.core.model import RowKind
from relay.core.proof import Proof, is_proof, read_proof, write_proof
from sealed_dives import EVIDENCE, journal_rows, prove, released_heads

JOURNAL = journal_rows()
PROOF = prove(JOURNAL, [3, 42])
GOOD = write_proof(PROOF)


def as_it_is(proof: Proof) -> Proof:
    """Return a proof without the lines that only a read one knows."""
    return replace(proof, lines=())


def test_proof_is_read_as_it_was_written_and_leads_to_the_released_heads() -> None:
    """Each row, with its salt, by its path, to the head that was released over it."""
    read = read_proof(GOOD)
    assert as_it_is(read) == PROOF
    heads = released_heads(JOURNAL)
    assert [proved.head for proved in read.records] == [heads[0], heads[3]]
    assert [proved.row for proved in read.records] == [JOURNAL[2], JOURNAL[41]]
    lines = GOOD.decode().split("\n")
    assert [(lines[first - 1], lines[last - 1]) for first, last in read.lines] == [
        ("    {", "    },"),
        ("    {", "    }"),
    ]
    assert is_proof(GOOD) and not is_proof(b"\x96\x01") and not is_proof(b"")


@pytest.mark.parametrize("kind", RowKind)
def test_rows_of_each_kind_and_any_bytes_come_back(kind: RowKind) -> None:
    """Bytes that are no text, a source in any letters, a wall clock that is no date."""
    row = replace(JOURNAL[2], kind=kind, data=bytes(range(256)), source='Bug "vorn" \u00e9\u2028', wall_s=-1.5e300)
    proof = replace(PROOF, records=(replace(PROOF.records[0], row=row),), audience="the press")
    assert as_it_is(read_proof(write_proof(proof))) == proof
    assert proof.records[0].head not in (None, PROOF.records[0].head)


def test_flipped_bit_anywhere_is_found_and_the_message_says_where() -> None:
    """At random places, and in the last lines, where the sum itself stands."""
    random = Random(31)
    bits = [random.randrange(8 * len(GOOD)) for _ in range(150)] + [8 * len(GOOD) - at for at in range(1, 90, 7)]
    for bit in bits:
        with pytest.raises(ProofError, match=r"byte \d|line \d|lines \d|record \d|: see '|last line but one") as told:
            read_proof(flip(GOOD, bit))
        line = GOOD[: bit // 8].count(b"\n") + 1
        if (spans := re.search(r"lines (\d+) to (\d+)", str(told.value))) is not None:
            assert int(spans[1]) <= line <= int(spans[2])


@settings(max_examples=60)
@given(st.data())
def test_no_other_text_is_read_as_a_proof(data: st.DataObject) -> None:
    """Any piece replaced by any other: an error in words, or the text itself."""
    at = data.draw(st.integers(0, len(GOOD)))
    upto = data.draw(st.integers(at, min(len(GOOD), at + 300)))
    told = GOOD[:at] + data.draw(st.binary(max_size=8)) + GOOD[upto:]
    try:
        assert as_it_is(read_proof(told)) == PROOF
    except ProofError:
        return
    assert told == GOOD


def altered(**members: object) -> bytes:
    """Return the proof with other members in its first record, and sums that agree, as a forger writes it."""
    value = json.loads(GOOD)
    record = {**value["records"][0], **members}
    bare = {name: item for name, item in record.items() if name != "sha256"}
    record["sha256"] = sha256(json.dumps(bare, ensure_ascii=False).encode()).hexdigest()
    value = {**value, "records": [record, *value["records"][1:]]}
    del value["sha256"]
    told = json.dumps(value, indent=2, ensure_ascii=False).removesuffix("\n}").encode() + b",\n"
    return told + b'  "sha256": "' + sha256(told).hexdigest().encode() + b'"\n}\n'


def test_forger_who_writes_the_sums_anew_leads_to_another_head() -> None:
    """Whatever is altered of the row, its salt or its path, no sum helps: the head is not the released one."""
    good = PROOF.records[0]
    assert read_proof(altered()).records[0].head == good.head
    path = [step.hex() for step in good.way.seat_path]
    for members in (
        {"row": 4}, {"embargo_us": 1}, {"wall_s": 1.0}, {"source": "bow"}, {"kind": "whole"}, {"data": "00"},
        {"salt": "00" * 16}, {"seat": good.way.seat ^ 1}, {"seat_path": [path[1], path[0], *path[2:]]},
        {"minute": 1, "minutes": 2}, {"log_path": ["00" * 32]}, {"blind": "00" * 32},
    ):  # fmt: skip
        assert read_proof(altered(**members)).records[0].head != good.head


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"row": -1}, "record 1 of the proof: row: a whole number"),
        ({"row": True}, "record 1 of the proof: row: a whole number"),
        ({"embargo_us": 1 << 63}, "embargo_us: a whole number"),
        ({"wall_s": 7}, "wall_s: a number of seconds with a point"),
        ({"kind": "rumour"}, "kind: one of stream, whole, decision"),
        ({"source": None}, "source: a text"),
        ({"data": "0"}, "data: bytes, in hexadecimal digits"),
        ({"salt": "00"}, "salt: 16 bytes, in hexadecimal digits"),
        ({"seat_path": []}, "seat_path: 20 hashes"),
        ({"log_path": ["00"]}, "log_path: hash 1: 32 bytes"),
        ({"log_path": ["00" * 32] * 65}, "log_path: hashes"),
        ({"more": 1}, "its members are not those of a proof: see 'more'"),
    ],
)
def test_value_that_is_none_is_refused_with_its_place(members: dict[str, object], words: str) -> None:
    """Each says which record and which member."""
    with pytest.raises(ProofError, match=re.escape(words)):
        read_proof(altered(**members))


@pytest.mark.parametrize(
    "data", [b"", b"{", b"[]", b"{}", b"\xff", b"[" * 100_000, b"9" * 5_000, b'{"format": "offing proof"}',
             GOOD + b"\n", GOOD.replace(b'"version": 1', b'"version": 2'), GOOD.replace(b"\n", b"\r\n"),
             GOOD.replace(b"  ", b" ")],
)  # fmt: skip
def test_what_is_no_proof_is_refused_in_words(data: bytes) -> None:
    """Nothing of another version, nothing written otherwise, nothing that keeps the reader busy."""
    with pytest.raises(ProofError):
        read_proof(data)


def test_proof_tells_nothing_of_any_other_row() -> None:
    """Two records alike in one row alone give proofs that differ in hashes alone, of the same number (paired)."""
    others = journal_rows(2)
    mixed = [JOURNAL[at] if at == 2 else row for at, row in enumerate(others)]
    assert sum(one == other for one, other in zip(mixed, JOURNAL, strict=True)) <= 3
    fewer = [row for row in mixed if row.seq <= 9 or row.embargo_us > 60_000_000]
    one = write_proof(prove(JOURNAL, [3])).decode()
    for journal in (mixed, fewer):
        other = write_proof(prove(journal, [3])).decode()
        assert re.sub("[0-9a-f]{64}", "-", one) == re.sub("[0-9a-f]{64}", "-", other)
        mine, theirs = (re.findall("[0-9a-f]{64}", text) for text in (one, other))
        assert [at for at, pair in enumerate(zip(mine, theirs, strict=True)) if pair[0] != pair[1]]


class Saltless(Evidence):
    """A leaky build: no salt, and rows that sit side by side."""

    def salt(self, seq: int) -> bytes:
        """Return nothing that is secret."""
        return bytes(16)

    def seat(self, seq: int) -> int:
        """Return a seat that anybody can tell."""
        return seq


def neighbours_found(evidence: Evidence) -> list[bytes]:
    """Return which bytes of row 4 a proof of row 5 gives away to who tries each place of a grid of 1 m about it.

    The outsider is given all else of the row: its number, its moments, and the other values of its message.
    """
    neighbour = JOURNAL[3]
    told = json.loads(neighbour.data)
    place = told["latitude_deg"], told["longitude_deg"]
    grid = [(place[0] + north / 111_000, place[1] + east / 87_000) for north in range(-9, 10) for east in range(-9, 10)]
    path = prove(JOURNAL, [5], evidence).records[0].way.seat_path
    guesses = [json.dumps({**told, "latitude_deg": at[0], "longitude_deg": at[1]}).encode() + b"\n" for at in grid]
    assert neighbour.data in guesses
    return [data for data in guesses if leaf_hash(opened(replace(neighbour, data=data), bytes(16))) in path]


def test_neighbours_place_is_found_by_trying_only_in_a_build_without_salts() -> None:
    """Brute force over a grid of 1 m: nothing; on the leaky build the very place (the check itself works)."""
    assert neighbours_found(EVIDENCE) == []
    assert neighbours_found(Saltless(bytes(32))) == [JOURNAL[3].data]
