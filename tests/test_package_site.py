"""The wheel, really built and really installed: it carries both pages, and needs no Node where it runs."""

import json
import os
import re
import shutil
import subprocess
import sys
import venv
from email.parser import Parser
from pathlib import Path
from zipfile import ZipFile

import pytest

import relay

ROOT = Path(__file__).resolve().parents[1]
NOT_SOURCES = (".git", ".venv", ".*_cache", ".hypothesis", "__pycache__", "node_modules", "dist*", "build")
LIBRARIES = Path(pytest.__file__).resolve().parents[1]

pytestmark = pytest.mark.slow


def _run(*command: str | Path, folder: Path, path: str, libraries: str = "") -> str:
    environment = {**os.environ, "PATH": path, "PYTHONPATH": libraries}
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def _copied(checkout: Path) -> Path:
    """Return a copy of this checkout: building empties `web/dist*`, which other tests read."""
    shutil.copytree(ROOT, checkout, symlinks=True, ignore=shutil.ignore_patterns(*NOT_SOURCES))
    (checkout / "web" / "node_modules").symlink_to(ROOT / "web" / "node_modules")
    return checkout


def _built(checkout: Path, out: Path) -> Path:
    build = (sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", out)
    _run(*build, folder=checkout, path=os.environ["PATH"])
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the wheel, built from a copy of this checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    return _built(_copied(folder / "checkout"), folder)


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the programs' folder of a fresh environment with the wheel installed, and nothing else in it.

    The libraries are those of the running environment, lent by PYTHONPATH: it does not process the `.pth` file by
    which an editable Offing would be found, so that only the installed one can be.
    """
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder / "fresh", with_pip=False)
    programs = folder / "fresh" / "bin"
    install = (sys.executable, "-m", "pip", "--python", programs / "python", "install", "--quiet", "--no-deps", wheel)
    _run(*install, folder=folder, path=os.environ["PATH"])
    return programs


@pytest.mark.parametrize("folder", ["relay/site", "relay/desk_site"])
def test_wheel_holds_a_page_and_all_it_loads(wheel: Path, folder: str) -> None:
    """The followers' page and the desk's travel inside the package, each apart and with everything it loads."""
    with ZipFile(wheel) as archive:
        names = set(archive.namelist())
        page = archive.read(f"{folder}/index.html").decode()
    assets = {name for name in names if name.startswith(f"{folder}/assets/")}
    assert {name.rpartition(".")[2] for name in assets} >= {"js", "css"}
    assert all(f"./assets/{name.rpartition('/')[2]}" in page for name in assets if name.endswith(".css"))
    loaded = {f"{folder}/{name.removeprefix('./')}" for name in re.findall(r'(?:src|href)="(\./[^"]+)"', page)}
    assert loaded
    assert loaded <= names


def test_followers_page_holds_nothing_of_the_desk(wheel: Path) -> None:
    """What the public port serves knows no word of the desk: not its routes, not its stop."""
    with ZipFile(wheel) as archive:
        public = b"".join(archive.read(name) for name in archive.namelist() if name.startswith("relay/site/"))
        desk = b"".join(archive.read(name) for name in archive.namelist() if name.startswith("relay/desk_site/"))
    told = [b"Stop everything", b"/decide", b"/stream", b"token"]
    assert [word in desk for word in told] == [True] * 4
    assert [word in public for word in told] == [False] * 4


def test_wheel_is_the_same_wherever_and_whenever_it_is_built(
    wheel: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In another folder, from files of another day, in another zone, language and mask: the same bytes."""
    checkout = _copied(tmp_path / "another place" / "deeper")
    for path in checkout.rglob("*"):
        if not path.is_symlink() and "node_modules" not in path.parts:
            os.utime(path, (978_307_200, 978_307_200))
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    monkeypatch.setenv("LC_ALL", "C")
    monkeypatch.setenv("PYTHONHASHSEED", "7")
    mask = os.umask(0o077)
    try:
        again = _built(checkout, tmp_path / "out")
    finally:
        os.umask(mask)
    assert again.name == wheel.name
    assert again.read_bytes() == wheel.read_bytes()


def test_wheel_holds_its_bill_of_materials(wheel: Path) -> None:
    """What it is made of lies beside its metadata, where PEP 770 has it: `.dist-info/sboms/`."""
    with ZipFile(wheel) as archive:
        told = json.loads(archive.read(f"offing-{relay.__version__}.dist-info/sboms/offing.cdx.json"))
    assert (told["bomFormat"], told["metadata"]["component"]["version"]) == ("CycloneDX", relay.__version__)


def test_wheel_holds_its_licence(wheel: Path) -> None:
    """The licence travels beside the package, and the metadata names it."""
    with ZipFile(wheel) as archive:
        names = set(archive.namelist())
        metadata = archive.read(f"offing-{relay.__version__}.dist-info/METADATA").decode()
    assert f"offing-{relay.__version__}.dist-info/licenses/LICENSE" in names
    told = Parser().parsestr(metadata)
    assert (told["Name"], told["Version"], told["License-Expression"]) == ("offing", relay.__version__, "Apache-2.0")


def test_installed_offing_finds_its_page_without_node(installed: Path, tmp_path: Path) -> None:
    """With no Node on the path and no checkout around, the page is found inside the installed package."""
    ask = "from relay.shell.site.site_files import site_folder; print(site_folder())"
    told = _run(installed / "python", "-c", ask, folder=tmp_path, path=str(installed), libraries=str(LIBRARIES))
    folder = Path(told.strip())
    assert folder.is_relative_to(installed.parent)
    assert (folder / "index.html").is_file()


def test_installed_command_helps(installed: Path, tmp_path: Path) -> None:
    """The command `offing` of the installed wheel runs, says its version and lists its commands."""
    offing = installed / "offing"
    settings = {"folder": tmp_path, "path": str(installed), "libraries": str(LIBRARIES)}
    assert _run(offing, "--version", **settings).strip() == f"offing {relay.__version__}"
    told = _run(offing, "--help", **settings)
    assert {"demo", "ship", "check"} <= set(told.split())
