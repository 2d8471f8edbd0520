"""Whether a server did with a case what RFC 6455 asks, and what its role here is with messages."""

from dataclasses import dataclass, replace

from wire_cases import Case, Must
from wire_line import STILL_HERE, Got
from wire_openings import ACCEPT, SWITCHED, Opening


@dataclass(frozen=True)
class Role:
    """What a server does with messages. `takes`: takes them, up to `most` octets, and goes on.

    `refusing`: the codes with which it refuses one; `cuts`: it may hang up without a close frame where it fails a
    connection (section 7.1.7 says SHOULD);
    `judges_late`: what comes right behind a message, a close even, may be answered before the message is refused (but
    nothing is behind a breach of the protocol, section 7.1.7);
    `lenient`: it takes what the RFC forbids to who sends alone; `refuses_pages`: no page in a browser may open one.
    """

    takes: bool
    refusing: tuple[int, ...] = ()
    most: int = 0
    cuts: bool = False
    judges_late: bool = False
    lenient: bool = False
    refuses_pages: bool = False


def faults(case: Case, role: Role, got: Got) -> list[str]:
    """Return what was wrong with what a server did."""
    wrong = [f"its own bytes: {got.broke}"] if got.broke else []
    if case.lenient and role.lenient and got.closes == 1 and got.close in (1000, *case.codes, *role.refusing):
        return wrong
    if case.must is Must.FAIL:
        return wrong + _failed(got, case.codes, role.cuts)
    if case.must is Must.CLOSE:
        return wrong + _closed(got, case.close, [])
    if case.must in (Must.TAKE, Must.TAKE_TEXT):
        return wrong + _took(case, role, got)
    return wrong + _closed(got, 1000, [*case.pongs, STILL_HERE])


def _took(case: Case, role: Role, got: Got) -> list[str]:
    if role.judges_late and got.closes and got.close == 1000 and case.leaves:
        return []
    if not role.takes:
        codes = (*role.refusing, 1007) if case.must is Must.TAKE_TEXT else role.refusing
        return [] if _refused_late(case, role, got, codes) else _failed(got, codes, role.cuts)
    if case.octets > role.most:
        return _failed(got, (1009,), role.cuts)
    if case.must is Must.TAKE_TEXT:  # it may be read as UTF-8 behind the ping after it, but the connection fails
        return _failed(replace(got, pongs=[]), (1007,), role.cuts)
    return _closed(got, 1000, [*case.pongs, STILL_HERE])


def _refused_late(case: Case, role: Role, got: Got, codes: tuple[int, ...]) -> bool:
    """Say if a message whose frames were right was refused behind the ping after it: only such a one may be so."""
    hung_up = role.cuts and not case.leaves and not got.closes and got.ended
    return role.judges_late and (hung_up or (got.closes == 1 and got.close in codes))


def _failed(got: Got, codes: tuple[int, ...], cuts: bool) -> list[str]:
    wrong = []
    if STILL_HERE in got.pongs:
        wrong.append("it went on")
    if got.closes and got.close not in codes:
        wrong.append(f"closed with {got.close}, not {' or '.join(map(str, codes))}")
    if not got.closes and not cuts:
        wrong.append("no close frame")
    if not got.closes and not got.ended:
        wrong.append("the connection didn't end")
    return wrong


def _closed(got: Got, code: int | None, pongs: list[bytes]) -> list[str]:
    wrong = []
    if got.pongs != pongs:
        wrong.append(f"pongs {[each.hex() for each in got.pongs]}, not {[each.hex() for each in pongs]}")
    if got.closes != 1 or got.close != (code or 0):
        wrong.append(f"closed {got.closes} times, with {got.close}, not once with {code}")
    return wrong


def opening_faults(opening: Opening, head: bytes, statuses: tuple[int, ...] | None = None) -> list[str]:
    """Return what was wrong with the answer to an opening handshake; `statuses`: where a role has its own."""
    allowed = opening.statuses if statuses is None else statuses
    if not head:
        return [] if opening.hangs_up else ["no answer"]
    first, *rest = head.decode("latin-1").split("\r\n")
    fields = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in rest if line)}
    status = int(first.split(" ")[1])
    wrong = [] if status in allowed else [f"status {status}, not {' or '.join(map(str, allowed))}"]
    if status in SWITCHED:
        return wrong + _switched(fields)
    if status == 426 and (fields.get("sec-websocket-version") != "13" or fields.get("upgrade") != "websocket"):
        wrong.append("426 without Upgrade and Sec-WebSocket-Version: 13")
    return wrong


def _switched(fields: dict[str, str]) -> list[str]:
    wrong = []
    asked = {"upgrade": "websocket", "connection": "upgrade", "sec-websocket-accept": ACCEPT}
    for name, value in asked.items():
        given = fields.get(name, "")
        if (given if name == "sec-websocket-accept" else given.lower()) != value:
            wrong.append(f"{name}: {given or 'missing'}")
    unasked = ("sec-websocket-extensions", "sec-websocket-protocol")
    return wrong + [f"{name}: {fields[name]}, which nobody agreed" for name in unasked if name in fields]
