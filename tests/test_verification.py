"""What a recording proves: each lie of whoever hands it on is found, and named by its record."""

import msgpack
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dives import SIGNER
from handed_on import STRANGER, altered, blank, named, overlong, unsigned, whole
from relay.core.errors import RecordingError
from relay.core.verification import check_signed, examine, key_of
from relay.core.wire import footer, pad_of, read_recording
from released import EXPEDITION, dive

FRAMES = [frame.data for frame in dive(1, 6)]
OTHER_DIVE = [frame.data for frame in dive(2, 6)]
FOR_PRESS = [frame.data for frame in dive(1, 6, audience="press")]
BLANK = [blank(frame) for frame in FRAMES]


LAST = len(FRAMES) - 1
LIES: dict[str, tuple[bytes, str]] = {
    "a value altered": (
        whole([*FRAMES[:3], altered(FRAMES[3], 8), *FRAMES[4:]]),
        "record 3: altered, or not signed with this key",
    ),
    "padding altered": (
        whole([*FRAMES[:3], altered(FRAMES[3], len(FRAMES[3]) - 1), *FRAMES[4:]]),
        "record 3: altered, or not signed with this key",
    ),
    "a pad beyond every bound": (
        whole([*FRAMES[:3], overlong(FRAMES[3]), *FRAMES[4:]]),
        "record 3: altered, or not signed with this key",
    ),
    "dropped": (whole([*FRAMES[:3], *FRAMES[4:]]), "record 3: missing"),
    "several dropped": (whole([*FRAMES[:2], *FRAMES[5:]]), "records 2 to 4: missing"),
    "the end dropped, and a footer made": (
        whole(FRAMES[:-1]),
        "the record that ends the dive: missing, though there is a footer",
    ),
    "reordered": (
        whole([*FRAMES[:3], FRAMES[4], FRAMES[3], *FRAMES[5:]]),
        "record 3: comes again, or in another order",
    ),
    "replayed": (whole([*FRAMES[:4], FRAMES[3], *FRAMES[4:]]), "record 3: comes again, or in another order"),
    "from another dive": (whole([*FRAMES[:3], OTHER_DIVE[3], *FRAMES[4:]]), "record 3 is of dive 2"),
    "from another audience": (
        whole([*FRAMES[:3], FOR_PRESS[3], *FRAMES[4:]]),
        "record 3: altered, or not signed with this key",
    ),
    "signed by a stranger": (
        whole([*FRAMES[:3], STRANGER.seal("public", FRAMES[3]), *FRAMES[4:]]),
        "record 3: altered, or not signed with this key",
    ),
    "one signature left out": (
        whole([*FRAMES[:3], BLANK[3], *FRAMES[4:]]),
        "record 3: altered, or not signed with this key",
    ),
    "every signature left out": (whole(BLANK), f"records 0 to {LAST}: altered, or not signed with this key"),
    "behind the end": (
        whole([*FRAMES, STRANGER.seal("public", FRAMES[3])]),
        "record 3: comes again, or in another order",
    ),
    "an old footer": (
        b"".join([*FRAMES[:3], *FRAMES[4:]]) + footer(FRAMES),
        "the footer: it doesn't agree with the records, which were altered, or some were taken out or put in",
    ),
    "bytes behind the footer": (whole(FRAMES) + b"\xc0\xc0", "2 bytes behind the footer"),
    "no MessagePack": (b"".join(FRAMES[:3]) + b"\xc1" + b"".join(FRAMES[3:]), "nothing after record 2 can be read"),
    "no record": (b"".join(FRAMES[:3]) + msgpack.packb([1, 2]), "nothing after record 2 can be read"),
}


@pytest.mark.parametrize("given_key", [None, SIGNER.key], ids=["its own key", "the ship's key"])
def test_recording_as_the_ship_wrote_it_has_no_fault(given_key: bytes | None) -> None:
    """Closed, open, or torn: what there is is told, and nothing is wrong with it."""
    found = examine(whole(FRAMES), given_key)
    assert (found.expedition, found.audience, found.dive, found.records) == (EXPEDITION, "public", 1, len(FRAMES))
    assert (found.ended, found.torn_octets, found.key, found.unsigned, found.faults) == (True, 0, SIGNER.key, False, ())
    for tail in (b"", FRAMES[4][:-1]):
        found = examine(b"".join(FRAMES[:4]) + tail, given_key)
        assert (found.records, found.ended, found.torn_octets, found.faults) == (4, False, len(tail), ())
    assert check_signed(read_recording(whole(FRAMES)))


@pytest.mark.parametrize("lie", LIES)
@pytest.mark.parametrize("given_key", [None, SIGNER.key], ids=["its own key", "the ship's key"])
def test_lie_of_whoever_hands_it_on_is_found_and_named(lie: str, given_key: bytes | None) -> None:
    """Altered, dropped, reordered, replayed, put in, with a footer made to fit: by the record's number."""
    data, words = LIES[lie]
    assert words in "\n".join(examine(data, given_key).faults)


@pytest.mark.parametrize("header", [FRAMES[0], named(FRAMES[0], key=None), named(FRAMES[0], key=STRANGER.key.hex())])
def test_recording_written_anew_by_another_hand_is_not_the_ships(header: bytes) -> None:
    """Every record signed by a stranger: good by the key it names itself, if it does; never by the ship's."""
    forged = whole([STRANGER.seal("public", frame) for frame in [header, *BLANK[1:]]])
    faults = examine(forged, SIGNER.key).faults
    assert f"records 0 to {LAST}: altered, or not signed with this key" in faults
    own = key_of(read_recording(forged).header)
    assert (examine(forged).faults == ()) is (own == STRANGER.key)
    assert any(STRANGER.key.hex() in fault for fault in faults) is (own == STRANGER.key)


def test_unsigned_recording_is_called_so_and_is_never_good_by_a_key() -> None:
    """As an Offing before signatures wrote it, or with all of them taken out: readable, unproved."""
    data = whole(unsigned(FRAMES))
    found = examine(data)
    assert (found.unsigned, found.key, found.faults) == (True, None, ())
    assert not check_signed(read_recording(data))
    assert examine(data, SIGNER.key).faults == (f"records 0 to {LAST}: altered, or not signed with this key",)


@pytest.mark.parametrize("body", [None, [], [bytes(31)], [bytes(33)], [bytes(32), 7], ["7" * 32]])
def test_tree_head_that_is_none_is_named(body: object) -> None:
    """Where no signature speaks for it: a hash of 32 bytes alone, or it proves nothing."""
    frames = unsigned(FRAMES)
    sound = msgpack.packb([1, len(FRAMES) - 1, 7, 75, [bytes(32)], b""])
    end = msgpack.packb([1, len(FRAMES), 3, 75, None, b""])
    assert examine(whole([*frames[:-1], sound, end])).faults == ()
    altered_head = msgpack.packb([1, len(FRAMES) - 1, 7, 75, body, b""])
    (fault,) = examine(whole([*frames[:-1], altered_head, end])).faults
    assert f"record {len(FRAMES) - 1}: no tree head" in fault


def test_signatures_without_a_key_are_not_taken_for_none() -> None:
    """The key taken out of the first record leaves signatures that nobody can check: a fault, not an old recording."""
    data = whole([named(FRAMES[0], key=None), *FRAMES[1:]])
    assert examine(data).faults == ("there are signatures, but the first record names no key to check them with",)
    with pytest.raises(RecordingError, match="names no key"):
        check_signed(read_recording(data))


@pytest.mark.parametrize("lie", ["a value altered", "signed by a stranger", "one signature left out"])
def test_reader_of_a_good_footer_is_told_which_record_is_wrong(lie: str) -> None:
    """What `read_recording` takes, for its footer was made to fit, is refused by its signature."""
    with pytest.raises(RecordingError, match=r"record 3: altered.*`offing verify`"):
        check_signed(read_recording(LIES[lie][0]))


@pytest.mark.parametrize("key", [7, "", "d75a98", SIGNER.key.hex().upper(), [SIGNER.key.hex()]])
def test_key_that_is_none_is_refused(key: object) -> None:
    """Of whatever type: in words."""
    with pytest.raises(RecordingError, match="as its key"):
        examine(whole([named(FRAMES[0], key=key), *FRAMES[1:]]))


@pytest.mark.parametrize("data", [b"", b"\xc1", b"hello", whole(FRAMES)[:10], whole(FRAMES[1:]), footer([]),
                                  whole([named(FRAMES[0], version=2)]), whole([named(FRAMES[0], audience=None)]),
                                  whole([named(FRAMES[0], expedition=7)])])  # fmt: skip
def test_what_is_no_recording_is_refused(data: bytes) -> None:
    """Nothing to judge: no first record, of another version, or not a relay's."""
    with pytest.raises(RecordingError):
        examine(data)


@settings(deadline=None, max_examples=150)
@given(st.data())
def test_no_byte_can_be_changed_and_nothing_cut_out_unnoticed(data: st.DataObject) -> None:
    """Any byte of a closed recording, or any piece of it: never a whole, ended recording without a fault."""
    good = whole(FRAMES)
    at = data.draw(st.integers(0, len(good) - 1))
    other = data.draw(st.binary(max_size=3))
    upto = data.draw(st.integers(at, min(len(good), at + 600)))
    told = good[:at] + other + good[upto:]
    try:
        found = examine(told, SIGNER.key)
    except RecordingError:
        return
    # A footer that is cut off is no loss: every record is there, and signed.
    assert found.faults or not found.ended or good.startswith(told)


def test_every_bit_of_the_footer_and_of_what_stands_in_its_place_is_judged() -> None:
    """Each flipped bit of it is found, and the message says which bytes; cut off anywhere it is no lie."""
    records, good = b"".join(FRAMES), whole(FRAMES)
    for bit in range(8 * len(records), 8 * len(good)):
        data = bytearray(good)
        data[bit // 8] ^= 1 << bit % 8
        assert f"bytes {len(records)} to {len(good) - 1}" in "\n".join(examine(bytes(data)).faults)
    assert all(examine(good[:upto]).faults == () for upto in range(len(records), len(good)))


def test_record_that_swallows_those_behind_it_is_not_taken_for_a_torn_one() -> None:
    """A length that was altered makes a record go on to the end of an open recording: it is named."""
    for number in range(1, len(FRAMES) - 1):
        frames = [bytearray(frame) for frame in FRAMES[:-1]]
        start = len(FRAMES[number]) - len(pad_of(FRAMES[number])) - 2
        frames[number][start] ^= 0x80
        faults = examine(b"".join(frames)).faults
        last = number == len(FRAMES) - 2
        assert faults == () if last else f"record {number}: altered" in faults[0]


def test_lies_are_told_without_the_ships_key() -> None:
    """The stranger of these tests has another one."""
    assert STRANGER.key != SIGNER.key
