"""What the operator says, from wherever on the ship: one way of taking it, for the control socket and for the desk.

Rules: a decision says who takes it; releasing early is asked twice, the second time with the code of the question;
it is answered once it is on the disk and acts, or with the words that it isn't yet. A stop is never refused: it only
removes, so it acts at once, whoever gives it and whether the disk takes it or not; and it is answered at once, with
whether the disk has it.
"""

import json
import secrets
from collections.abc import Callable
from typing import Any, Protocol

from relay.core.errors import OperatorError
from relay.core.ranges import note_fault

MESSAGE_LIMIT = 163_840  # a still in base64, and room for the rest
GUESTS_MESSAGE_LIMIT = 4_096
WHO_LIMIT = 80
CONFIRM_S = 60.0
QUESTIONS = 16
NOBODY = "the desk"
SETTLE_S = 5.0
STOP_SETTLE_S = 0.1
NOT_SETTLED = (
    "it is not on the disk yet: nothing is released before it is, but it is lost if the relay or the machine stops now"
)


class Bridge(Protocol):
    """What whoever takes decisions needs of the ship."""

    def decide(self, data: bytes, who: str) -> dict[str, Any]:
        """Check a decision, hand it to the journal, and say what it does; OperatorError if it can't be taken."""
        ...

    async def settled(self, within_s: float) -> bool:
        """Wait until the decisions taken are on the disk and act; False if that takes longer."""
        ...

    def status(self) -> dict[str, Any]:
        """Return how things stand: exact and private."""
        ...


class Inviter(Protocol):
    """What takes messages about invitations."""

    async def take(self, message: dict[str, Any], who: str, within_s: float) -> dict[str, Any]:
        """Take one; OperatorError if it can't be taken."""
        ...


class Deciding:
    """Takes the operator's messages for one ship. At most `QUESTIONS` questions are open, one for each message."""

    def __init__(self, bridge: Bridge, now_s: Callable[[], float], inviting: Inviter | None = None) -> None:
        self._bridge, self._now_s, self._inviting = bridge, now_s, inviting
        self._asked: dict[str, tuple[str, float]] = {}

    async def take(self, data: bytes, within_s: float | None = None) -> dict[str, Any]:
        """Return the answer to one message, once what it decides is on the disk, or after a wait."""
        within_s = SETTLE_S if within_s is None else within_s
        if self._inviting is not None and (message := _of_guests(data)) is not None:
            return await self._invite(self._inviting, message, within_s)
        return await self.settled(self.answer(data), within_s)

    async def _invite(self, inviting: Inviter, message: dict[str, Any], within_s: float) -> dict[str, Any]:
        try:
            who = "" if message["do"] == "guests" else _who(message)
            return {"ok": True, **await inviting.take(message, who, within_s)}
        except OperatorError as error:
            return {"ok": False, "why": str(error)}

    async def stop(self, who: object, taken: Callable[[], None] = lambda: None) -> dict[str, Any]:
        """Hold the release to everybody, whatever is wrong with the name of who says so, and call `taken`.

        Return {"ok", "held", "on_disk"}, with "but" where a restart now would release again.
        """
        name = who if isinstance(who, str) and _who_fault(who) is None else NOBODY
        try:
            answer, noted = self._bridge.decide(b'{"do": "hold"}', name), True
        except OperatorError as error:  # a hold of everybody is refused by nobody: it acts, but isn't noted
            answer, noted = {"taken": "hold", "but": str(error)}, False
        taken()
        on_disk = noted and await self._bridge.settled(STOP_SETTLE_S)
        but = {"but": NOT_SETTLED} if noted and not on_disk else {}
        return {"ok": True, "held": True, "on_disk": on_disk, **answer, **but}

    def answer(self, data: bytes) -> dict[str, Any]:
        """Return the answer to one message: {"ok": true, ...}, or {"ok": false, "why": text}."""
        return self._said(lambda: self._take(json.loads(data)))

    async def settled(self, answer: dict[str, Any], within_s: float) -> dict[str, Any]:
        """Return an answer once what was taken is on the disk, or with the words that it isn't."""
        if "taken" in answer and not await self._bridge.settled(within_s):
            return {**answer, "but": NOT_SETTLED}
        return answer

    @staticmethod
    def _said(take: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        try:
            return {"ok": True, **take()}
        except (OperatorError, ValueError, RecursionError) as error:
            return {"ok": False, "why": str(error)}

    def _take(self, message: Any) -> dict[str, Any]:
        if not isinstance(message, dict):
            raise OperatorError("a message is a JSON object")
        if message.get("do") == "status":
            return self._bridge.status()
        who, code = _who(message), message.pop("code", None)
        if message.get("do") == "unaudited":
            raise OperatorError("that an audience goes without an audit is said when the relay starts: --without-audit")
        if message.get("do") == "early":
            asked = self._confirmed(message, code)
            if asked is not None:
                return asked
        return self._bridge.decide(json.dumps(message).encode(), who)

    def _confirmed(self, message: dict[str, Any], code: object) -> dict[str, Any] | None:
        """Return the question to ask, or None when this is the second time of asking, within a minute."""
        what = json.dumps(message, sort_keys=True)
        asked, until_s = self._asked.pop(str(code), ("", 0.0))
        if asked == what and self._now_s() <= until_s:
            return None
        code = secrets.token_hex(4)
        others = [(key, item) for key, item in self._asked.items() if item[0] != what]
        self._asked = {**dict(others[1 - QUESTIONS :]), code: (what, self._now_s() + CONFIRM_S)}
        return {
            "confirm": code,
            "question": "This shows what the embargo still holds back. Send it again with this code.",
        }


def _of_guests(data: bytes) -> dict[str, Any] | None:
    """Return a message about invitations, None if it is none: they are short, so nothing long is read twice."""
    if len(data) > GUESTS_MESSAGE_LIMIT:
        return None
    try:
        message = json.loads(data)
    except (ValueError, RecursionError):
        return None
    return message if isinstance(message, dict) and message.get("do") in ("invite", "uninvite", "guests") else None


def _who(message: dict[str, Any]) -> str:
    """Take the name of who takes a decision out of a message; OperatorError if it says none."""
    who = message.pop("who", None)
    if not isinstance(who, str) or _who_fault(who) is not None:
        raise OperatorError(f'a decision says "who" takes it: a name of at most {WHO_LIMIT} characters')
    return who


def _who_fault(who: str) -> str | None:
    return "too long" if len(who) > WHO_LIMIT else note_fault(who)
