"""What is known of finds: as found, superseded, current; and what is refused before it is journalled."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dives import decided, in_order
from relay.core.decision import Begin, Decision, End, write_decision
from relay.core.errors import OperatorError
from relay.core.find import PHOTOGRAPHS_LIMIT, Drawing, Drawn, FileReference, Find, FindPlace, Shape
from relay.core.finds import FINDS_LIMIT, Finds, finds_in, target_place
from relay.core.model import Row, RowKind
from relay.core.target_position import Target, spread_of

PLACE = FindPlace(latitude_deg=-38.61472, longitude_deg=-21.93306, radius_95_m=4.5)
PHOTO = FileReference("IMG_0031.JPG", "ab" * 32, 4_200_000)
LINE = Drawing(kind=Drawn.SECTION, shape=Shape.LINE, points=((-21.0, -38.0), (-21.0, -38.1)))
BELL = Find(name="the bell", what="a ship's bell", place=PLACE, depth_m=1_103.0, photographs=(PHOTO,), drawings=(LINE,))


def kept(*decisions: Decision, **limits: int) -> Finds:
    """Return what is known after finds were recorded in rows 1, 2, 3, ..."""
    finds = Finds(**limits)
    for row, find in enumerate(decisions, 1):
        assert isinstance(find, Find)
        finds.take(row, row * 1_000_000, 1e9 + row, "Ada", find)
    return finds


def test_first_record_stays_as_found_whatever_follows() -> None:
    """A later record takes over what it doesn't say, and changes nothing of those before it."""
    later = Find(name="the bell", what="a handbell", supersedes=1)
    finds = kept(BELL, later, Find(name="the bell", depth_m=1_104.5, supersedes=2))
    known = finds.get("the bell")
    assert known is not None
    assert known.as_found.find == BELL
    assert [record.find for record in known.superseded] == [BELL, replace(BELL, what="a handbell", supersedes=1)]
    assert known.current.find == replace(BELL, what="a handbell", depth_m=1_104.5, supersedes=2)
    assert [record.as_found for record in known.records] == [True, False, False]
    assert [record.supersedes for record in known.records] == [None, 1, 2]
    assert (known.current.who, known.current.wall_s, known.current.at_us) == ("Ada", 1e9 + 3, 3_000_000)


def test_empty_lists_take_files_away_and_missing_ones_leave_them() -> None:
    """A superseding record without photographs keeps them; one that says there are none, has none."""
    finds = kept(BELL, Find(name="the bell", photographs=(), supersedes=1))
    current = finds.get("the bell")
    assert current is not None
    assert (current.current.find.photographs, current.current.find.drawings) == ((), (LINE,))


def test_files_are_added_to_those_there_each_once() -> None:
    """Another photograph of a find that is known needs no list of those before; a whole row adds nothing again."""
    other = FileReference("IMG_0032.JPG", "cd" * 32, 10)
    finds = kept(BELL, Find(name="the bell", photographs=(PHOTO, other), adds=True, supersedes=1))
    (known,) = finds
    assert known.current.find == replace(BELL, photographs=(PHOTO, other), supersedes=1)
    many = tuple(replace(other, name=f"{at}.jpg") for at in range(PHOTOGRAPHS_LIMIT - 1))
    finds.check(Find(name="the bell", photographs=many[:-1], adds=True, supersedes=2))
    with pytest.raises(OperatorError, match=f"at most {PHOTOGRAPHS_LIMIT} photographs"):
        finds.check(Find(name="the bell", photographs=many, adds=True, supersedes=2))


@pytest.mark.parametrize(
    ("find", "why"),
    [
        (replace(BELL, what="another bell"), "recorded as found in row 1, and nothing overwrites that"),
        (replace(BELL, supersedes=1), "row 1 is not what is known now of the find \"the bell\": that is row 2, by Ada"),
        (replace(BELL, supersedes=9), "that is row 2, by Ada"),
        (replace(BELL, name="the wheel", supersedes=1), 'no find "the wheel" to supersede a record of; recorded: "'),
        (Find(name="the wheel"), 'say what the find "the wheel" is'),
    ],
)  # fmt: skip
def test_record_that_would_overwrite_is_refused(find: Find, why: str) -> None:
    """A name that is taken, a record superseded already or of another find, and a find of nothing."""
    finds = kept(BELL, replace(BELL, supersedes=1))
    with pytest.raises(OperatorError) as caught:
        finds.check(find)
    assert why in str(caught.value)
    finds.check(replace(BELL, supersedes=2))
    finds.check(replace(BELL, name="the wheel"))


def test_place_is_taken_from_a_target_with_its_ellipse() -> None:
    """As it was known then: name, row, position, and how well that is known; a target without one is refused."""
    placed = Target(-38.6, -21.9, 90.0, 35.0, spread_of(9.0, 4.0, 1.0), True)
    targets = {"the anomaly": target_place("the anomaly", 7, placed)}
    find = Finds().completed(Find(name="the bell", what="a bell", target="the anomaly"), targets)
    assert find.target is None and find.place is not None
    spread = placed.spread
    assert find.place == FindPlace(
        latitude_deg=-38.6, longitude_deg=-21.9, radius_95_m=spread.radius_95_m, major_95_m=spread.major_95_m,
        minor_95_m=spread.minor_95_m, major_azimuth_deg=spread.major_azimuth_deg, target="the anomaly", target_row=7,
    )  # fmt: skip
    with pytest.raises(OperatorError, match=r'"the wheel" lies isn.t known; .*: "the anomaly"'):
        Finds().completed(Find(name="the bell", target="the wheel"), targets)


def test_records_and_points_are_bounded_each_at_its_limit() -> None:
    """At the limit a record is taken; one past it is refused, and not kept where it comes from elsewhere."""
    wheel = replace(BELL, name="the wheel")
    finds = kept(BELL, wheel, limit=2)
    with pytest.raises(OperatorError, match=r"there are 2 records of finds .* room for 2"):
        finds.check(replace(BELL, supersedes=1))
    assert finds.take(3, 0, 0.0, "Ada", replace(BELL, supersedes=1)) is None
    assert [record.row for record in finds.records] == [1, 2]
    kept(BELL, points_limit=4).check(wheel)
    with pytest.raises(OperatorError, match=r"with 2 points .* and 3"):
        kept(BELL, points_limit=3).check(wheel)
    with pytest.raises(OperatorError, match="leave drawings away"):  # what it takes over counts, too
        kept(BELL, points_limit=3).check(Find(name="the bell", supersedes=1))


def test_site_has_room_for_two_thousand_records() -> None:
    """That many are known at once, each a find of its own; one more is refused, and isn't kept."""
    assert FINDS_LIMIT == 2_000
    finds = kept(*(Find(name=f"no. {number}", what="sherd") for number in range(FINDS_LIMIT)))
    assert len(finds) == FINDS_LIMIT
    one_more = Find(name="one more", what="sherd")
    with pytest.raises(OperatorError, match="room for 2000"):
        finds.check(one_more)
    assert finds.take(FINDS_LIMIT + 1, 0, 0.0, "Ada", one_more) is None and len(finds) == FINDS_LIMIT


NAMES = st.sampled_from(["the bell", "the wheel", "a jar"])
STEPS = st.lists(
    st.builds(
        Find, name=NAMES, what=st.none() | st.sampled_from(["iron", "wood"]), supersedes=st.none() | st.integers(1, 9),
        depth_m=st.none() | st.floats(0, 100), drawings=st.none() | st.just(()) | st.just((LINE,)), adds=st.booleans(),
    ),
    max_size=9,
)  # fmt: skip


@given(STEPS)
def test_every_record_of_a_journal_is_found_again(steps: list[Find]) -> None:
    """Whatever the rows say of each other: none is lost, each find's first stays first, and each is told in order."""
    journal = in_order([decided(1, Begin())], [decided(10 + at, find) for at, find in enumerate(steps)])
    finds = finds_in([*journal, decided(99, End()), Row(99, 100, 0.0, "desk", RowKind.DECISION, b"{")])
    assert [(record.row, record.find.name) for record in finds.records] == [
        (row.seq, find.name) for row, find in zip(journal[1:], steps, strict=True)
    ]
    for known in finds:
        mine = [record.row for record in finds.records if record.find.name == known.name]
        assert [record.row for record in known.records] == mine
        assert [record.supersedes for record in known.records] == [None, *mine[:-1]]
        first = next(find for find in steps if find.name == known.name)
        assert known.as_found.find == replace(first, adds=False, drawings=first.drawings or (), photographs=())


@given(STEPS)
def test_completed_records_tell_the_same_as_those_that_leave_things_out(steps: list[Find]) -> None:
    """The relay journals records whole; read again they are the same, so a row stands for itself."""
    short, whole = Finds(), Finds()
    for row, find in enumerate(steps, 1):
        full = whole.completed(find, {})
        assert write_decision(full, "Ada").count(b"null") <= write_decision(find, "Ada").count(b"null")
        for finds, said in ((short, find), (whole, full)):
            finds.take(row, row, 0.0, "Ada", said)
    assert short.records == whole.records
