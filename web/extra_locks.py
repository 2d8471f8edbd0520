"""Write a lock for each extra that ships: what it adds to `requirements.lock`, as `requirements-dev.lock` pins it.

Rules: nothing is resolved anew, so an extra runs on what was tested. A lock holds only what its extra adds: it is
installed together with `requirements.lock`, and brings nothing of another extra.
"""

from pathlib import Path

from bill_of_materials import ROOT, asked_for, closure, python_packages

HEAD = """#
# What the extra `{extra}` adds to requirements.lock, as requirements-dev.lock pins it. Written
# by the following command:
#
#    make lock
#
"""


def locks(root: Path = ROOT) -> dict[str, str]:
    """Return the text of each extra's lock, by the file's name."""
    pinned = python_packages((root / "requirements-dev.lock").read_text(encoding="utf-8"))
    base = python_packages((root / "requirements.lock").read_text(encoding="utf-8"))
    texts = {}
    for extra, names in asked_for(root).items():
        if extra:
            added = sorted(closure(names, pinned) - base.keys())
            texts[f"requirements-{extra}.lock"] = HEAD.format(extra=extra) + "".join(map(str, map(pinned.get, added)))
    return texts


if __name__ == "__main__":
    for name, text in locks().items():
        (ROOT / name).write_text(text, encoding="utf-8")
