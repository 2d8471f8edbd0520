"""What the desk decides, acting too early: faults for the paired runs to find."""

import pytest

from relay.core.area import Zone
from relay.core.decision import LiftZone
from relay.core.embargo import Embargo
from relay.core.fuse import Stamped
from relay.core.hiding import Hiding


def zone_lifted_at_once(planted: pytest.MonkeyPatch) -> None:
    """Lift a zone of the desk as soon as that is decided."""

    def hide(hiding: Hiding, row: int, zone: Zone) -> None:
        known.add(hiding)
        right(hiding, row, zone)

    def hold(embargo: Embargo, stamped: Stamped) -> bool:
        for hiding in known if isinstance(stamped.said, LiftZone) else ():
            hiding.lift(stamped.row, "the hold")
        return right_hold(embargo, stamped)

    known: set[Hiding] = set()
    right, right_hold = Hiding.hide, Embargo.hold
    planted.setattr(Hiding, "hide", hide)
    planted.setattr(Embargo, "hold", hold)
