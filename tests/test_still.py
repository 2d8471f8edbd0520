"""What may be a still: bytes are altered one at a time, and a dive with stills is released under its embargo."""

from io import BytesIO

import pytest
from PIL import Image

from dives import SECOND, SECRETS, decided, dive_rows, in_order, plan, policy, run, sent
from relay.core.decision import Cut, Say, read_decision, write_decision
from relay.core.errors import OperatorError
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed
from relay.core.release import Kind
from relay.core.still import JFIF, OCTET_LIMIT, SIDE_LIMIT, STILLS_A_DIVE, Still, jpeg_size, read_still, write_still


def jpeg(size: tuple[int, int] = (64, 48), colour: str = "teal", **named: object) -> bytes:
    """Return a JPEG as Pillow writes it."""
    out = BytesIO()
    Image.new("RGB", size, colour).save(out, "JPEG", **named)
    return out.getvalue()


STILL = Still(jpeg(), "0f" * 32)
PLAIN = STILL.jpeg


def test_size_is_what_pillow_reads() -> None:
    """Baseline and progressive, up to the most pixels a side."""
    for size in ((1, 1), (64, 48), (SIDE_LIMIT, SIDE_LIMIT)):
        assert [jpeg_size(jpeg(size, progressive=kind)) for kind in (False, True)] == [size, size]


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "at most"),
        (bytes(OCTET_LIMIT + 1), "at most"),
        (jpeg((SIDE_LIMIT + 1, 8)), "1025"),
        (jpeg(comment=b"x"), "FFFE"),
        (jpeg(exif=b"Exif\0\0MM\0*\0\0\0\x08\0\0\0\0\0\0"), "segment FFE1"),
        (jpeg(icc_profile=bytes(200)), "segment FFE2"),
        (jpeg(dpi=(72, 72)), "the one JFIF segment"),
        (PLAIN.replace(JFIF, b""), "the one JFIF segment"),
        (PLAIN + b"PK", "2 bytes behind its end"),
        (PLAIN[:-2], "cut off"),
        (PLAIN[:200], "no segment"),
        (b"\xff\xd8" + JFIF + b"\xff\xd9", "no picture"),
    ],
)
def test_anything_but_plain_pixels_is_refused(data: bytes, why: str) -> None:
    """Whoever encoded it: a still can't be made of it."""
    with pytest.raises(OperatorError, match=why):
        Still(data, "0f" * 32)


WRITTEN = write_still(STILL)
BROKEN = [None, [], {}, {**WRITTEN, "jpeg": "!"}, {**WRITTEN, "jpeg": 1}, {**WRITTEN, "exif": ""}]


@pytest.mark.parametrize("value", [*BROKEN, {**WRITTEN, "original": "x"}])
def test_still_that_is_none_is_refused(value: object) -> None:
    """In a message or a row: wrong kinds, base64 that is none, more than there is."""
    with pytest.raises(OperatorError):
        read_still(value)


def test_still_comes_back_from_its_journal_row() -> None:
    """The very bytes, whatever encoder is installed by then."""
    said = Say(text="the boiler", still=STILL)
    assert read_decision(write_decision(said, "a test")) == said


def released(*decisions: object, **changes: object) -> list[tuple[Kind, object]]:
    """Return kind and body of what an audience is told by the desk in a dive of 120 s."""
    desk = [decided(at_s * SECOND, decision) for at_s, decision in decisions]  # type: ignore[misc, has-type]
    due = run(Pipeline(plan(policy(**changes)), SECRETS), in_order(dive_rows(120), desk))
    told = [item.record for item in due if item.record.kind in (Kind.NOTE, Kind.STILL)]
    return [(record.kind, record.body) for record in told if not str(record.body[1]).startswith("note ")]


SAID = (40, Say(text="the boiler", vehicle="Lantern", still=STILL))


def test_still_is_released_where_it_is_named_and_its_words_alone_elsewhere() -> None:
    """Of the original nothing leaves, not even its digest."""
    assert released(SAID) == [(Kind.STILL, [0, "the boiler", 64, 48, PLAIN])]
    assert released(SAID, fields=frozenset(Disclosed) - {Disclosed.STILLS}) == [(Kind.NOTE, [0, "the boiler"])]
    assert released(SAID, fields=frozenset(Disclosed) - {Disclosed.NOTES}) == []


def test_still_is_cut_and_is_kept_back_with_words_that_tell_a_place() -> None:
    """It goes the way of its annotation."""
    assert released(SAID, (45, Cut(from_us=39 * SECOND, to_us=41 * SECOND))) == []
    assert released((40, Say(text="38.61472S, 21.93306W", still=STILL))) == []


def test_still_changes_nothing_before_its_delay() -> None:
    """R2: with one still, with another, and without, the same bytes leave at the same moments until it is due."""
    outs = []
    for still in (STILL, Still(jpeg((640, 480), "white"), "1e" * 32), None):
        desk = [decided(40 * SECOND, Say(text="the boiler", still=still))] if still else []
        outs.append(sent(run(Pipeline(plan(), SECRETS), in_order(dive_rows(120), desk))))
    early = [[item for item in out if item[0] < 60 * SECOND] for out in outs]
    assert early[0] == early[1] == early[2]
    assert len(early[0]) > 5
    assert outs[0] != outs[1] != outs[2]


def test_dive_has_a_bounded_number_of_stills() -> None:
    """One more than the limit is told in words alone."""
    told = released(*[(40, Say(text=f"number {at}", still=STILL)) for at in range(STILLS_A_DIVE + 1)])
    assert [kind for kind, _ in told] == [Kind.STILL] * STILLS_A_DIVE + [Kind.NOTE]
