"""Heads and proofs of the exact record tell nothing to who has no salt: R2, R3 for the bytes masked elsewhere.

What an attacker is given: the code, every row but the position in it, all released records of all audiences, and the
proof of the row beside. What they try: each place of a grid of 1 m.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from hashlib import blake2s, sha256
from itertools import pairwise

import pytest

from dives import INVENTED_SITE, SECOND, SECRETS, decided, dive_rows, in_order, plan, policy, rows, run, sent
from heads import HEAD_OCTETS, but_for_heads
from relay.core.channel import Due
from relay.core.decision import Say
from relay.core.merkle import leaf_hash, node_hash
from relay.core.minute_tree import LEVELS, MINUTE_US, SALT_OCTETS, SEATS, Evidence, MinuteTree, opened
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.record_log import Closed, RecordLog, inclusion
from relay.core.release import Kind
from relay.core.wire import decode

TWO = plan(policy("public", extra_us=0), policy("slow", delay_us=70 * SECOND, tick_us=5 * SECOND))
DIVE = dive_rows(200)
EVIDENCE = Evidence(SECRETS.evidence_key)
SIDE_M = 60


def out_of(journal: list[Row], key: bytes = SECRETS.evidence_key) -> list[Due]:
    """Return what leaves of a journal, its exact record drawn from a key."""
    return run(Pipeline(TWO, SECRETS, record=RecordLog(Evidence(key))), journal)


def heads(due: list[Due], audience: str = "public") -> list[bytes]:
    """Return the heads that an audience gets, read as anybody reads them."""
    records = [decode(frame) for _, name, frame in sent(due) if name == audience]
    bodies = [record.body for record in records if record.kind == Kind.HEAD]
    assert all(len(body) == 1 and len(body[0]) == HEAD_OCTETS for body in bodies), "a head, and nothing beside it"
    return [body[0] for body in bodies]


def elapsed_s(due: list[Due], audience: str = "public") -> list[int]:
    """Return at which dive time an audience gets heads."""
    records = [item.record for item in due if item.record.audience == audience and item.record.kind is Kind.HEAD]
    return [record.elapsed_us // SECOND for record in records]


ALL = out_of(DIVE)


@pytest.mark.parametrize("begins_s", [5, 17, 40, 59, 61, 118])
def test_heads_come_with_the_first_tick_of_each_dive_minute_wherever_the_ships_minutes_end(begins_s: int) -> None:
    """By dive time alone: the ship's own minutes, and so how late a dive is beside another, show in no moment."""
    due = out_of(dive_rows(200, start_s=begins_s))
    assert elapsed_s(due) == [0, 60, 120, 180, 240]
    kinds = [item.record.kind for item in due if item.record.audience == "public"]
    assert all(before is Kind.TICK for before, kind in pairwise(kinds) if kind is Kind.HEAD)


def test_heads_come_whatever_comes_in() -> None:
    """A feed silent for minutes, a thousand rows of noise, texts kept back: not a head more, less, later or longer."""
    gap = in_order([row for row in DIVE if not 70 <= row.embargo_us // SECOND <= 128], DIVE[-1:])
    noise = rows((80 * SECOND + at * 1_000, b"noise %d\n" % at) for at in range(1_000))
    secret = [decided(90 * SECOND, Say(text="38 36.9 S 021 55.9 W"))]
    crowded = out_of(in_order(DIVE, noise, secret))
    assert but_for_heads(sent(crowded)) == but_for_heads(sent(ALL))
    assert heads(crowded)[2:] != heads(ALL)[2:]
    silent = out_of(gap)
    assert elapsed_s(silent) == elapsed_s(ALL)
    lengths = {len(frame) for due in (silent, crowded, ALL) for frame in frames_of(due)}
    assert len(lengths) == 1


def frames_of(due: list[Due]) -> Iterator[bytes]:
    """Yield the records that carry heads."""
    return (frame for _, _, frame in sent(due) if decode(frame).kind == Kind.HEAD)


def test_head_is_over_what_came_before_the_ships_last_whole_minute_and_nothing_later() -> None:
    """R2: whatever comes after a tick's last whole minute changes no head up to it; one row before does, for good."""
    for seconds in (60, 120, 180):
        later = [row if row.embargo_us < seconds * SECOND else replace(row, wall_s=0.5) for row in DIVE]
        first = next(row for row in DIVE if row.embargo_us // SECOND == seconds - 1)
        earlier = [replace(row, wall_s=0.5) if row is first else row for row in DIVE]
        # The dive's first tick is at 6 s, so the head of its minute n is over the ship's first n minutes.
        assert alike(later) == list(range(seconds // 60 + 1))
        assert alike(earlier) == list(range(seconds // 60))


def alike(journal: list[Row]) -> list[int]:
    """Return which heads are those of the dive as it was: the same ones for each audience."""
    due, found = out_of(journal), []
    for audience in ("public", "slow"):
        pairs = enumerate(zip(heads(due, audience), heads(ALL, audience), strict=True))
        found.append([at for at, (one, other) in pairs if one == other])
    assert found[0] == found[1]
    return found[0]


def test_heads_of_audiences_can_not_be_laid_beside_each_other() -> None:
    """Over the very same minutes each gets another head, and none is that of the log: not even to who has that."""
    log = RecordLog(EVIDENCE)
    for row in DIVE:
        log.add(row)
    exact = [log.head(minutes) for minutes in range(5)]
    both = heads(ALL) + heads(ALL, "slow")
    assert len(heads(ALL)) == len(heads(ALL, "slow")) == 5
    assert len({*both, *exact}) == 15


def test_salts_drawn_anew_change_the_heads_and_nothing_else() -> None:
    """Whatever the key, all bytes but those of the heads are the same, and the heads are unlike in every bit alike.

    A bit is as often one as zero, whatever the dive was: bounds of five deviations of the binomial distribution.
    """
    keys = [bytes([at]) * 32 for at in range(60)]
    drawn = [out_of(dive_rows(70), key) for key in keys]
    reference = but_for_heads(sent(drawn[0]))
    assert all(but_for_heads(sent(due)) == reference for due in drawn[1:])
    found = [head for due in drawn for audience in ("public", "slow") for head in heads(due, audience)]
    assert len(set(found)) == len(found) > 200
    for bit in range(8 * HEAD_OCTETS):
        ones = sum(int.from_bytes(head, "big") >> bit & 1 for head in found)
        assert abs(ones - len(found) / 2) < 5 * (len(found) / 4) ** 0.5


def position_row(east_m: int, north_m: int, seq: int = 2) -> Row:
    """Return a row with a position on the grid, as a station sends it; everything but the place is known."""
    said = {"vehicle": "Lantern", "latitude_deg": round(INVENTED_SITE[0] + north_m / 111_320, 7),
            "longitude_deg": round(INVENTED_SITE[1] + east_m / 86_960, 7)}  # fmt: skip
    return replace(DIVE[seq - 1], seq=seq, data=json.dumps(said).encode() + b"\n")


TRUE = position_row(17, -23)


def found_places(hashes: Iterable[bytes], made: Iterable[tuple[tuple[int, int], bytes]]) -> list[tuple[int, int]]:
    """Return the places of which a guess made just such a hash."""
    known = set(hashes)
    return [place for place, value in made if value in known]


def grid() -> Iterator[tuple[int, int]]:
    """Yield every place of a grid of 1 m about the site."""
    half = SIDE_M // 2
    return ((east, north) for east in range(-half, half + 1) for north in range(-half, half + 1))


def test_proof_of_a_record_lets_nobody_guess_the_one_beside_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Even where the two sit side by side: no place of the grid, hashed without the salt, is in the path.

    Sat anywhere, as they are, the row beside isn't in the path as such at all.
    """
    first = DIVE[0]
    blind = EVIDENCE.blind("public", 1, 1)
    for sits in (Evidence.seat, lambda self, seq: seq - 1):
        monkeypatch.setattr(Evidence, "seat", sits)
        tree = tree_of([first, TRUE])
        way = inclusion(EVIDENCE, [first, TRUE], 1, [Closed(0, 2, tree.root)], blind)
        shown = [*way.seat_path, *way.log_path, way.blind, tree.root]
        salts = (b"", bytes(SALT_OCTETS), EVIDENCE.salt(1))
        guesses = ((place, guess(position_row(*place), salt)) for salt in salts for place in grid())
        assert found_places(shown, guesses) == []
    # That the guess is the right one but for the salt: with it, it is found.
    assert found_places(shown, [((0, 0), guess(TRUE, EVIDENCE.salt(2)))]) == [(0, 0)]


def guess(row: Row, salt: bytes) -> bytes:
    """Return the leaf hash of a guessed row."""
    return leaf_hash(opened(row, salt))


def tree_of(of: Iterable[Row], evidence: Evidence = EVIDENCE) -> MinuteTree:
    """Return the tree of the first minute."""
    tree = MinuteTree(0, evidence)
    for row in of:
        tree.add(row)
    return tree


def test_released_head_lets_nobody_guess_the_only_record_of_its_minute() -> None:
    """All known but the place and the key: with no key guessed, none, does any place of the grid give the head."""
    key = SECRETS.evidence_key
    guesses = ((place, only_head(position_row(*place), bytes(32))) for place in grid())
    assert found_places([only_head(TRUE, key)], guesses) == []
    # The attack itself works: who has the key finds the place.
    near = [(17 + east, -23 + north) for east in range(-2, 3) for north in range(-2, 3)]
    made = ((place, only_head(position_row(*place), key)) for place in near)
    assert found_places([only_head(TRUE, key)], made) == [(17, -23)]


def only_head(row: Row, key: bytes) -> bytes:
    """Return the head that is released where a row is alone in the first minute."""
    log = RecordLog(Evidence(key))
    log.add(row)
    return log.released(1, "public", 1, 1)


def test_proofs_of_one_record_differ_by_nothing_but_hashes_whatever_is_beside_it() -> None:
    """Paired runs: a hundred other places beside it, or nothing, or a thousand rows: seat, salt and lengths are alike.

    And of each level the hashes of different runs are different, or drawn and the same: none stands for "nothing here".
    """
    first, ways = DIVE[0], []
    beside: list[list[Row]] = [[position_row(place, place)] for place in range(100)]
    beside += [[], list(DIVE[1:55])]
    for others in beside:
        journal = [first, *others]
        closed = Closed(0, len(journal), tree_of(journal).root)
        ways.append(inclusion(EVIDENCE, journal, 1, [closed], bytes(32)))
    assert {(way.seat, len(way.seat_path), way.minute, way.minutes, len(way.log_path)) for way in ways} == {
        (EVIDENCE.seat(1), LEVELS, 0, 1, 0)
    }
    assert {len(step) for way in ways for step in way.seat_path} == {32}
    levels = list(zip(*(way.seat_path for way in ways), strict=True))
    assert sum(len(set(level)) > 100 for level in levels) == 1
    assert len({step for level in levels for step in level}) >= LEVELS + 100


def test_what_is_drawn_follows_from_the_key_alone_and_nothing_received() -> None:
    """Salt, seat, empty subtrees and blinds, by keyed BLAKE2s at once: labels of numbers and names."""
    key = SECRETS.evidence_key

    def drawn(label: str) -> bytes:
        return blake2s(label.encode(), key=key).digest()

    assert EVIDENCE.salt(7) == drawn("salt 7")[:16]
    assert EVIDENCE.seat(7) == int.from_bytes(drawn("seat 7"), "big") >> 256 - LEVELS < SEATS
    assert EVIDENCE.empty(3, 19, 1) == drawn("empty 3 19 1")
    assert EVIDENCE.blind("public", 2, 9) == drawn("blind public 2 9")
    log = RecordLog(EVIDENCE)
    log.upto(MINUTE_US)
    leaf = sha256(b"\0" + drawn("empty 0 20 0")).digest()
    assert log.released(1, "public", 2, 9) == node_hash(leaf, drawn("blind public 2 9"))
