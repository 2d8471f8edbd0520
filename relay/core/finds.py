"""The finds of a site as the decisions tell them: as found, all that superseded it, and what is known now.

Rules: the first record of a name is the find as found, and nothing changes or removes it; each later one supersedes
the one before it; all stay, in the order of their rows. A function of the records in that order: told again, it is
the same. Exact and private. Bounded: at a limit what is new is not kept here (it stays in the journal), and is refused
before.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from relay.core.decision import read_decision, who_took
from relay.core.errors import OperatorError
from relay.core.find import Find, FindPlace
from relay.core.model import Row, RowKind
from relay.core.target_position import Target as Placed

FINDS_LIMIT, POINTS_LIMIT = 2_000, 200_000
_NO_LIMIT = 2**63


@dataclass(frozen=True, slots=True, kw_only=True)
class FindRecord:
    """One record of a find: its journal row, its moment on the embargo clock, the ship's time (Unix seconds), who.

    `find` is whole: what the record leaves as it was is filled in. `supersedes`: the row of the record before it.
    """

    row: int
    at_us: int
    wall_s: float
    who: str
    find: Find
    supersedes: int | None

    @property
    def as_found(self) -> bool:
        """Whether this is the first record of its find."""
        return self.supersedes is None


@dataclass(frozen=True, slots=True)
class KnownFind:
    """A find: all its records, the first one as found, the last one as known now."""

    name: str
    records: tuple[FindRecord, ...]

    @property
    def as_found(self) -> FindRecord:
        """The first record."""
        return self.records[0]

    @property
    def current(self) -> FindRecord:
        """The last record."""
        return self.records[-1]

    @property
    def superseded(self) -> tuple[FindRecord, ...]:
        """The records that aren't current any more, the find as found first."""
        return self.records[:-1]


class Finds:
    """The finds of a site by their names, in the order in which they were first recorded."""

    def __init__(self, limit: int = FINDS_LIMIT, points_limit: int = POINTS_LIMIT) -> None:
        self._limit, self._points_limit = limit, points_limit
        self._known: dict[str, KnownFind] = {}
        self._records = self._points = 0

    def __len__(self) -> int:
        return len(self._known)

    def __iter__(self) -> Iterator[KnownFind]:
        return iter(self._known.values())

    def get(self, name: str) -> KnownFind | None:
        """Return the find of a name."""
        return self._known.get(name)

    @property
    def records(self) -> list[FindRecord]:
        """All records of all finds, in the order of their rows."""
        return sorted((record for known in self for record in known.records), key=lambda record: record.row)

    def take(self, row: int, at_us: int, wall_s: float, who: str, find: Find) -> FindRecord | None:
        """Take the next record; return it whole, None where there is no room for it."""
        if self._is_full(find):
            return None
        before = self._known.get(find.name)
        whole = replace(self.completed(find), target=None)
        supersedes = None if before is None else before.current.row
        record = FindRecord(row=row, at_us=at_us, wall_s=wall_s, who=who, find=whole, supersedes=supersedes)
        earlier = () if before is None else before.records
        self._known[find.name] = KnownFind(find.name, (*earlier, record))
        self._records, self._points = self._records + 1, self._points + whole.points
        return record

    def completed(self, find: Find, targets: dict[str, FindPlace] | None = None) -> Find:
        """Return a record with all that it takes over: from the target that it names, and from the record before it.

        OperatorError where `targets` (those with a place) hasn't the one named; None: it is left as it is.
        """
        if find.target is not None and targets is not None:
            find = replace(find, place=_of_target(find.target, targets), target=None)
        before = self._known.get(find.name)
        old = Find(name=find.name) if before is None else before.current.find
        return replace(
            find,
            what=old.what if find.what is None else find.what,
            place=old.place if find.place is None else find.place,
            depth_m=old.depth_m if find.depth_m is None else find.depth_m,
            description=old.description if find.description is None else find.description,
            vehicle=old.vehicle if find.vehicle is None else find.vehicle,
            drawings=(old.drawings or ()) if find.drawings is None else find.drawings,
            photographs=(old.photographs or ()) if find.photographs is None else find.photographs,
        )

    def check(self, find: Find) -> None:
        """Raise OperatorError unless this may be the next record of its find."""
        before = self._known.get(find.name)
        if before is None:
            _check_first(find, self._known)
        elif find.supersedes is None:
            raise OperatorError(
                f'a find "{find.name}" was recorded as found in row {before.as_found.row}, and nothing overwrites '
                f"that: choose another name, or say that this supersedes row {before.current.row}"
            )
        elif find.supersedes != before.current.row:
            raise OperatorError(
                f'row {find.supersedes} is not what is known now of the find "{find.name}": that is row '
                f"{before.current.row}, by {before.current.who}. Look at it, then supersede that"
            )
        if self._is_full(find):
            raise OperatorError(
                f"there are {self._records} records of finds with {self._points} points in their drawings, and there "
                f"is room for {self._limit} and {self._points_limit}: leave drawings away, or give them as files"
            )

    def _is_full(self, find: Find) -> bool:
        return self._records >= self._limit or self._points + self.completed(find).points > self._points_limit


def finds_in(rows: Iterable[Row]) -> Finds:
    """Return all finds that the rows of a journal tell of, however many; other rows are passed over."""
    finds = Finds(_NO_LIMIT, _NO_LIMIT)
    for row in rows:
        take_row(finds, row)
    return finds


def take_row(finds: Finds, row: Row) -> FindRecord | None:
    """Take a row of the journal, if it is a record of a find; return that."""
    if row.kind is not RowKind.DECISION:
        return None
    try:
        decision = read_decision(row.data)
    except OperatorError:
        return None
    if not isinstance(decision, Find):
        return None
    return finds.take(row.seq, row.embargo_us, row.wall_s, who_took(row.data), decision)


def target_place(name: str, row: int, placed: Placed) -> FindPlace:
    """Return the place of a target, as a find takes it over."""
    spread = placed.spread
    return FindPlace(
        latitude_deg=placed.latitude_deg,
        longitude_deg=placed.longitude_deg,
        radius_95_m=spread.radius_95_m,
        major_95_m=spread.major_95_m,
        minor_95_m=spread.minor_95_m,
        major_azimuth_deg=spread.major_azimuth_deg,
        target=name,
        target_row=row,
    )


def _of_target(name: str, targets: dict[str, FindPlace]) -> FindPlace:
    if name not in targets:
        known = ", ".join(f'"{other}"' for other in targets) or "none"
        raise OperatorError(f'where the target "{name}" lies isn\'t known; targets with a place: {known}')
    return targets[name]


def _check_first(find: Find, known: dict[str, KnownFind]) -> None:
    if find.supersedes is not None:
        names = ", ".join(f'"{name}"' for name in known) or "none"
        raise OperatorError(f'there is no find "{find.name}" to supersede a record of; recorded: {names}')
    if find.what is None:
        raise OperatorError(f'say what the find "{find.name}" is ("what")')
