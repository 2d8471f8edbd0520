"""What `offing journal verify` checks beside the journal: recordings and programmes, imported logs, originals, finds.

Rules: read-only; each check says in a line what was checked, and each fault with its place. Recordings are read as long
as they were before the journal was (`lengths`), for what they seal is in the journal by then, whatever comes meanwhile.
"""

import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import file_digest
from pathlib import Path

from relay.core.errors import OperatorError, RecordingError
from relay.core.find import FileReference
from relay.core.minute_tree import Evidence
from relay.core.seal import Signer, is_sealed
from relay.core.secrets import Secrets
from relay.core.verification import examine
from relay.shell.finds.find_files import kept_path
from relay.shell.plan.expedition import Expedition
from relay.shell.proofs.journal_seals import Sealed, seals_in
from relay.shell.proofs.verifying import records_of
from relay.shell.record.recovered import recovered_logs
from relay.shell.released.printable import printable
from relay.shell.released.programme_file import NAME as PROGRAMME
from relay.shell.released.programme_file import read_programme

ORIGINALS = ("stills", "finds")
# What reading a damaged database may raise: SQLite's own, and texts (its messages, too) that are no texts any more.
UNREADABLE = (sqlite3.Error, ValueError, KeyError, TypeError)
_DIGEST = re.compile("[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Checked:
    """One check that was made, what it found wrong, and over how many minutes a sound recording's seals are."""

    told: str
    faults: tuple[str, ...] = ()
    borne: int = 0


def lengths(expedition: Expedition) -> dict[tuple[str, Path], int]:
    """Return how long each recording is at this moment, by its audience and path."""
    return {
        (policy.audience, path): path.stat().st_size
        for policy in expedition.plan.policies
        for path in sorted((expedition.released / policy.audience).glob("dive-*.recording"))
    }


def recordings(known: Mapping[tuple[str, Path], int], secrets: Secrets, heads: Sequence[bytes]) -> Iterator[Checked]:
    """Check recordings, as long as they were: signatures, and each seal by the `heads` of the journal's log."""
    evidence, key = Evidence(secrets.evidence_key), Signer(secrets.signing_seed).key
    for (audience, path), octets in known.items():
        try:
            with path.open("rb") as file:
                data = file.read(octets)
            faults = [*examine(data, key).faults]
        except (OSError, RecordingError) as error:
            yield Checked(f"{path}: can't be read", (printable(str(error)),))
            continue
        seals = list(seals_in(records_of(data), audience, evidence, heads))
        borne = 0 if faults else max((seal.minutes or 0 for seal in seals), default=0)
        yield Checked(f"{path}: {len(seals)} seals of the exact record", (*faults, *_strange(seals)), borne)


def _strange(seals: Sequence[Sealed]) -> Iterator[str]:
    """Yield which seals are of another record than the journal's: once, if all are that are over any row."""
    strange = [seal for seal in seals if seal.minutes is None]
    if strange and not any(seal.minutes for seal in seals):
        yield f"none of its {len(seals)} seals is of this journal: it's another journal's, or this one was made anew"
        return
    for seal in strange:
        yield f"record {seal.seq} (dive time {seal.elapsed_s:g} s): it seals another record than this journal's"


def programmes(expedition: Expedition, secrets: Secrets) -> Iterator[Checked]:
    """Check the programme that each audience was told last, where it was told one."""
    key = Signer(secrets.signing_seed).key
    for policy in expedition.plan.policies:
        path = expedition.released / policy.audience / PROGRAMME
        try:
            record = read_programme(path)
        except RecordingError as error:
            yield Checked(f"{path}: can't be read", (printable(str(error)),))
            continue
        if record is not None:
            good = is_sealed(key, policy.audience, record.data)
            yield Checked(f"{path}: signed", () if good else ("altered, or not signed with the ship's key",))


def imported_logs(private: Path) -> Checked:
    """Check the digests of the logs that were imported."""
    try:
        logs = recovered_logs(private)
    except (OperatorError, *UNREADABLE) as error:
        return Checked("imported logs: can't be read", (printable(str(error)),))
    octets = sum(len(log.data) for log in logs)
    return Checked(f"imported logs: {len(logs)}, {octets} bytes, each with its digest")


def originals(private: Path) -> Checked:
    """Check the files that are kept under their own digest: the originals of stills, and what came with finds."""
    faults, count = list[str](), 0
    for path in sorted(path for folder in ORIGINALS for path in (private / folder).glob("*") if path.is_file()):
        if (named := _DIGEST.match(path.name)) is None:
            continue
        count += 1
        try:
            with path.open("rb") as file:
                found = file_digest(file, "sha256").hexdigest()
        except OSError as error:
            faults.append(f"{path} can't be read: {error.strerror}")
        else:
            faults += [] if found == named[0] else [f"{path} was altered: its name is the digest that it had"]
    return Checked(f"originals of stills, and files of finds: {count}, each with its digest", tuple(faults))


def files_of_finds(private: Path, told: Iterable[tuple[int, str, FileReference]]) -> Checked:
    """Check that each file that the journal tells of is kept, and as long as told: its row, the find's name, the file.

    That the bytes are those of its name `originals` says.
    """
    files, faults = {file.sha256: (row, name, file) for row, name, file in told}, list[str]()
    for row, name, file in files.values():
        path = kept_path(private, file)
        whose = f"{printable(file.name)!r} of the find {printable(name)!r}, row {row}"
        if not path.is_file():
            faults.append(f"{path} is missing: {whose}")
        elif (octets := path.stat().st_size) != file.octets:
            faults.append(f"{path} has {octets} bytes, and had {file.octets}: {whose}")
    return Checked(f"files that finds tell of: {len(files)}, each kept", tuple(faults))
