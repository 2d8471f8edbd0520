"""What the desk decides, acting too early: faults for the paired runs to find."""

import pytest

from relay.core.area import Zone
from relay.core.channel import Channel
from relay.core.decision import LiftZone
from relay.core.embargo import Embargo
from relay.core.fuse import Stamped
from relay.core.hiding import Hiding
from relay.core.model import Observation

_NEVER_US = 10**18


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


def early_for_good(planted: pytest.MonkeyPatch) -> None:
    """Go on without a delay once something was released early."""

    def release_early(channel: Channel, _: int, at_us: int) -> None:
        right(channel, at_us, at_us)
        channel._early_us = _NEVER_US

    right = Channel.release_early
    planted.setattr(Channel, "release_early", release_early)


def decided_at_once(planted: pytest.MonkeyPatch) -> None:
    """Let what is decided be told as soon as it is decided."""

    def hold(embargo: Embargo, stamped: Stamped) -> bool:
        old_us = stamped.embargo_us if isinstance(stamped.said, Observation) else 0
        return right(embargo, stamped._replace(embargo_us=old_us))

    right = Embargo.hold
    planted.setattr(Embargo, "hold", hold)
