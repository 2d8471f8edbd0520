"""Leaks to plant about the heads and proofs of the exact record, which are noise to look at: see `planted_leaks.py`."""

from planting import leak

_CHANNEL, _TREE, _LOG = "core/channel.py", "core/minute_tree.py", "core/record_log.py"

HEADS = (
    leak(
        "a position, to whoever has the proof of the record beside it and tries places: leaves without a salt",
        "test_heads_tell_nothing::test_proof_of_a_record_lets_nobody_guess_the_one_beside_it",
        (_TREE, 'return self._drawn(b"salt %d" % seq)[:SALT_OCTETS]', "return bytes(SALT_OCTETS)"),
    ),
    leak(
        "a position, to whoever tries places: heads that are drawn from no secret",
        "test_heads_tell_nothing::test_released_head_lets_nobody_guess_the_only_record_of_its_minute",
        (_TREE, "self._drawn = keyed(key)", "self._drawn = keyed(bytes(32))"),
    ),
    leak(
        "that two audiences follow one dive, tick for tick: heads without a blind",
        "test_heads_tell_nothing::test_heads_of_audiences_can_not_be_laid_beside_each_other",
        (
            _LOG,
            "return node_hash(self.head(minutes), self._evidence.blind(audience, dive, minute))",
            "return self.head(minutes)",
        ),
    ),
    leak(
        "the same, with one blind for all audiences",
        "test_heads_tell_nothing::test_heads_of_audiences_can_not_be_laid_beside_each_other",
        (_TREE, 'f"blind {audience} {dive} {minute}"', 'f"blind {dive} {minute}"'),
    ),
    leak(
        "how much the ship receives: the count of the minute's records beside its head",
        "test_heads_tell_nothing::test_heads_come_whatever_comes_in",
        (
            _CHANNEL,
            "return [dive.log.head(at_us, head)]",
            "return [dive.log.head(at_us, head + len(self._record._tree._seats).to_bytes(4))]",
        ),
        ("core/release.py", "if len(head) != HEAD_BYTES:", "if not head:"),
    ),
    leak(
        "how much the ship receives: a head whenever there are so many records more",
        "test_heads_tell_nothing::test_heads_come_whatever_comes_in",
        (
            _CHANNEL,
            "minute = (at_us - dive.begun_us) // MINUTE_US",
            "minute = self._record._last_seq // 60",
        ),
    ),
    leak(
        "how much later one dive is released than another: heads when the ship's minutes end",
        "test_heads_tell_nothing::test_heads_come_with_the_first_tick_of_each_dive_minute_wherever_the_ships_minutes_end",
        (_CHANNEL, "minute = (at_us - dive.begun_us) // MINUTE_US", "minute = at_us // MINUTE_US"),
    ),
    leak(
        "that something came within the delay: heads over all that is there",
        "test_heads_tell_nothing::test_head_is_over_what_came_before_the_ships_last_whole_minute_and_nothing_later",
        (_CHANNEL, "self._record.released(at_us // MINUTE_US,", "self._record.released(self._record.minute,"),
    ),
    leak(
        "how many records a minute has, to whoever has two proofs: seats in the order of the journal",
        "test_minute_tree::test_seats_are_spread_evenly",
        (_TREE, 'int.from_bytes(self._drawn(b"seat %d" % seq)[:4], "big") >> 32 - LEVELS', "seq"),
    ),
    leak(
        "where no record sits, to whoever has a proof: subtrees without one that look empty",
        "test_minute_tree::test_empty_and_taken_subtrees_look_alike",
        (_TREE, 'return self._drawn(b"empty %d %d %d" % (minute, level, index))', "return bytes(32)"),
    ),
)
