"""What the expedition file says of the survey: tether and side-scan swath of each vehicle, and the planned area.

Rules: for the ship alone: nothing here changes a byte that is released, which goes by `Plan` alone.
"""

from dataclasses import dataclass

from relay.core.given import Position
from relay.core.reach import Tether
from relay.core.swath import Swath


@dataclass(frozen=True, slots=True)
class Gear:
    """What one vehicle carries: its tether, and the swath of its side-scan sonar; None where the file says nothing."""

    tether: Tether | None = None
    swath: Swath | None = None


@dataclass(frozen=True, slots=True)
class SurveyPlan:
    """The gear of each vehicle, in the file's order, and the corners of the planned area, in their order round it."""

    gear: tuple[Gear, ...] = ()
    corners: tuple[Position, ...] | None = None

    def of(self, vehicle: int) -> Gear:
        """Return the gear of a vehicle by its place in the file."""
        return self.gear[vehicle] if vehicle < len(self.gear) else Gear()


NO_SURVEY = SurveyPlan()
