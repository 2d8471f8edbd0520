"""Where what is exact may lie: in plain in the private folder alone, never where anything released lies."""

from pathlib import Path

import pytest

from expeditions import RIGHT
from relay.core.errors import OperatorError
from relay.shell.desk.control import NAME as CONTROL
from relay.shell.desk.desk_token import NAME as TOKEN
from relay.shell.desk.guest_book import NAME as GUESTS
from relay.shell.desk.watch_file import NAME as WATCH
from relay.shell.finds.find_files import FOLDER as FINDS
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.proofs.sums import NAME as SUMS
from relay.shell.record.exact_place import SITE_FILES, SITE_FOLDERS, check_exact_place
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.recovered import NAME as RECOVERED
from relay.shell.record.secrets_file import LOCKED, NAME
from relay.shell.record.still_file import FOLDER as STILLS
from relay.shell.ship.audit_result import NAME as AUDIT


@pytest.fixture
def site(tmp_path: Path) -> Expedition:
    """Return a site with both its folders."""
    (tmp_path / "EXPEDITION.toml").write_text(RIGHT)
    expedition = read_expedition(tmp_path / "EXPEDITION.toml")
    expedition.private.mkdir()
    (expedition.released / "public").mkdir(parents=True)
    return expedition


def test_private_folder_takes_both(site: Expedition) -> None:
    """Plain or encrypted, in the private folder and in a folder below it."""
    (site.private / "below").mkdir()
    for out in (site.private / "all.gpkg", site.private / "below" / "all.gpkg"):
        for encrypted in (False, True):
            check_exact_place(out, site, encrypted=encrypted)


def test_elsewhere_it_is_encrypted(site: Expedition, tmp_path: Path) -> None:
    """Beside the folder, up from it, and through a link out of it only what is encrypted goes."""
    (site.private / "way").symlink_to(tmp_path)
    for out in (tmp_path / "all.gpkg", site.private / ".." / "all.gpkg", site.private / "way" / "all.gpkg"):
        with pytest.raises(OperatorError, match=r"only encrypted: give .*--to"):
            check_exact_place(out, site, encrypted=False)
        check_exact_place(out, site, encrypted=True)


@pytest.mark.parametrize("encrypted", [False, True])
@pytest.mark.parametrize("over", [False, True])
def test_nothing_exact_lies_among_what_is_released(
    site: Expedition, tmp_path: Path, encrypted: bool, over: bool
) -> None:
    """Not even encrypted, nor through a link: what lies there is copied ashore."""
    (tmp_path / "way").symlink_to(site.released / "public")
    for folder in (site.released, site.released / "public", tmp_path / "way"):
        with pytest.raises(OperatorError, match="everything is public"):
            check_exact_place(folder / "all.age", site, encrypted=encrypted, over=over)


def test_site_s_own_files_keep_their_names(site: Expedition) -> None:
    """Whatever is asked for, and whether the file is there: each name that a module of ours gives is known here."""
    named = {CONTROL, TOKEN, GUESTS, WATCH, SUMS, JOURNAL, RECOVERED, NAME, LOCKED, AUDIT}
    assert named <= SITE_FILES and {STILLS, FINDS} == SITE_FOLDERS
    places = [*(site.private / name for name in named), site.private / FINDS / "x", site.private / STILLS, site.path]
    for out in places:
        with pytest.raises(OperatorError, match="a file of the site's own"):
            check_exact_place(out, site, encrypted=True, over=True)


def test_what_is_there_is_said_before_the_work(site: Expedition) -> None:
    """A file unless it may be replaced, a folder always, and a folder that is none."""
    there = site.private / "all.gpkg"
    there.write_bytes(b"x")
    with pytest.raises(OperatorError, match="is there already"):
        check_exact_place(there, site, encrypted=False)
    check_exact_place(there, site, encrypted=False, over=True)
    (site.private / "link").symlink_to(there)
    (site.private / "to nowhere").symlink_to(site.private / "nothing")
    for name in ("link", "to nowhere"):
        with pytest.raises(OperatorError, match="is there already"):
            check_exact_place(site.private / name, site, encrypted=False)
        with pytest.raises(OperatorError, match="is a link"):
            check_exact_place(site.private / name, site, encrypted=False, over=True)
    (site.private / "below").mkdir()
    for out, why in [(site.private / "below", "is a folder"), (site.private / "none" / "x", "is no folder")]:
        with pytest.raises(OperatorError, match=why):
            check_exact_place(out, site, encrypted=False, over=True)
