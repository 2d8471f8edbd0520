"""A pytest that is warm: it has loaded all from outside the project once, and each run is a process forked from it.

Reads one JSON line a run (what `run` takes), and answers with a line: the exit code. Nothing of the project itself is
loaded here, so each run takes it from its own tree.
"""

import gc
import json
import os
import signal
import sys
import tempfile
from importlib import import_module
from pathlib import Path

import pytest


def load_libraries() -> None:
    """Load what the tests of planted leaks need, each by its own name."""
    import_module("aiohttp.web")
    import_module("cryptography.hazmat.primitives.asymmetric.ed25519")
    import_module("geographiclib.geodesic")
    import_module("gsw")
    import_module("hypothesis.strategies")
    import_module("jinja2")
    import_module("msgpack")
    import_module("msgspec.json")
    import_module("numpy")
    import_module("PIL.JpegImagePlugin")
    import_module("pydantic")
    import_module("pynmeagps")
    import_module("pyproj")
    import_module("rich.console")
    import_module("shapely")
    import_module("uvloop")
    import_module("websockets")


def warm() -> None:
    """Load the libraries, and pytest's plugins by a run of its own, which finds nothing."""
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        assert pytest.main(["-q", "-p", "no:cacheprovider"]) == pytest.ExitCode.NO_TESTS_COLLECTED
        os.chdir("/")
    load_libraries()
    assert "relay" not in sys.modules
    gc.collect()
    gc.freeze()  # no run looks through all that again, nor takes a copy of its memory by doing so


def run(tree: str, out: str, tests: list[str], patience_s: int) -> int:
    """Run tests of a tree in this process, and return pytest's exit code; no output but into a file."""
    signal.alarm(patience_s)
    with Path(out).open("wb") as words, Path(os.devnull).open("rb") as nothing:
        for number, file in enumerate((nothing, words, words)):
            os.dup2(file.fileno(), number)
    os.chdir(tree)
    os.environ.update(PYTHONPATH=tree, HYPOTHESIS_STORAGE_DIRECTORY=f"{tree}/examples", OFFING_EXAMPLES="planted")
    sys.path.insert(0, tree)
    return int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", f"--junitxml={tree}/report.xml", *tests]))


def main() -> int:
    """Serve runs until there is nobody who asks for one. A run's own process ends without tidying what it shares."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "w")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what anybody else prints is no answer
    warm()
    while line := sys.stdin.readline():
        process = os.fork()
        if process == 0:
            code = run(**json.loads(line))
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        _, status = os.waitpid(process, 0)
        print(os.waitstatus_to_exitcode(status), file=answers, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
