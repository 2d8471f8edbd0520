"""`offing invite`, `guests` and `uninvite`: through the relay that runs, or in its place where none does.

Rules: what one of them does is in the journal with who did it, whether a relay runs or not; the link is printed once,
alone, on standard output, and is in no file; everything else that is said goes to standard error.
"""

import argparse
import asyncio
import getpass
import json
import sys
import time
from typing import Any

from relay.core.decision import read_decision, word_for
from relay.core.errors import NoRelayError, RefusedError
from relay.core.model import Row, RowKind
from relay.core.seal import Signer
from relay.shell.desk.control import ask_control
from relay.shell.desk.deciding import Deciding
from relay.shell.desk.desk_decided import decision_words
from relay.shell.desk.guest_book import read_book
from relay.shell.desk.inviting import Inviting, told_of
from relay.shell.desk.taking import DESK
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.record.clock import MachineTime
from relay.shell.record.journal import JournalFile, clock_of
from relay.shell.record.secrets_file import MARK, fingerprint, open_secrets
from relay.shell.site.attendance import Attendance
from relay.shell.site.guest_door import GuestDoor

_PASS_ON = "It is shown once and kept nowhere. Whoever has it gets in: hand it over as you would a key."
_NO_ADDRESS = (
    "The expedition file doesn't say where the world reaches the page, so the link begins with this machine's own "
    'address: set [public] address = "https://..." and make another.'
)


def invite(options: argparse.Namespace) -> int:
    """Invite whom the options say and print the link, alone."""
    expedition = _expedition(options)
    message = {"do": "invite", "audience": options.audience, "name": options.name, "until": options.until}
    answer = _ask(expedition, {**message, "who": options.who or getpass.getuser()})
    if options.json:
        print(json.dumps(answer, indent=2, ensure_ascii=False))
        return 0
    until = "" if answer["until"] is None else f", to the end of {answer['until']} (UTC)"
    print(f"Invited: {answer['name']} to {answer['audience']}{until}; id {answer['id']}.", file=sys.stderr)
    print(answer["link"])
    for words in (_PASS_ON, *(() if expedition.address else (_NO_ADDRESS,)), *_but(answer)):
        print(words, file=sys.stderr)
    return 0


def uninvite(options: argparse.Namespace) -> int:
    """Take back the invitation with the id in the options."""
    message = {"do": "uninvite", "guest": options.guest, "who": options.who or getpass.getuser()}
    answer = _ask(_expedition(options), message)
    if options.json:
        print(json.dumps(answer, indent=2, ensure_ascii=False))
        return 0
    print(f"{answer['name']} ({answer['audience']}) isn't invited any more.")
    for words in _but(answer):
        print(words, file=sys.stderr)
    return 0


def guests(options: argparse.Namespace) -> int:
    """List every invitation."""
    told = _ask(read_expedition(options.expedition), {"do": "guests"})["guests"]
    if options.json:
        print(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        print("\n".join(map(_line, told)) or "Nobody has been invited.")
    return 0


def _expedition(options: argparse.Namespace) -> Expedition:
    return read_expedition(options.expedition, options.secrets_key)


def _line(told: dict[str, Any]) -> str:
    until = "no end" if told["until"] is None else f"until {told['until']}"
    state = "taken back" if told["revoked"] else "has ended" if told["over"] else "counts"
    day, opens = told["last_day"], told["opens"]
    came = "never seen here" if day is None else f"opened {opens} {'time' if opens == 1 else 'times'}, last on {day}"
    return f"{told['id']}  {told['name']}  ({told['audience']}, {until}): {state}; {came}"


def _but(answer: dict[str, Any]) -> list[str]:
    return [f"But {answer['but']}"] if "but" in answer else []


def _ask(expedition: Expedition, message: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of the relay that runs; where none does, do what it would."""
    try:
        return asyncio.run(ask_control(expedition.private, dict(message)))
    except NoRelayError:
        return asyncio.run(_in_its_place(expedition, dict(message)))


async def _in_its_place(expedition: Expedition, message: dict[str, Any]) -> dict[str, Any]:
    if message["do"] == "guests":  # reading needs no journal, so it makes none
        return {"guests": [told_of(each, time.time()) for each in reversed(read_book(expedition.private).invited)]}
    file = JournalFile(expedition.private)  # its lock keeps a relay out while this is done
    try:
        secrets = open_secrets(expedition.private, file.marks().get(MARK), expedition.secrets_key)
        file.commit([], {MARK: fingerprint(secrets)})
        journalling = _Journalling(file)
        inviting = _inviting(expedition, journalling, Signer(secrets.signing_seed))
        inviting.start()
        answer = await Deciding(journalling, lambda: 0.0, inviting).take(json.dumps(message).encode())
        await inviting.close()  # no write of it comes once a relay may have the folder
    finally:
        file.close()
    if not answer.pop("ok"):
        raise RefusedError(str(answer["why"]))
    return answer


def _inviting(expedition: Expedition, journalling: "_Journalling", signer: Signer) -> Inviting:
    names = [policy.audience for policy in expedition.plan.policies]
    invited = [name for name in names if name in expedition.invited_audiences]
    host, port = expedition.listen
    address, nobody = expedition.address or f"http://{host}:{port}/", GuestDoor(Attendance(0))
    return Inviting(expedition.private, journalling, signer, nobody, invited, lambda: address, time.time)


class _Journalling:
    """What a relay that doesn't run would do with a decision: write it into the journal, and nothing else."""

    def __init__(self, file: JournalFile) -> None:
        self._file, self._clock = file, clock_of(file, MachineTime())

    def decide(self, data: bytes, _who: str) -> dict[str, Any]:
        """Write a decision, which names who takes it, as the next row of the journal."""
        decision, (last, last_us) = read_decision(data), self._file.last()
        now_us = max(last_us, self._clock.now_us())
        self._file.commit([Row(last + 1, now_us, self._clock.wall_s(), DESK, RowKind.DECISION, data)], {})
        return {"taken": word_for(decision), "words": decision_words(decision, now_us), "row": last + 1}

    async def settled(self, _within_s: float) -> bool:
        """Say that it is on the disk: it was written there."""
        return True

    def status(self) -> dict[str, Any]:
        """Return nothing: no relay runs."""
        return {}
