"""The CSV of an export: RFC 4180 read by the standard library, every cell what was put in."""

import csv
import io
import random
import re
import zipfile
from datetime import datetime
from pathlib import Path

import pytest
from shapely import from_wkt

from exported_site import LANTERN, exported_site, lantern
from record_site import Site
from relay.__main__ import main
from relay.core.decision import Say
from relay.shell.exact.zipped import new_zip, text_in

Rows = list[dict[str, str]]


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Rows]:
    """Return the tables of the site's export by name."""
    site = exported_site(tmp_path_factory.mktemp("site"))
    path = site.private / "all.zip"
    assert main(["journal", "export", str(site.expedition.path), "--format", "csv", "--out", str(path)]) == 0
    return read_zip(path)


def read_zip(path: Path) -> dict[str, Rows]:
    """Return the tables in a .zip."""
    with zipfile.ZipFile(path) as packed:
        assert packed.testzip() is None
        texts = {name: packed.read(name).decode("utf-8") for name in packed.namelist()}
    read = {name: list(csv.reader(io.StringIO(text, newline=""), strict=True)) for name, text in texts.items()}
    assert all(len(row) == len(lines[0]) for lines in read.values() for row in lines)
    return {
        name.removesuffix(".csv"): [dict(zip(lines[0], row, strict=True)) for row in lines[1:]]
        for name, lines in read.items()
    }


def test_numbers_come_back_bit_by_bit(tables: dict[str, Rows]) -> None:
    """What the station sent is what the cells tell, read as doubles: no digit is lost."""
    mine = [row for row in tables["fixes"] if row["feed"] == "main"]
    assert len(mine) == LANTERN
    for at, row in enumerate(mine, 10):
        sent = lantern(at)
        assert {name: float(row[name]) for name in sent if name not in ("vehicle", "t")} == {
            name: value for name, value in sent.items() if name not in ("vehicle", "t")
        }
        assert float(row["time_unix_s"]) == sent["t"]
        assert datetime.fromisoformat(row["time"]).timestamp() == sent["t"]


def test_quotes_and_shapes_are_told_so_that_others_read_them(tables: dict[str, Rows]) -> None:
    """A text with a comma and quotes is one cell; lines and areas are well-known text that GEOS reads."""
    assert [row["text"] for row in tables["annotations"]] == ['The bow, "upright".', "Gold?"]
    assert [row["state"] for row in tables["annotations"]] == ["told", "waits"]
    track = from_wkt(tables["tracks"][0]["shape_wkt"])
    assert sum(len(part.coords) for part in track.geoms) == LANTERN + 2  # and the two where it is cut
    assert from_wkt(tables["target_ellipses"][0]["shape_wkt"]).is_valid


def test_dictionary_explains_every_column(tables: dict[str, Rows]) -> None:
    """Each column of each file has a line that says what it means, and numbers with a unit in their name have one."""
    told = {(row["table_name"], row["column_name"]): row for row in tables["data_dictionary"]}
    for name, rows in tables.items():
        for column in rows[0] if rows else ():
            if column != "shape_wkt":
                assert told[name, column]["meaning"]
    unitless = [pair for pair, row in told.items() if re.search(r"_(m|deg|mps|us|dbar)$", pair[1]) and not row["unit"]]
    assert unitless == []


def test_no_text_is_a_formula(tmp_path: Path) -> None:
    """What a spreadsheet would take for a formula has an apostrophe before it; so has what begins with one.

    Taken away again, each is what was said. (CWE-1236, and common practice, for which signs those are.)
    """
    texts = ['=HYPERLINK("//ship.example")', "+1", "-1", "@SUM(1)", "'=1", "no = sign", "1+1"]
    site = Site(tmp_path, *((float(at), Say(text=text)) for at, text in enumerate(texts, 1)))
    path = site.private / "all.zip"
    assert main(["journal", "export", str(site.expedition.path), "--format", "csv", "--out", str(path)]) == 0
    written = [row["text"] for row in read_zip(path)["annotations"]]
    assert [text[:1] for text in written] == ["'"] * 5 + ["n", "1"]
    assert [text.removeprefix("'") for text in written] == texts


MADE = datetime(2026, 3, 1, 12, 0)  # noqa: DTZ001 - a .zip's times have no zone


def test_long_text_is_packed_whole_and_in_order(tmp_path: Path) -> None:
    """A thread packs it in parts while it is written: the library reads back every letter, of two files."""
    texts = {name: "".join(f"{name} {number:07d}\r\n" for number in range(400_000)) for name in ("a", "b")}
    with new_zip(tmp_path / "long.zip") as packed:
        for name, text in texts.items():
            with text_in(packed, name, MADE) as file:
                for at in range(0, len(text), 70_000):
                    file.write(text[at : at + 70_000])
    with zipfile.ZipFile(tmp_path / "long.zip") as packed:
        assert packed.testzip() is None
        assert {name: packed.read(name).decode() for name in packed.namelist()} == texts


def test_disk_that_fails_while_it_is_packed_is_told() -> None:
    """The fault of the thread comes out where the text is written, or where it ends; nothing hangs."""
    for parts in (1, 320):
        texts = [random.Random(at).randbytes(1 << 16).hex() for at in range(parts)]
        with (
            pytest.raises(OSError, match="No space"),
            new_zip(Path("/dev/full")) as packed,
            text_in(packed, "a", MADE) as file,
        ):
            file.writelines(texts)
