"""What is made of the answers of pip-audit and npm audit: a silence is never taken for a good answer.

The shapes are those that the two programs print (pip-audit 2.10, npm 11), seen where they may not ask; with faults in
them: from memory.
"""

import json
from pathlib import Path

import pytest

from run_advisories import Asked, pinned, read_npm, read_pip, verdict

ROOT = Path(__file__).resolve().parents[1]
WELL = {"name": "aiohttp", "version": "3.14.5", "vulns": []}
FAULTY = {"name": "yarl", "version": "1.0", "vulns": [{"id": "PYSEC-2000-1", "fix_versions": ["1.1"], "aliases": []}]}
SKIPPED = {"name": "rich", "skip_reason": "Dependency not found and could not be audited: rich (15.0.0)"}
REFUSED = {"message": "405 Method Not Allowed", "method": "POST", "uri": "https://registry.example/", "statusCode": 405}


@pytest.mark.parametrize(
    ("told", "unasked", "known", "ends"),
    [
        ([WELL], 0, 0, 0),
        ([WELL, FAULTY], 0, 1, 1),
        ([WELL, SKIPPED], 1, 0, 2),
        ([SKIPPED, FAULTY], 1, 1, 1),
    ],
)
def test_answer_of_pip_audit_is_counted(told: list[dict[str, object]], unasked: int, known: int, ends: int) -> None:
    """What was skipped wasn't asked about, though pip-audit itself ends with 0; a known fault outweighs that."""
    found = read_pip("requirements.lock", json.dumps({"dependencies": told, "fixes": []}), len(told), "")
    assert (found.unasked, len(found.known), verdict([found])) == (unasked, known, ends)


@pytest.mark.parametrize("text", ["", "{}", "not json", '{"dependencies": null}'])
def test_no_answer_of_pip_audit_is_said(text: str) -> None:
    """Nothing that can be read: nobody was asked about, and its last words say why."""
    found = read_pip("requirements.lock", text, 43, "INFO ...\nERROR: the network can't be reached\n")
    assert (found.unasked, verdict([found])) == (43, 2)
    assert "0 of 43 packages" in str(found) and "the network can't be reached" in str(found)


def test_package_that_is_missing_in_the_answer_was_not_asked_about() -> None:
    """The lock pins two, the answer has one."""
    assert read_pip("requirements.lock", json.dumps({"dependencies": [WELL]}), 2, "").unasked == 1


@pytest.mark.parametrize(
    ("told", "unasked", "known", "ends"),
    [
        ({"auditReportVersion": 2, "vulnerabilities": {}, "metadata": {}}, 0, 0, 0),
        ({"auditReportVersion": 2, "vulnerabilities": {"vite": {"name": "vite", "severity": "high"}}}, 0, 1, 1),
        (REFUSED, 107, 0, 2),
        ({"error": {"code": "ENOTFOUND"}}, 107, 0, 2),
    ],
)
def test_answer_of_npm_audit_is_counted(told: dict[str, object], unasked: int, known: int, ends: int) -> None:
    """A report counts; a refusal of the registry, or none reached, is said as such."""
    found = read_npm("web/package-lock.json", json.dumps(told), 107)
    assert (found.unasked, len(found.known), verdict([found])) == (unasked, known, ends)
    assert told is not REFUSED or "405 Method Not Allowed" in str(found)


def test_all_that_a_lock_pins_is_counted() -> None:
    """As many as there are lines with a version; the locks of this checkout hold at least what is known of them."""
    assert pinned("# a remark with ==\na==1 \\\n    --hash=sha256:00\n    # via b==2\nb==2\n") == 2
    assert pinned((ROOT / "requirements.lock").read_text(encoding="utf-8")) >= 40
    assert verdict([Asked("a", 3, 0), Asked("b", 2, 1)]) == 2
