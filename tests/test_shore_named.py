"""What a shore's file names is tried, and each fault told with its line and what to do; nothing is left behind."""

from pathlib import Path

import pytest

from relay.core.errors import ShoreFileError
from relay.shell.shore.shore_file import read_shore_file
from relay.shell.shore.shore_named import check_named
from shores import RIGHT, changed, with_certificates

SITE = '[site]\nlisten = "127.0.0.1:0"'
UPLINK = '[uplink]\nlisten = "127.0.0.1:0"'


def said(folder: Path, text: str = RIGHT) -> str:
    """Return what is said of a file in a folder; nothing if all of it can be used."""
    (folder / "SHORE.toml").write_text(text)
    before = sorted(folder.rglob("*"))
    try:
        check_named(read_shore_file(folder / "SHORE.toml"))
    except ShoreFileError as error:
        return str(error)
    finally:
        assert sorted(folder.rglob("*")) == before
    return ""


def test_what_can_be_used_has_no_fault(tmp_path: Path) -> None:
    """Ports that are free, a pair that belongs together, a folder that isn't there yet or is."""
    assert said(with_certificates(tmp_path)) == ""
    (tmp_path / "shore").mkdir()
    assert said(tmp_path) == ""


def test_every_file_that_is_missing_is_told_with_its_line(tmp_path: Path) -> None:
    """Four files of two pairs: four lines, each with the key to change and how such a file is made."""
    text = changed(SITE, SITE + '\ncertificate = "site.pem"\nkey = "site.key"')
    lines = said(tmp_path, text).splitlines()
    begin = f"{tmp_path / 'SHORE.toml'} line"
    assert [line.partition(" can't be read")[0] for line in lines] == [
        f"{begin} 9: site.certificate: {tmp_path / 'site.pem'}",
        f"{begin} 10: site.key: {tmp_path / 'site.key'}",
        f"{begin} 14: uplink.certificate: {tmp_path / 'uplink.pem'}",
        f"{begin} 15: uplink.key: {tmp_path / 'uplink.key'}",
    ]
    assert "leave both out behind a proxy" in lines[0] and "openssl req -x509 -newkey ed25519" in lines[2]


@pytest.mark.parametrize(("part", "line"), [(SITE, 8), (UPLINK, 11)])
def test_address_of_another_machine_is_told(part: str, line: int, tmp_path: Path) -> None:
    """A name that is none here, and an address of RFC 5737's for documentation."""
    with_certificates(tmp_path)
    for host in ("dive.invalid", "192.0.2.7"):
        told = said(tmp_path, changed(part, part.replace("127.0.0.1:0", f"{host}:28444")))
        assert f"line {line}: " in told and f"listen: {host} is no address of this machine: listen at one" in told


def test_folder_in_which_nothing_can_be_kept_is_told(tmp_path: Path) -> None:
    """One that the kernel alone makes (proc(5)), and a file: where, why, and what to do."""
    with_certificates(tmp_path)
    named = 'open = ["public"]'
    for folder, words in (
        ("/proc/x", "/proc/x can't be written, for nothing can be made in /proc ("),
        ("SHORE.toml", "SHORE.toml is a file: name a folder"),
    ):
        told = said(tmp_path, changed(named, f'{named}\nfolder = "{folder}"'))
        assert "line 5: shore.folder: " in told and words in told
