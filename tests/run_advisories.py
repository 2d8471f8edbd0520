"""Whether faults are known of what is pinned: `make audit-deps`, by pip-audit for Python's locks, npm audit for npm's.

0: everything was asked about, and nothing is known. 1: something is. 2: nothing is, as far as could be asked, but not
everything could: a machine without the network, or one whose registry answers no such question, isn't told that all is
well.
"""

import json
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
LOCKS = ("requirements.lock", "requirements-dev.lock")
PATIENCE_S = 600


@dataclass
class Asked:
    """What came of asking about one lock. `known`: faults, in words. `why`: why somebody couldn't be asked about."""

    lock: str
    packages: int
    unasked: int
    known: list[str] = field(default_factory=list)
    why: str = ""

    def __str__(self) -> str:
        asked = self.packages - self.unasked
        words = f"{self.lock}: {asked} of {self.packages} packages were asked about, {len(self.known)} faults are known"
        return "\n".join([words + (f"; the others couldn't be: {self.why}" if self.unasked else ""), *self.known])


def read_pip(lock: str, text: str, packages: int, said: str) -> Asked:
    """Return what pip-audit answers (its format `json`); `said`: its other words, the last of which say why."""
    try:
        told = list(json.loads(text)["dependencies"])
    except (ValueError, KeyError, TypeError):
        return Asked(lock, packages, packages, why=_last(said))
    skipped = [one["skip_reason"] for one in told if "skip_reason" in one]
    known = [f"  {one['name']} {one['version']}: {fault['id']}" for one in told for fault in one.get("vulns", [])]
    return Asked(lock, packages, packages - len(told) + len(skipped), known, skipped[0] if skipped else _last(said))


def read_npm(lock: str, text: str, packages: int) -> Asked:
    """Return what npm audit answers (its format `json`, version 2)."""
    try:
        told: dict[str, Any] = json.loads(text)
        known = [f"  {name}: {one['severity']}" for name, one in sorted(told["vulnerabilities"].items())]
    except (ValueError, KeyError, TypeError, AttributeError):
        return Asked(lock, packages, packages, why=_last(_message(text)))
    return Asked(lock, packages, 0, known)


def _message(text: str) -> str:
    try:
        told = json.loads(text)
        return str(told.get("message") or told.get("error") or text)
    except (ValueError, AttributeError):
        return text


def _last(words: str) -> str:
    lines = [line.strip() for line in words.splitlines() if line.strip()]
    return lines[-1][:200] if lines else "no answer"


def verdict(asked: list[Asked]) -> int:
    """Return what the program ends with."""
    if any(one.known for one in asked):
        return 1
    return 2 if any(one.unasked for one in asked) else 0


def _run(command: list[str], folder: Path) -> tuple[str, str]:
    try:
        done = subprocess.run(
            command,
            cwd=folder,
            check=False,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            stdin=subprocess.DEVNULL,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return "", str(error)
    return done.stdout, done.stderr


def pinned(text: str) -> int:
    """Return how many packages a lock of pip-compile pins."""
    return sum("==" in line for line in text.splitlines() if line[:1].isalnum())


def main() -> int:
    """Ask, and print the answers."""
    asked = []
    for lock in LOCKS:
        command = [sys.executable, "-m", "pip_audit", "--disable-pip", "--no-deps", "--progress-spinner", "off"]
        out, said = _run([*command, "--format", "json", "--requirement", lock], ROOT)
        asked.append(read_pip(lock, out, pinned((ROOT / lock).read_text(encoding="utf-8")), said))
        print(asked[-1], flush=True)
    entries = json.loads((ROOT / "web" / "package-lock.json").read_text(encoding="utf-8"))["packages"]
    out, said = _run(["npm", "audit", "--json"], ROOT / "web")
    asked.append(read_npm("web/package-lock.json", out or said, len(entries) - 1))
    print(asked[-1], flush=True)
    words = {
        0: "nothing is known of anything",
        1: "faults are known",
        2: "not everything could be asked about from here",
    }
    print(words[verdict(asked)])
    return verdict(asked)


if __name__ == "__main__":
    sys.exit(main())
