"""Fuzz one target with atheris (libFuzzer over Python's own branches): started by `run_fuzz.py`, a process for each.

python tests/fuzz_one.py TARGET [libFuzzer's options] FOLDER...
"""

import sys

import atheris

from fuzz_targets import target_named


def main() -> None:
    """Fuzz until libFuzzer's own options end it; its exit status says whether something was found."""
    with atheris.instrument_imports(include=["relay"]):
        target = target_named(sys.argv[1])
    atheris.Setup([sys.argv[0], *sys.argv[2:]], target.check)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
