"""Where the built page is looked for."""

from pathlib import Path

import pytest

from relay.core.errors import OperatorError
from relay.shell.site.site_files import site_folder


def _page(folder: Path) -> Path:
    folder.mkdir(parents=True)
    (folder / "index.html").write_text("<!doctype html>")
    return folder


def test_page_of_the_checkout_is_found(tmp_path: Path) -> None:
    """A checkout without an installed page uses the one built in web/dist."""
    built = _page(tmp_path / "web" / "dist")
    assert built == site_folder(tmp_path / "relay")


def test_packaged_page_comes_first(tmp_path: Path) -> None:
    """An installed Offing shows the page it was installed with, whatever lies beside it."""
    _page(tmp_path / "web" / "dist")
    packaged = _page(tmp_path / "relay" / "site")
    assert packaged == site_folder(tmp_path / "relay")


def test_missing_page_is_said_with_its_remedy(tmp_path: Path) -> None:
    """Without a page the operator is told where it was looked for and what builds it."""
    (tmp_path / "web" / "dist").mkdir(parents=True)
    with pytest.raises(OperatorError, match="make site") as told:
        site_folder(tmp_path / "relay")
    assert str(tmp_path / "web" / "dist") in str(told.value)
