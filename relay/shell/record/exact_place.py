"""Where a file with exact positions may lie: the one check of all commands that write one.

Rules: in plain in the site's private folder alone; encrypted anywhere but where anything released lies, for what lies
there is copied ashore and shown. Nothing takes the name of a file of the site's own, also one that isn't there: a plain
`secrets.json` would count before the encrypted one. Folders are followed through links; a file's own name
is none.
"""

from pathlib import Path

from relay.core.errors import OperatorError
from relay.shell.plan.expedition import Expedition

SITE_FILES = frozenset(
    "journal.db journal.db-wal journal.db-shm journal.db-journal journal.lock journal.sums recovered.db "
    "recovered.db-wal recovered.db-shm recovered.db-journal secrets.json secrets.age watch.json guests.json audit.json "
    "audit.html desk.token control.sock".split()
)
SITE_FOLDERS = frozenset({"stills", "finds"})


def check_exact_place(out: Path, expedition: Expedition, *, encrypted: bool, over: bool = False) -> None:
    """Refuse a place at which what is exact may not be written: OperatorError says why, and what to do.

    `over`: a file that is there may be replaced.
    """
    folder, private = out.parent.resolve(), expedition.private.resolve()
    if folder.is_relative_to(expedition.released.resolve()):
        raise OperatorError(
            f"{out} lies in {expedition.released}, where everything is public, and this is exact: give "
            f"{expedition.private / out.name}"
        )
    if not encrypted and not folder.is_relative_to(private):
        raise OperatorError(
            f"{out} is outside the private folder {expedition.private}, and exact positions leave that only encrypted: "
            f"give {expedition.private / out.name}, or name with --to who may open it (age1..., as `offing identity` "
            "prints it)"
        )
    if out.is_dir():
        raise OperatorError(f"{out} is a folder: give a file's name in it")
    if not over and (out.exists() or out.is_symlink()):
        raise OperatorError(f"{out} is there already, and nothing is written over: give another name")
    if _is_of_the_site(folder / out.name, expedition.path.resolve(), private):
        raise OperatorError(f"{out} is the name of a file of the site's own: give another")
    if out.is_symlink():
        raise OperatorError(f"{out} is a link to another place: give a file's own name")
    if not folder.is_dir():
        raise OperatorError(f"{out.parent} is no folder: make it first, or give another place")


def _is_of_the_site(place: Path, expedition: Path, private: Path) -> bool:
    if place == expedition:
        return True
    if not place.is_relative_to(private):
        return False
    inside = place.relative_to(private).parts
    return inside[0] in SITE_FOLDERS if len(inside) > 1 else inside[0] in SITE_FILES | SITE_FOLDERS
