"""What is printed to set up ship and shore: units that systemd takes and finds tight, and a container file."""

import configparser
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from relay.__main__ import _parser, main

NEEDS_SYSTEMD = pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd isn't installed here")
EXPOSURE = 1.5  # of 10, as systemd counts it


def printed(what: str, capsys: pytest.CaptureFixture[str]) -> str:
    """Return what `offing deploy` prints."""
    assert main(["deploy", what]) == 0
    return capsys.readouterr().out


@NEEDS_SYSTEMD
@pytest.mark.parametrize("what", ["ship", "shore"])
def test_systemd_takes_the_unit_and_finds_it_tight(
    what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`systemd-analyze verify` has nothing to say, and `security` counts next to no exposure."""
    unit = tmp_path / f"offing-{what}.service"
    unit.write_text(printed(what, capsys).replace("/opt/offing/bin/offing", shutil.which("true") or ""))
    verified = subprocess.run(["systemd-analyze", "verify", unit], check=False, capture_output=True, text=True)
    assert (verified.returncode, verified.stdout + verified.stderr) == (0, "")
    security = ["systemd-analyze", "security", "--offline=yes", f"--threshold={EXPOSURE * 10:.0f}", unit]
    assert subprocess.run(security, check=False, capture_output=True).returncode == 0


@pytest.mark.parametrize("what", ["ship", "shore"])
def test_unit_runs_a_command_that_there_is(what: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What it starts is read by the program's own parser, and it keeps what it writes in one private folder."""
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.read_string(printed(what, capsys))
    service = unit["Service"]
    assert service["LimitCORE"] == "0"  # a core dump would hold keys, and aboard what is exact
    program, *words = service["ExecStart"].split()
    options = _parser().parse_args(words)
    assert (program, options.command, options.log) == ("/opt/offing/bin/offing", what, "json")
    assert Path(words[1]).parent == Path("/var/lib") / service["StateDirectory"]
    assert (service["StateDirectoryMode"], service["User"], service["Restart"]) == ("0700", "offing", "always")


def test_units_of_ship_and_shore_differ_where_there_is_a_reason_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """Line by line the same, but for what is started and for /proc, where the ship's clock asks which boot this is."""
    aboard, ashore = (
        {line for line in printed(what, capsys).partition("[Service]")[2].splitlines() if not line.startswith("#")}
        for what in ("ship", "shore")
    )
    assert {line.partition("=")[0] for line in aboard ^ ashore} == {"ExecStart", "ProcSubset"}
    assert "ProcSubset=pid" in ashore


def test_container_file_runs_a_command_that_there_is_as_nobody_special(capsys: pytest.CaptureFixture[str]) -> None:
    """Every line is an instruction; it starts `offing shore`, not as root, and names no registry."""
    text = printed("container", capsys).replace("\\\n", " ")
    lines = [line.split(maxsplit=1) for line in text.splitlines() if line and not line.startswith("#")]
    assert {line[0] for line in lines} <= set(
        "FROM COPY RUN ENV USER WORKDIR VOLUME EXPOSE STOPSIGNAL HEALTHCHECK ENTRYPOINT CMD".split()
    )
    told = dict(lines)
    assert (told["USER"], told["ENTRYPOINT"]) == ("10001", '["offing"]')
    assert re.fullmatch(r"python:3\.1[1-9]-slim", told["FROM"])
    options = _parser().parse_args(re.findall(r'"([^"]+)"', told["CMD"]))
    assert (options.command, options.log) == ("shore", "json")


ROOT = Path(__file__).resolve().parents[1]


def test_base_of_the_container_is_to_be_pinned_by_who_builds_it(capsys: pytest.CaptureFixture[str]) -> None:
    """A tag can be moved: the file says so, and how the digest is written."""
    text = printed("container", capsys)
    base = next(line for line in text.splitlines() if line.startswith("FROM "))
    assert f"{base}@sha256:DIGEST" in text.partition("\nFROM ")[0]


@pytest.mark.parametrize("what", ["ship", "shore", "container", "README.md"])
def test_nothing_is_installed_but_what_is_locked(what: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The lock with its digests comes first and nothing is built; the wheel comes after it and resolves nothing."""
    text = (ROOT / what).read_text(encoding="utf-8") if what == "README.md" else printed(what, capsys)
    first, second = re.findall(r"\bpip install (.+)", text)
    assert {"--require-hashes", "--only-binary", ":all:", "-r"} < set(first.split())
    assert re.search(r"-r \S*requirements\.lock\b", first)
    assert {"--no-deps"} < set(second.rstrip(" \\").split())
    assert re.search(r"\S*offing-\*\.whl", second)


def test_locks_that_are_named_lie_beside_the_wheel(capsys: pytest.CaptureFixture[str]) -> None:
    """Each lock that a page, a unit or a message names is one that `make wheel` lays into `dist/`."""
    sources = [ROOT / "README.md", *(ROOT / "relay").rglob("*.py"), *(ROOT / "relay" / "shell" / "units").iterdir()]
    texts = [path.read_text(encoding="utf-8") for path in sources]
    named = {lock for text in texts for lock in re.findall(r"-r (?:/tmp/offing/)?(requirements\S*\.lock)", text)}
    told = subprocess.run(["make", "-n", "wheel"], cwd=ROOT, check=True, capture_output=True, text=True).stdout
    (copied,) = re.findall(r"^cp (.+) dist$", told, re.MULTILINE)
    assert named == set(copied.split())
    assert all((ROOT / lock).is_file() for lock in named)
    assert not [text for text in texts if re.search(r"pip install [\"']?offing", text)]


PROGRAM = re.compile(r"(?:bin/offing|offing:/var/lib/offing offing) (.+)")


@pytest.mark.parametrize(
    ("what", "steps"),
    [("ship", ["check", "identity", "secrets", "tell"]), ("shore", ["shore"]), ("container", ["shore"])],
)
def test_what_is_told_to_do_by_hand_can_be_done_in_its_order(
    what: str, steps: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Each command that a remark gives is one that there is; the folder is made before something is put there."""
    remarks = [line for line in printed(what, capsys).splitlines() if line.startswith("#")]
    commands = [match[1].split() for line in remarks if (match := PROGRAM.search(line)) and "pip" not in line]
    assert [command[0] for command in commands] == steps
    assert all(_parser().parse_args(command).command for command in commands)
    if what != "container":
        made = next(at for at, line in enumerate(remarks) if "install -d -o offing" in line)
        assert all("useradd" not in line for line in remarks[made:])
        assert made < next(at for at, line in enumerate(remarks) if "put the" in line)
