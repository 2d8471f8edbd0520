"""What lies beside the journal is checked, too: each file that was altered or is missing is found and named."""

import sqlite3
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest

from dives import decided
from relay.core.find import Drawing, Drawn, FileReference, Find
from relay.core.policy import SourcePlan
from relay.shell.finds.find_files import keep_file, kept_path
from relay.shell.proofs.checking import check
from relay.shell.record.journal import JournalFile
from relay.shell.record.recovered import RecoveredLog, keep_log
from relay.shell.record.still_file import FOLDER as STILLS
from relay.shell.released.programme_file import NAME as PROGRAMME
from released import programme
from sealed_site import Site, copied, make_site
from test_checking import wrong


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """A site after a dive."""
    return make_site(tmp_path_factory.mktemp("site") / "a")


@pytest.fixture
def ours(site: Site, tmp_path: Path) -> Site:
    """A copy of it to be damaged."""
    return copied(site, tmp_path / "ours")


def test_imported_log_that_was_altered_is_told(ours: Site) -> None:
    """By its digest."""
    source = SourcePlan(name="station", format="station-json")
    log = RecoveredLog(
        vehicle="Moth", name="moth.jsonl", who="a test", wall_s=1.0, source=source, date_s=None,
        first_s=0.0, last_s=1.0, data=b'{"t": 0, "depth_m": 1}\n',
    )  # fmt: skip
    assert keep_log(ours.folder / "private", log) is None
    report = check(ours.read())
    assert (report.faults, report.lines[-3]) == (0, "imported logs: 1, 23 bytes, each with its digest: good")
    with sqlite3.connect(ours.folder / "private" / "recovered.db") as database:
        database.execute("UPDATE log SET data = ?", (b'{"t": 0, "depth_m": 2}\n',))
    database.close()
    assert "the bytes of moth.jsonl are not those that were imported" in wrong(ours)


def test_original_that_was_altered_is_told(ours: Site) -> None:
    """Of a still or a find: its name is its digest; a file of another name is nobody's claim."""
    paths = []
    for folder, ending in ((STILLS, ".jpg"), ("finds", ".png")):
        data = f"a picture of {folder}".encode()
        path = ours.folder / "private" / folder / f"{sha256(data).hexdigest()}{ending}"
        path.parent.mkdir()
        path.write_bytes(data)
        paths.append(path)
        (path.parent / "notes.txt").write_text("mine")
    report = check(ours.read())
    assert (report.faults, report.lines[-2][-43:]) == (0, "files of finds: 2, each with its digest: good"[-43:])
    for path in paths:
        path.write_bytes(path.read_bytes().replace(b"picture", b"pictura"))
    assert wrong(ours).count("was altered: its name is the digest that it had") == 2


def test_programme_that_was_altered_is_told(ours: Site) -> None:
    """Signed for its audience, and none other's; no programme at all is no fault."""
    path = ours.recording().with_name(PROGRAMME)
    for audience, words in (("public", None), ("family", "altered, or not signed with the ship's key")):
        path.write_bytes(programme(3, "The boiler.", audience=audience).data)
        report = check(ours.read())
        assert (f"{path}: signed: good" in report.lines) is (words is None)
        assert (words or "nothing") in "\n".join([*report.lines, "nothing"])
    path.write_bytes(b"\xc1")
    assert f"{path}: can't be read" in "\n".join(check(ours.read()).lines)


def test_file_that_a_find_tells_of_and_is_missing_cut_or_altered_is_told(ours: Site, tmp_path: Path) -> None:
    """A photograph and a drawing, by the find, the row, the file's own name."""
    private, kept = ours.folder / "private", list[FileReference]()
    for name in ("bell.jpg", "plan.svg"):
        (tmp_path / name).write_bytes(f"a picture: {name}".encode())
        kept.append(keep_file(private, tmp_path / name))
    find = Find(name="Bell", photographs=(kept[0],), drawings=(Drawing(kind=Drawn.PLAN, file=kept[1]),))
    row = replace(decided(1_200_000_000, find), seq=203)
    file = JournalFile(private)
    file.commit([row], {})
    file.close()
    report = check(ours.read())
    assert (report.faults, report.lines[-1]) == (0, "files that finds tell of: 2, each kept: good")
    bell, plan = (kept_path(private, reference) for reference in kept)
    plan.write_bytes(plan.read_bytes()[:-1])
    bell.unlink()
    told = wrong(ours)
    assert f"{bell} is missing: 'bell.jpg' of the find 'Bell', row 203" in told
    assert f"{plan} has 18 bytes, and had 19: 'plan.svg' of the find 'Bell', row 203" in told
    assert f"{plan} was altered: its name is the digest that it had" in told
