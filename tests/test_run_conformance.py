"""The table of RFC 6455 on running servers of every kind, and what it finds where a server breaks a rule."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from websockets.frames import Frame

import wire_cases
import wire_dialled
import wire_openings
from described_http import Checked
from peers import FAST, running
from relay.core import websocket
from relay.core.websocket import ClientFrames, Fault, Unwelcome, encode_pong
from run_conformance import (
    DIALS,
    RUNS,
    SERVERS,
    SOCKETS,
    Looked,
    Row,
    ended,
    framing,
    not_tried,
    openings,
    spread,
    websockets,
)
from wire_cases import Case, Must
from wire_frames import BINARY, MASK, PING, BadlyServedError, Served, frame, served
from wire_line import Got
from wire_servers import followers
from wire_verdict import Role, faults

LISTENS = Role(takes=False, refusing=(1008,))


def test_hand_made_frames_are_those_of_the_rfc() -> None:
    """RFC 6455 section 5.7: a masked "Hello", a masked pong, 256 octets in 16 bits of length, 64 KiB in 64."""
    assert frame(1, b"Hello") == bytes.fromhex("818537fa213d7f9f4d5158")
    assert frame(10, b"Hello") == bytes.fromhex("8a8537fa213d7f9f4d5158")
    assert frame(2, bytes(256), mask=None)[:4] == bytes.fromhex("827e0100")
    assert frame(2, bytes(65_536), mask=None)[:10] == bytes.fromhex("827f0000000000010000")
    assert frame(1, b"Hel", fin=False, mask=None) + frame(0, b"lo", mask=None) == bytes.fromhex("010348656c80026c6f")
    assert MASK == bytes.fromhex("37fa213d")


@pytest.mark.parametrize(
    "raw", ["8285000000004865", "c203", "83 00", "0900", "897e0001", "827e007d", "827f0000000000000001"]
)
def test_frame_that_no_server_may_write_is_noticed(raw: str) -> None:
    """Masked, with reserved bits, of an unknown opcode, a control frame in pieces or long, a length in a long form."""
    with pytest.raises(BadlyServedError):
        served(bytes.fromhex(raw))


def test_clients_frame_is_read_without_its_mask_and_no_other() -> None:
    """RFC 6455 section 5.7: the masked "Hello"; the unmasked one is no client's."""
    assert served(bytes.fromhex("818537fa213d7f9f4d51588a"), masked=True) == ([Served(1, b"Hello")], b"\x8a")
    with pytest.raises(BadlyServedError):
        served(bytes.fromhex("810548656c6c6f"), masked=True)


def test_every_opcode_close_code_and_length_is_among_the_cases() -> None:
    """The sixteen opcodes, thirty codes of section 7.4 that may or may not travel; and no name is there twice."""
    cases = [case for _, case in wire_cases.every()]
    assert {case.raw[0] & 0x0F for case in cases} == set(range(16))
    codes = (*wire_cases.VALID_CODES, *wire_cases.INVALID_CODES)
    sent = {frame(8, code.to_bytes(2)) for code in codes}
    assert len(sent) == len(codes) == 30
    assert sent <= {case.raw for case in cases}
    assert len({(group, case.name) for group, case in wire_cases.every()}) == len(cases) > 280
    assert len({opening.name for _, opening in wire_openings.every()}) == len(list(wire_openings.every())) > 50


@pytest.mark.slow
async def test_cases_are_right_on_every_websocket_of_a_running_ship_and_shore(tmp_path: Path) -> None:
    """Followers with TLS and without, stations, the link before its proof and after it; the desk has no socket."""
    said: list[str] = []
    rows = await websockets(tmp_path, said.append, singly=False, most=3)
    assert [row for row in rows if row.wrong] == []
    assert {row.server for row in rows} == set(SERVERS)
    assert not_tried(rows) == []
    assert len(said) == len({(row.server, row.group) for row in rows}) >= 70


async def test_octets_one_at_a_time_change_nothing() -> None:
    """Cases of every group at the followers' socket, and each short one sent octet by octet, too."""
    async with running(limits=FAST) as site:
        rows = await framing(followers("followers", site.address[1]), spread(wire_cases.every(), 8), singly=True)
    assert [row for row in rows if row.wrong] == []
    assert sum("octet by octet" in row.name for row in rows) > 35
    assert {row.group for row in rows if "octet by octet" in row.name} == {group for group, _ in wire_cases.every()}


async def _wrong_with(groups: set[str]) -> set[str]:
    """Return which of some groups of cases have one that is wrong."""
    async with running(limits=FAST) as site:
        tested = followers("followers", site.address[1])
        cases = [each for each in wire_cases.every() if each[0] in groups]
        rows: list[Row] = await framing(tested, cases, singly=False)
        rows += await openings(tested, [each for each in wire_openings.every() if each[0] in groups])
    return {row.group for row in rows if row.wrong}


async def test_client_that_forgets_a_rule_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library's check of a frame taken away: a dialled station's reserved bits and long control frames pass."""
    monkeypatch.setattr(Frame, "check", lambda self: None)
    cases = [each for each in wire_dialled.every() if each[0] in ("reserved bits", "pings")]
    wrong = {group for group, _, faults in await wire_dialled.framing(cases) if faults}
    assert wrong == {"reserved bits"}


_faulty, _may = websocket._is_faulty, websocket._may_be_sent
BROKEN: list[tuple[dict[str, Any], set[str]]] = [
    ({"_is_faulty": lambda first, second: _faulty(first & 0x8F, second)}, {"reserved bits"}),
    ({"_is_faulty": lambda first, second: _faulty(first | 0x80, second)}, {"fragments"}),
    ({"_LEAST": {0: 0, 2: 0, 8: 0}}, {"long forms"}),
    ({"_may_be_sent": lambda code: _may(code) or code == 1005}, {"closing"}),
    ({"_may_be_sent": lambda code: _may(code) and code != 4999}, {"closing"}),
    ({"unmask": lambda payload, mask: payload}, {"masks", "pings", "UTF-8"}),
    ({"_is_key": lambda text: True}, {"wrong fields"}),
    ({"VERSION": "8"}, {"openings", "wrong versions"}),
]


@pytest.mark.parametrize(("broken", "groups"), BROKEN)
async def test_each_rule_that_is_broken_is_found(
    monkeypatch: pytest.MonkeyPatch, broken: dict[str, Any], groups: set[str]
) -> None:
    """A server that forgets a rule is wrong in the rows of that rule, at least."""
    for name, value in broken.items():
        monkeypatch.setattr(websocket, name, value)
    assert await _wrong_with(groups) == groups


@pytest.mark.parametrize(
    ("got", "must"),
    [
        (Got(pongs=[b"still here?"], close=1000, closes=1, ended=True), Must.FAIL),
        (Got(close=1008, closes=1, ended=True), Must.FAIL),
        (Got(ended=True), Must.FAIL),
        (Got(close=1002, closes=1, ended=True), Must.PONG),
        (Got(close=1000, closes=1, ended=True), Must.PONG),
        (Got(close=1001, closes=1, ended=True), Must.CLOSE),
        (Got(close=1000, closes=1, broke="masked"), Must.CLOSE),
        (Got(close=1000, closes=1), Must.TAKE),
    ],
)
def test_verdict_sees_what_is_wrong(got: Got, must: Must) -> None:
    """Going on after a breach, another code, no close frame, a ping unanswered, a code that isn't echoed."""
    assert faults(Case("", "", b"", must, close=1000), LISTENS, got)


@pytest.mark.parametrize(("code", "right"), [(4002, True), (1007, True), (1008, False), (1000, False), (None, True)])
def test_verdict_lets_a_message_be_refused_behind_the_ping_after_it(code: int | None, right: bool) -> None:
    """Who judges a message late may answer a ping first, and then refuses with its own code, or hangs up as it may."""
    late = Role(takes=False, refusing=(4002,), cuts=True, judges_late=True)
    got = Got(pongs=[b"still here?"], close=code, closes=code is not None, ended=True)
    assert (faults(Case("", "", b"", Must.TAKE_TEXT), late, got) == []) == right
    assert right is False or faults(Case("", "", b"", Must.TAKE_TEXT), replace(late, judges_late=False), got)


@pytest.mark.parametrize(("code", "right"), [(1007, True), (1000, False), (1003, False), (None, False)])
def test_verdict_lets_nobody_take_text_that_is_not_utf_8(code: int | None, right: bool) -> None:
    """RFC 6455 section 8.1: who takes messages fails the connection, with 1007, be it behind the ping after it."""
    for pongs in ([], [b"still here?"]):
        got = Got(pongs=pongs, close=code, closes=code is not None, ended=True)
        assert (faults(Case("", "", b"", Must.TAKE_TEXT), Role(takes=True, most=100), got) == []) == right


def test_verdict_lets_nobody_answer_a_ping_behind_a_breach_of_the_protocol() -> None:
    """RFC 6455 section 7.1.7: only messages are judged late; a reserved bit fails the connection where it stands."""
    late = Role(takes=False, refusing=(4002,), cuts=True, judges_late=True)
    went_on = Got(pongs=[b"still here?"], close=1002, closes=1, ended=True)
    assert faults(wire_cases.fails("", "", b""), late, went_on) == ["it went on"]
    assert faults(wire_cases.fails("", "", b""), late, replace(went_on, pongs=[])) == []


def test_data_frame_that_was_not_begun_or_is_in_a_long_form_fails() -> None:
    """RFC 6455 sections 5.4 and 5.2: found by the table; before, it was taken for a message (1008)."""
    for raw in (frame(0, b"x"), frame(BINARY, b"x", form=16), frame(BINARY, bytes(126), form=64)):
        assert ClientFrames().receive(raw) == [Fault(websocket.CloseCode.PROTOCOL_ERROR)]
    frames = ClientFrames()
    assert frames.receive(frame(BINARY, b"a", fin=False) + frame(0, b"b")) == [Unwelcome()]
    assert frames.receive(frame(0, b"c")) == [Fault(websocket.CloseCode.PROTOCOL_ERROR)]
    assert encode_pong(b"x") == frame(10, b"x", mask=None)
    assert frame(PING, b"x")[:2] == b"\x89\x81"


def rows_of_all() -> list[Row]:
    """Return a row for each group of cases on each server, with nothing wrong."""
    frames, shakes, dials = ({one for one, _ in each.every()} for each in (wire_cases, wire_openings, wire_dialled))
    asked = dict.fromkeys(SOCKETS, shakes | frames) | {"desk, aboard": shakes, DIALS: dials | {"answers"}}
    return [Row(server, group, "a case", ()) for server, those in asked.items() for group in those]


def looked(name: str, tested: int = 3, requests: int = 30, ok: bool = True) -> Looked:
    """Return what a run of the library said that was to try three paths, in its own words."""
    return Looked(name, 3, Checked(ok, f"API Operations:\n  Tested: {tested}\n  {requests} generated\n"))


ALL_LOOKED = [looked(name) for name in RUNS]


def test_run_in_which_all_was_tried_ends_with_0() -> None:
    """It says how much was tried, and how much was to be."""
    said: list[str] = []
    assert ended(rows_of_all(), ALL_LOOKED, 100, said.append) == 0
    (last,) = said
    assert "on 7 of 7 servers, 0 wrong; 120 requests in 4 of 4 runs, 100 asked for on each path" in last


@pytest.mark.parametrize(
    ("rows", "runs", "words"),
    [
        ([], ALL_LOOKED, "followers, aboard: no case of pings"),
        ([row for row in rows_of_all() if row.server != DIALS], ALL_LOOKED, f"{DIALS}: no case of answers"),
        ([row for row in rows_of_all() if row.group != "pings"], ALL_LOOKED, "uplink, proved (TLS): no case of pings"),
        (rows_of_all(), [], "HTTP, ashore, the watch: it wasn't tried"),
        (rows_of_all(), ALL_LOOKED[1:], "HTTP, ashore, a stranger: it wasn't tried"),
        (rows_of_all(), [*ALL_LOOKED[1:], looked("HTTP, ashore, a stranger", tested=2)], "1 wrong; 0 parts"),
        (rows_of_all(), [*ALL_LOOKED[1:], looked("HTTP, ashore, a stranger", requests=0)], "1 wrong; 0 parts"),
        (rows_of_all(), [*ALL_LOOKED[1:], looked("HTTP, ashore, a stranger", ok=False)], "1 wrong; 0 parts"),
    ],
)
def test_what_was_not_tried_is_no_pass(rows: list[Row], runs: list[Looked], words: str) -> None:
    """No case, a server or a group of cases left out; no run, a path passed over, no request, and what was found."""
    said: list[str] = []
    assert ended(rows, runs, 100, said.append) == 1
    assert words in "\n".join(said)


def test_library_that_said_nothing_tried_nothing() -> None:
    """What it prints where it found no path at all is no pass, though it ended well."""
    assert Looked("a run", 3, Checked(True, "")).wrong == ("0 of 3 paths were tried", "0 requests to 3 paths")
    assert Looked("a run", 0, Checked(True, "")).wrong
