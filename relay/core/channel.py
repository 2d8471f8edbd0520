"""One audience's side of the door: from observations that the embargo has let through to released records.

Rules: records leave on a fixed grid of the embargo clock (multiples of the tick, plus a lag that is a whole
number of ticks), whatever arrives; between dives nothing leaves and nothing is remembered; everything is a
function of the observations, the plan and the secrets.
"""

from dataclasses import dataclass

from relay.core.disclosure import Disclosure
from relay.core.dive_phases import DiveWatch
from relay.core.embargo import Embargo
from relay.core.fuse import Fuse, Stamped
from relay.core.geodesy import Anchor, AnchorSeeker, SiteFrame
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleasedRecord, ReleaseLog
from relay.core.secrets import Secrets


@dataclass(slots=True)
class Site:
    """What all audiences of a site share: its anchor, once it is known."""

    anchor: Anchor | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """A released record and the moment on the embargo clock at which it leaves, microseconds."""

    instant_us: int
    record: ReleasedRecord


class _Dive:
    """The state of a dive under way, forgotten when it ends."""

    def __init__(self, policy: Policy, plan: Plan, number: int, begun_us: int) -> None:
        self.log = ReleaseLog(policy, plan, number, begun_us)
        self.watch = DiveWatch(plan.dive)
        self.disclosures = [Disclosure(policy, plan) for _ in plan.vehicles]


class Channel:
    """One audience: its place in the embargo, its dives, its release log."""

    def __init__(
        self, index: int, policy: Policy, plan: Plan, secrets: Secrets, embargo: Embargo, site: Site, dive: int = 1
    ) -> None:
        self.policy = policy
        self._index, self._plan, self._secrets, self._embargo, self._site = index, plan, secrets, embargo, site
        self.next_dive = dive
        self._seeker = AnchorSeeker()
        self._frame: SiteFrame | None = None
        self._dive: _Dive | None = None
        self._fuse = Fuse(len(plan.vehicles))
        self._idle_watch = DiveWatch(plan.dive)
        self._tick_us = 0
        self._instant_us = 0
        self._lag_us = self._lag()

    @property
    def idle(self) -> bool:
        """Whether no dive is under way on this side of the embargo."""
        return self._dive is None

    def next_us(self) -> int | None:
        """Return the embargo moment at which something may be due, or None while there is nothing to wait for."""
        if self._dive is None:
            heard = self._embargo.next_us(self._index)
            return None if heard is None else max(self._tick_us, self._grid(heard)) + self._lag_us
        return self._tick_us + self._lag_us

    def advance(self, now_us: int) -> list[Due]:
        """Return everything due up to and including `now_us`, in order."""
        out: list[Due] = []
        while (due_us := self.next_us()) is not None and due_us <= now_us:
            self._tick_us = due_us - self._lag_us
            self._instant_us = max(self._instant_us, due_us)
            out += [Due(self._instant_us, record) for record in self._tick(self._tick_us)]
            self._tick_us += self.policy.tick_us
        return out

    def _lag(self) -> int:
        """Return the delay of the coming dive: the policy's, the secret extra, up to whole ticks."""
        tick = self.policy.tick_us
        extra = self._secrets.extra_ticks(self.policy.audience, self.next_dive, self.policy.extra_us // tick)
        return self._grid(self.policy.delay_us) + extra * tick

    def _grid(self, moment_us: int) -> int:
        tick = self.policy.tick_us
        return -(-moment_us // tick) * tick

    def _tick(self, at_us: int) -> list[ReleasedRecord]:
        arrived = self._embargo.due(self._index, at_us)
        for stamped in arrived:
            self._fuse.take(stamped)
        if self._dive is not None:
            return self._under_way(self._dive, arrived, at_us)
        if not self._idle_watch.begins(self._fuse, at_us):
            self._fuse = Fuse(len(self._plan.vehicles))
            return []
        self._dive = _Dive(self.policy, self._plan, self.next_dive, at_us)
        return [self._dive.log.open(at_us), *self._under_way(self._dive, arrived, at_us)]

    def _under_way(self, dive: _Dive, arrived: list[Stamped], at_us: int) -> list[ReleasedRecord]:
        for stamped in arrived:
            self._seek(stamped)
        frame = self._frame_at(at_us)
        pairs = zip(dive.disclosures, self._fuse.states, strict=True)
        records = [dive.log.tick(at_us, [disclosure.report(state, frame, at_us) for disclosure, state in pairs])]
        records += self._notes(dive, arrived, at_us)
        if dive.watch.ends(self._fuse, at_us):
            records.append(dive.log.end(at_us))
            self._between_dives()
        return records

    def _notes(self, dive: _Dive, arrived: list[Stamped], at_us: int) -> list[ReleasedRecord]:
        if Disclosed.NOTES not in self.policy.fields:
            return []
        noted = [(stamped.vehicle, stamped.observation.note) for stamped in arrived]
        return [dive.log.note(at_us, vehicle, text) for vehicle, text in noted if text is not None]

    def _between_dives(self) -> None:
        self._dive = None
        self._seeker = AnchorSeeker()
        self._fuse = Fuse(len(self._plan.vehicles))
        self.next_dive += 1
        self._lag_us = self._lag()

    def _seek(self, stamped: Stamped) -> None:
        fix = stamped.observation
        if self._site.anchor is None and fix.latitude_deg is not None and fix.longitude_deg is not None:
            self._site.anchor = self._seeker.offer(fix.latitude_deg, fix.longitude_deg, stamped.embargo_us)

    def _frame_at(self, at_us: int) -> SiteFrame | None:
        """Return the frame, unless its anchor was confirmed by something this audience hasn't been let see."""
        anchor = self._site.anchor
        if self._frame is None and anchor is not None and anchor.confirmed_us <= at_us:
            self._frame = SiteFrame(anchor, self._secrets)
        return self._frame
