"""The ship's end of the link: what was released goes ashore, in order, from wherever the shore stands.

Rules: only what `publish` was given, released frames, ever leaves (R1); the ship dials, and what comes back is read as
numbers (R6); the first-listed audience goes first; a link that ends is dialled again at once, then less often; where
the shore holds more or other than the ship, nothing of that audience is sent, and an alarm says so. A link that a hold
ended hasn't failed: it is no outage, and no alarm.
"""

import asyncio
import logging
from collections.abc import Callable
from hashlib import sha256
from time import monotonic
from typing import Any

from relay.core.errors import LinkError
from relay.core.guests import read_listing
from relay.core.history import Published
from relay.core.seal import Signer
from relay.core.uplink_log import ShipLog, Stands
from relay.core.uplink_talk import Listed
from relay.shell.plan.uplink_plan import UplinkPlan
from relay.shell.uplink.uplink_link import NotNowError, RefusedAshoreError, dial
from relay.shell.uplink.uplink_session import KeptAboardError, LinkLimits, Roll, Session, Shore, pace_of

log = logging.getLogger("offing.uplink")
SAY_S = 600.0


class Uplink:
    """The link of one ship. `publish` and `guests` at any time, `run` until cancelled.

    `may_go`: whether an audience's records may go now; `stir` when that may have changed. `outrun`: called with the
    number of a list of guests ashore that isn't older than the newest here, and another: it is to make one beyond it,
    by `guests`.
    """

    def __init__(
        self,
        plan: UplinkPlan,
        signer: Signer,
        limits: LinkLimits | None = None,
        clock_s: Callable[[], float] = monotonic,
    ) -> None:
        self._plan, self._signer, self._clock_s = plan, signer, clock_s
        self._limits = limits or LinkLimits()
        self._shores = {name: Shore(ShipLog(name), name in plan.invited) for name in plan.audiences}
        self._pace = pace_of(plan.limit_bits_per_s, self._limits, clock_s())
        self._roll = Roll()
        self.outrun: Callable[[int], None] | None = None
        self.may_go: Callable[[str], bool] = lambda _: True
        self._session: Session | None = None
        self._words, self._outages = "not dialled yet", 0
        self._ended, self._said = self._words, dict[str, float]()
        self._since_s = self._good_s = clock_s()

    def publish(self, frame: Published) -> None:
        """Let a released frame go ashore, if its audience is told of there; frames come in their order.

        It never raises: what goes wrong here is an alarm, and the release goes on.
        """
        shore = self._shores.get(frame.audience)
        if shore is None or shore.fault is not None:
            return
        try:
            if shore.has is None or shore.log.behind(shore.has, 0.0)[0] == 0:
                shore.moved_s = self._clock_s()  # until now it had everything
            shore.log.add(frame.dive, frame.seq, frame.data, self._clock_s())
        except Exception as error:
            shore.fault = type(error).__name__
            log.exception("%s goes ashore no further", frame.audience)
        self.stir()

    def is_own(self, header: dict[str, Any]) -> bool:
        """Whether a dive's first record names the key that the shore takes records by."""
        return header.get("key") == self._signer.key.hex()

    def guests(self, listing: bytes) -> None:
        """Let the newest list of guests go ashore; InvitationError if it isn't one of this ship's."""
        number = read_listing(self._signer.key, listing).number
        self._roll.number, self._roll.data, self._roll.told_s = number, listing, self._clock_s()
        if number <= self._roll.has:
            self._lay_beside(Listed(self._roll.has))
        self.stir()

    def _lay_beside(self, listed: Listed) -> None:
        """See which list of guests the shore holds: one that isn't older than ours, and another, is gone beyond."""
        roll = self._roll
        if listed.number >= roll.number > 0 and not self._is_ours(listed) and self.outrun is not None:
            self.outrun(listed.number)
        roll.has = listed.number
        roll.ahead = listed.number >= roll.number > 0 and not self._is_ours(listed)

    def _is_ours(self, listed: Listed) -> bool:
        return listed == Listed(self._roll.number, sha256(self._roll.data).digest())

    def stir(self) -> None:
        """Look whether there is something to be sent."""
        if self._session is not None:
            self._session.wake.set()

    async def run(self) -> None:
        """Dial, send, and dial again, for ever."""
        failures = 0
        while True:
            error, held = await self._visit()
            if isinstance(error, KeptAboardError):
                log.info("%s", error)
                self._words = str(error)
            else:
                self._say(str(error))
            failures = 0 if held else failures + 1
            await asyncio.sleep(self._wait_s(error, failures))

    def _wait_s(self, error: LinkError, failures: int) -> float:
        if isinstance(error, NotNowError):
            return self._limits.patient_wait_s
        return min(0.5 * 2 ** min(failures - 1, 10), self._limits.most_wait_s) if failures else 0.0

    async def _visit(self) -> tuple[LinkError, bool]:
        """Have one link, from dialling to its end; return why it ended, and whether it had held for a while.

        Whatever goes wrong here ends a link, never the relay.
        """
        try:
            return await self._link()
        except LinkError as error:
            return error, False
        except Exception as error:  # its words may hold anything
            return LinkError(f"a fault of Offing's own ({type(error).__name__})"), False

    async def _link(self) -> tuple[LinkError, bool]:
        link = await dial(self._plan, self._signer, self._limits.greet_s)
        self._lay_beside(link.listed)
        self._session = Session(link, self._shores, self._roll, self._pace, self._limits, self._clock_s, self._may_go)
        self._words, self._since_s = "linked", self._clock_s()
        log.info("linked to the shore")
        outages = 1
        try:
            ended = await self._session.run()
            if isinstance(ended, KeptAboardError):
                self._served()
                outages = 0
                return ended, True
            if isinstance(ended, RefusedAshoreError):
                self._session.refused()
            return ended, self._clock_s() - self._since_s > self._limits.keep_s
        except asyncio.CancelledError:
            await link.close()
            raise
        finally:
            self._good_s = self._clock_s() if self._session.is_good() else self._good_s
            self._session = None
            self._outages += outages
            self._since_s = self._clock_s()
            link.connection.transport.abort()

    def _served(self) -> None:
        """Count from now anew for how long there has been no good link, and for how long nothing has been taken."""
        self._good_s = self._clock_s()
        for shore in self._shores.values():
            shore.moved_s = self._good_s

    def _may_go(self, audience: str) -> bool:
        return self.may_go(audience)

    def _say(self, words: str) -> None:
        now_s = self._clock_s()
        if now_s - self._said.get(words, -SAY_S) >= SAY_S:
            log.warning("no link to the shore: %s", words)
            self._said = {said: at_s for said, at_s in self._said.items() if now_s - at_s < SAY_S} | {words: now_s}
        self._words = self._ended = words

    def alarms(self) -> list[str]:
        """Return what is wrong with the link now, in words."""
        out = []
        good = self._session is not None and self._session.is_good()
        if not good and self._clock_s() - self._good_s >= self._limits.alarm_s:
            out.append(f"there is no link to the shore: {self._ended}")
        return (
            out + [alarm for name in self._shores for alarm in self._alarms_of(name, bool(out))] + self._roll_alarms()
        )

    def _alarms_of(self, name: str, is_down: bool) -> list[str]:
        """Return what is wrong with one audience; that it is behind only where that isn't said by the link."""
        shore = self._shores[name]
        if shore.fault is not None:
            return [_FAULT.format(name, shore.fault)]
        if shore.stopped is not None:
            return [_STOPPED[shore.stopped].format(name)]
        if shore.missing:
            return [_MISSING.format(name)]
        if shore.exposed:
            return [_EXPOSED.format(name)]
        if shore.refused_s is not None:
            return [_REFUSED.format(name)]
        lost = [] if shore.lost is None else [_LOST.format(shore.lost, name)]
        late = self._clock_s() - shore.moved_s >= self._limits.alarm_s
        moving = self._session is not None and self._session.is_moving()
        behind = shore.has is not None and shore.log.behind(shore.has, 0.0)[0] > 0
        return lost + (
            [_BEHIND.format(name, self._ended)]
            if behind and late and not moving and not is_down and self.may_go(name)
            else []
        )

    def _roll_alarms(self) -> list[str]:
        roll = self._roll
        if roll.ahead:
            return [_AHEAD]
        late = roll.has != roll.number and self._clock_s() - roll.told_s >= self._limits.alarm_s
        return [_LATE] if late and self._session is not None else []

    def facts(self) -> dict[str, Any]:
        """Return how the link stands, for the desk.

        `up_since_s`, `down_since_s`: for how long there has been a link, or none; `sent_octets` and `bits_per_s`: all
        that it carried, both ways, headers and repeats included, since the start and over the last minute.
        """
        now_s, up = self._clock_s(), self._session is not None
        return {
            "state": "up" if up else "down",
            "words": self._words,
            "to": self._plan.to,
            "up_since_s": round(now_s - self._since_s, 1) if up else None,
            "down_since_s": None if up else round(now_s - self._since_s, 1),
            "outages": self._outages,
            "sent_octets": self._pace.lately.total,
            "bits_per_s": round(self._pace.lately.bits_per_s(now_s)),
            "limit_bits_per_s": self._plan.limit_bits_per_s,
            "audiences": {name: _facts(shore, now_s) for name, shore in self._shores.items()},
        }


def _facts(shore: Shore, now_s: float) -> dict[str, Any]:
    """Return how far the shore is with an audience; None for what isn't known."""
    if shore.has is None:
        behind: tuple[int | None, float | None] = (None, None)
        place: tuple[int | None, int | None] = (None, None)
    else:
        behind, place = shore.log.behind(shore.has, now_s), shore.log.place(shore.has)
    return {
        "behind_records": behind[0],
        "behind_s": None if behind[1] is None else round(behind[1], 1),
        "held_dive": place[0],
        "held_seq": place[1],
        "followers": shore.followers,
    }


_STOPPED = {
    Stands.MORE: "the shore holds more of {} than this relay has released: nothing of it is sent until this relay has "
    "come as far. Is this the private folder that it was released from?",
    Stands.OTHER: "the shore holds other records of {} than this relay released: nothing of it is sent. Is this the "
    "private folder that they were released from? What is ashore may be the only copy: leave it as it is, and "
    "ask first which of the two is right",
}
_LOST = (
    "the shore holds dive {} of {}, which this relay can't read any more: it is left as it is ashore, and what follows "
    "goes on. Bring its recording back from there, or from a back-up"
)
_FAULT = "{} goes ashore no further: a fault of Offing's own ({}); the release aboard goes on. Start the relay again"
_BEHIND = "what is released to {} isn't ashore and the shore takes nothing; the link ended last: {}"
_AHEAD = (
    "the shore says that it holds a later list of guests than this ship ever told: whoever is invited or taken back "
    "now isn't so ashore. Stop the shore, move guests.listing out of its folder, and start it again"
)
_LATE = "the list of guests isn't ashore yet: whoever was taken back still gets in there"
_EXPOSED = (
    "the shore would show {0} to everybody, and it is by invitation here: nothing of it is sent. Name {0} in "
    "SHORE.toml under invited, not under open"
)
_REFUSED = "the shore refused a record of {}, and its log says why: nothing of it is sent for ten minutes"
_MISSING = "the shore takes no audience {}: name it there in SHORE.toml, or leave it out of [uplink] audiences"
