"""`offing find` against a relay: what is typed is in the journal as it was meant, and stays there."""

import asyncio
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dives import SECOND
from peers import until
from relay.__main__ import _parser, main
from relay.core.find import Drawing, Drawn, FileReference, Find, FindPlace, Shape
from relay.core.finds import FindRecord, Finds, finds_in
from relay.shell.desk.desk_finds import FINDS, WORDS, find_parts
from relay.shell.desk.tell_words import say_status
from relay.shell.finds.find_files import kept_path
from relay.shell.finds.finding import drawn_elsewhere
from relay.shell.record.checkpoint import read_checkpoint
from relay.shell.record.journal import read_marks, read_rows
from relay.shell.ship.ship import Ship
from ship_in_hand import QUICK, sailing

LINE = {"type": "LineString", "coordinates": [[-21.93306, -38.61472], [-21.93301, -38.61475]]}
SECTION = Drawing(kind=Drawn.SECTION, shape=Shape.LINE, points=((-21.93306, -38.61472), (-21.93301, -38.61475)))


async def offing(folder: Path, *typed: str) -> int:
    """Run `offing find` on a folder's expedition file, beside the relay, and return how it ended."""
    command = ["find", str(folder / "EXPEDITION.toml"), *typed, "--who", "Ines"]
    return await asyncio.to_thread(main, command)


def kept(folder: Path) -> Finds:
    """Return the finds that the journal on the disk tells of."""
    return finds_in(read_rows(folder / "private" / "journal.db"))


def camera(folder: Path) -> list[Path]:
    """Write an expedition file, a section and three files on the disk; return the last."""
    (folder / "EXPEDITION.toml").write_text(QUICK, encoding="utf-8")
    (folder / "cut.geojson").write_text(json.dumps(LINE), encoding="utf-8")
    paths = [folder / name for name in ("IMG_1.JPG", "IMG_2.JPG", "bell.pdf")]
    for path in paths:
        path.write_bytes(path.name.encode() * 1_000)
    return paths


async def test_find_is_journalled_whole_with_its_files_and_only_superseded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As typed to the last digit; a second record adds a photograph, and the first stays as found byte for byte."""
    files = camera(tmp_path)
    first, second, sheet = map(str, files)
    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        typed = ["--what", "ship's bell", "--at", "-38.614720123", "-21.933060456", "--within", "4.5 m"]
        drawn = ["--photo", first, "--drawing", sheet, "--section", str(tmp_path / "cut.geojson")]
        assert await offing(tmp_path, "the bell", *typed, "--depth", "1103.4 m", "--vehicle", "Lantern", *drawn) == 0
        said = capsys.readouterr().out
        row = ship.pipeline.finds.records[0].row
        assert f'Find "the bell", as found: row {row}.' in said
        assert "-38.61472012, -21.93306046 (95 % within 4.5 m). It stays on the ship." in said
        assert "photographs: 1, drawings: 2" in said
        as_found = kept(tmp_path).records[0]
        assert await offing(tmp_path, "the bell", "--what", "handbell") == 2
        assert f"recorded as found in row {row}, and nothing overwrites that" in capsys.readouterr().err
        later = ["--supersedes", str(row), "--what", "handbell", "--photo", second]
        later += ["--photo-elsewhere", "DSC_7.NEF", "ab" * 32, "61000000"]
        assert await asyncio.to_thread(main, ["find", str(tmp_path), "the bell", *later, "--who", "Ines"]) == 0
        assert f"supersedes row {row}, which stays" in capsys.readouterr().out
        known_now = f"as found in row {row}: ship's bell; now: handbell; -38.614720"
        assert f'find "the bell", row {row + 1}, {known_now}' in say_status(ship.status())
    check_kept(tmp_path, files, as_found)


def check_kept(folder: Path, files: list[Path], as_found: FindRecord) -> None:
    """Assert that the journal has the find as it was typed, and the folder its files, byte for byte."""
    (known,) = kept(folder)
    references = [FileReference(path.name, digest(path), path.stat().st_size) for path in files]
    whole = Find(
        name="the bell", what="ship's bell", depth_m=1103.4, vehicle="Lantern",
        place=FindPlace(latitude_deg=-38.614720123, longitude_deg=-21.933060456, radius_95_m=4.5),
        drawings=(SECTION, Drawing(kind=Drawn.PLAN, file=references[2])), photographs=(references[0],),
    )  # fmt: skip
    assert known.as_found == as_found
    assert (known.as_found.find, known.as_found.who) == (whole, "Ines")
    photographs = (*references[:2], FileReference("DSC_7.NEF", "ab" * 32, 61_000_000))
    assert known.current.find == replace(whole, what="handbell", photographs=photographs, supersedes=as_found.row)
    for reference, path in zip(references, files, strict=True):
        assert kept_path(folder / "private", reference).read_bytes() == path.read_bytes()
    assert list((folder / "released").rglob("*.recording")) == []


def begins_at(folder: Path, ship: Ship) -> int:
    """Return the row at which a restart would begin, by what is on the disk."""
    mark = read_marks(folder / "private" / "journal.db").get("checkpoint")
    point = read_checkpoint(mark, ship.expedition.plan)
    return 1 if point is None else point.row


async def test_finds_are_known_after_a_restart_that_begins_behind_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every record, with its row, its time and who made it; the next one supersedes it as before."""
    camera(tmp_path)
    monkeypatch.setattr("relay.shell.ship.ship.BEAT_S", 0.05)
    async with asyncio.timeout(60):
        async with sailing(tmp_path) as ship:
            assert await offing(tmp_path, "the bell", "--what", "ship's bell") == 0
            row = ship.pipeline.finds.records[0].row
            assert await offing(tmp_path, "the bell", "--supersedes", str(row), "--depth", "1103 m") == 0
            before = ship.pipeline.finds.records
            await until(lambda: begins_at(tmp_path, ship) > row + 1)
        async with sailing(tmp_path) as again:
            assert again.pipeline.first_row > before[-1].row
            assert again.pipeline.finds.records == before
            assert await offing(tmp_path, "the bell", "--supersedes", str(row)) == 2
            assert await offing(tmp_path, "the bell", "--supersedes", str(row + 1), "--what", "handbell") == 0
    assert [record.find.what for record in kept(tmp_path).records] == ["ship's bell", "ship's bell", "handbell"]


def digest(path: Path) -> str:
    """Return the digest in the name of the copy that has these bytes."""
    copies = (path.parent / "private" / "finds").iterdir()
    return next(copy.stem for copy in copies if copy.read_bytes() == path.read_bytes())


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        (["a jar", "--what", "jar", "--photo-elsewhere", "a.jpg", "ab" * 32, "4 MB"], "'4 MB' is not a size in bytes"),
        (["a jar", "--what", "jar", "--photo-elsewhere", "a.jpg", "ab", "4"], "the sha256 of a.jpg is not the SHA-256"),
        (["a jar", "--what", "jar", "--within", "4 m"], "--within says how well --at is known"),
        (["a jar", "--what", "jar", "--depth", "1103"], "--depth: '1103' is not a length; write it as \"25 m\""),
        (["a jar", "--what", "jar", "--at", "91", "0"], "latitude_deg is a number from -90 to 90 degrees"),
        (["a jar", "--what", "jar", "--at", "nan", "0"], "latitude_deg is a number from -90 to 90 degrees"),
        (["a jar", "--what", " "], "what is a text that is not empty"),
        (["a jar", "--what", "jar", "--plan", "none.geojson"], "none.geojson can't be read"),
        (["a jar", "--what", "jar"], "no relay runs on"),
    ],
)
async def test_find_that_is_typed_wrong_is_refused_before_anything_is_kept(
    typed: list[str], why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The message says which option; no file is copied for a record that can't be, or without a relay to take it."""
    (tmp_path / "EXPEDITION.toml").write_text(QUICK, encoding="utf-8")
    photo = tmp_path / "IMG_1.JPG"
    photo.write_bytes(b"x")
    assert await offing(tmp_path, *typed, "--photo", str(photo)) == 2
    assert why in capsys.readouterr().err
    assert not (tmp_path / "private" / "finds").exists()


OUTLINE = ((-21.93306, -38.61472), (-21.93296, -38.61472), (-21.93306, -38.61462), (-21.93306, -38.61472))


@pytest.mark.parametrize(
    ("moved_deg", "radius_m", "told"),
    [(0.0, 5.0, None), (0.0001, 5.0, None), (0.0, None, None), (0.002, 12.6, "219 m"), (0.002, 230.0, None)],
)
def test_drawing_far_from_its_find_is_told(moved_deg: float, radius_m: float | None, told: str | None) -> None:
    """Farther than the place is uncertain and the drawing large (a degree of latitude is 111.01 km there: WGS84)."""
    place = {"latitude_deg": -38.61472 - moved_deg, "longitude_deg": -21.93306, "radius_95_m": radius_m}
    drawing = Drawing(kind=Drawn.OUTLINE, shape=Shape.AREA, points=OUTLINE)
    said = drawn_elsewhere([SECTION, drawing], place)
    assert said is None if told is None else said is not None and re.search(f"lies {told} from where", said)
    assert drawn_elsewhere([drawing], None) is None


def test_place_is_given_or_taken_from_a_target_not_both(capsys: pytest.CaptureFixture[str]) -> None:
    """The arguments themselves refuse it; a repeated --photo adds to those before."""
    parse = _parser().parse_args
    with pytest.raises(SystemExit):
        parse(["find", "x.toml", "a jar", "--target", "a", "--at", "1", "2"])
    assert "not allowed with argument" in capsys.readouterr().err
    both = parse(["find", "x.toml", "a jar", "--photo", "a", "b", "--photo", "c"])
    assert both.photo == [Path("a"), Path("b"), Path("c")]


def test_desk_and_status_are_given_the_newest_finds_with_how_they_were_found() -> None:
    """At the limit the ones recorded last, in the order in which they were first; how many there are is told."""
    finds = Finds()
    place = FindPlace(latitude_deg=-38.6, longitude_deg=-21.9, target="anomaly 3", target_row=2)
    for at in range(1, FINDS + 2):
        finds.take(at, at * SECOND, 0.0, "Ines", Find(name=f"no. {at}", what="jar", place=place))
    finds.take(900, 900 * SECOND, 0.0, "Ada", Find(name="no. 1", what="amphora", depth_m=30.0, supersedes=1))
    parts = find_parts(finds, 1_000 * SECOND)
    assert [part["name"] for part in parts] == ["no. 1", *(f"no. {at}" for at in range(3, FINDS + 2))]
    told: dict[str, Any] = {
        "row": 900, "at_us": 900 * SECOND, "ago_s": 100.0, "who": "Ada", "what": "amphora", "latitude_deg": -38.6,
        "longitude_deg": -21.9, "radius_95_m": None, "target": "anomaly 3", "depth_m": 30.0,
    }  # fmt: skip
    first = {**told, "row": 1, "at_us": SECOND, "ago_s": 999.0, "who": "Ines", "what": "jar", "depth_m": None}
    assert parts[0] == {
        "name": "no. 1", **told, "vehicle": None, "photographs": 0, "drawings": 0, "records": 2, "as_found": first,
    }  # fmt: skip
    assert find_parts(Finds(), 0) == []
    finds.take(901, 0, 0.0, "Ada", Find(name="long", what="x" * WORDS))
    finds.take(902, 0, 0.0, "Ada", Find(name="longer", what="x" * (WORDS + 1)))
    assert [part["what"] for part in find_parts(finds, 0)[-2:]] == ["x" * WORDS, "x" * (WORDS - 1) + "…"]
