"""The zones that one audience must not be shown: those of the expedition file, and those of the desk.

Rules: a zone of the desk hides from the moment it is taken, whatever is still to leave, for it only removes (R2); it
is lifted when the audience's embargo lets the decision through, for that shows more. A zone that is told again is
another zone: lifting an earlier one of its name leaves it, and one in doubt stays in force (R4).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from relay.core.area import HiddenDisc, Zone, hidden_disc
from relay.core.geodesy import SiteFrame
from relay.core.secrets import Secrets


@dataclass(frozen=True, slots=True)
class InForce:
    """The journal rows of an audience's desk zones in force, once every row up to `upto` had been taken."""

    rows: frozenset[int] = field(default_factory=frozenset)
    upto: int = 0

    def has(self, row: int) -> bool:
        """Return whether the zone of a row is to be in force: only one that is known to have been lifted isn't."""
        return row > self.upto or row in self.rows


class Hiding:
    """What is hidden from one audience."""

    def __init__(self, of_file: tuple[Zone, ...], secrets: Secrets, before: InForce | None = None) -> None:
        """`before`: what was in force at the checkpoint a restart begins from; None: not known, so all that is told."""
        self._of_file, self._secrets = of_file, secrets
        self._before = before or InForce()
        self._of_desk: dict[int, Zone] = {}
        self._frame: SiteFrame | None = None
        self._discs: tuple[HiddenDisc, ...] | None = None

    @property
    def of_desk(self) -> dict[int, Zone]:
        """The zones of the desk in force, by the rows that told them."""
        return self._of_desk

    def hide(self, row: int, zone: Zone) -> None:
        """Hide a zone from now on; one that had been lifted by the checkpoint stays so."""
        if self._before.has(row):
            self._of_desk[row] = zone
            self._discs = None

    def lift(self, row: int, name: str) -> None:
        """Show again what the zones of a name hid that were told before `row`."""
        self._of_desk = {at: zone for at, zone in self._of_desk.items() if at > row or zone.name != name}
        self._discs = None

    def in_force(self, upto: int) -> InForce:
        """Return what a restart has to know."""
        return InForce(frozenset(self._of_desk), upto)

    def discs(self, frame: SiteFrame) -> tuple[HiddenDisc, ...]:
        """Return the zones as they act in the published frame."""
        if self._discs is None or frame is not self._frame:
            zones = (*self._of_file, *self._of_desk.values())
            self._frame = frame
            self._discs = tuple(hidden_disc(zone, frame, self._secrets) for zone in zones)
        return self._discs


@dataclass(frozen=True, slots=True)
class ZoneInForce:
    """A zone and those from whom it hides; `row` is that of the desk's decision, None for one of the file."""

    zone: Zone
    row: int | None
    audiences: tuple[str, ...]

    @property
    def of(self) -> str:
        """Whose it is: the file's or the desk's."""
        return "file" if self.row is None else "desk"


def zones_in_force(of_file: tuple[Zone, ...], hidings: Mapping[str, Hiding]) -> tuple[ZoneInForce, ...]:
    """Return the zones that hide something from somebody, by audience: the file's first, then the desk's by rows."""
    of_desk = {row: zone for hiding in hidings.values() for row, zone in hiding.of_desk.items()}
    hidden = {row: tuple(name for name, hiding in hidings.items() if row in hiding.of_desk) for row in of_desk}
    return (
        *(ZoneInForce(zone, None, tuple(hidings)) for zone in of_file),
        *(ZoneInForce(of_desk[row], row, hidden[row]) for row in sorted(of_desk)),
    )
