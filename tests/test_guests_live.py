"""The live socket for guests: whom it lets in, how soon it lets go of who isn't invited any more, and what it tells."""

from dataclasses import replace

import pytest
from websockets.asyncio.client import ClientConnection
from websockets.exceptions import ConnectionClosed
from websockets.frames import Opcode
from websockets.typing import Subprotocol

from fair_time import fair_s
from guests_of import ADA, BOB, ENDS_S, EVE, EVERYBODY, TOKENS, WRONG, WallClock, hosting, invite, protocols
from peers import (
    FAST,
    RawPeer,
    closed_with,
    exchange,
    frames_of,
    live,
    masked,
    on_both_loops,
    publish,
    take,
    until,
    upgrade,
)
from relay.core.guests import Guest
from relay.core.websocket import CloseCode
from relay.shell.site.site import Site
from released import dive, endless_dive

FAMILY = "audience=family"


def offers(guest: Guest) -> dict[str, list[Subprotocol]]:
    """Return what a guest's page offers, for the library `websockets`."""
    return {"subprotocols": [Subprotocol("offing"), Subprotocol(f"guest.{TOKENS[guest]}")]}


async def code_of(viewer: ClientConnection) -> int | None:
    """Return the code with which a viewer is closed, whatever comes before."""
    try:
        while True:
            await viewer.recv()
    except ConnectionClosed as closed:
        return closed.rcvd.code if closed.rcvd else None


@on_both_loops
async def test_guest_follows_the_audience_and_the_token_is_not_in_the_answer() -> None:
    """The same bytes as an open audience's viewers get; of what was offered the answer names `offing` alone."""
    async with hosting() as site, live(site, FAMILY, **offers(ADA)) as viewer:
        assert viewer.subprotocol == "offing"
        assert viewer.response is not None
        assert TOKENS[ADA] not in str(viewer.response.headers)
        sent = publish(site, dive(1, 4, audience="family"))
        publish(site, dive(1, 2))
        assert await take(viewer, len(sent)) == sent
        assert site.figures().viewers == {"public": 0, "family": 1, "funders": 0}


@on_both_loops
async def test_guest_resumes_after_what_is_held() -> None:
    """A reconnect with the token goes on after the last record, as anywhere."""
    frames = dive(1, 6, audience="family")
    async with hosting() as site:
        publish(site, frames[:5])
        async with live(site, f"{FAMILY}&dive=1&after=2", **offers(ADA)) as viewer:
            publish(site, frames[5:])
            assert await take(viewer, len(frames) - 3) == [frame.data for frame in frames[3:]]


@pytest.mark.parametrize(
    "fields",
    [
        (),
        ("Sec-WebSocket-Protocol: offing",),
        (protocols(WRONG),),
        (protocols(TOKENS[EVE]),),
        (protocols(TOKENS[ADA].upper()),),
        (protocols(TOKENS[ADA]), protocols(TOKENS[ADA])),
        (protocols(f"{TOKENS[ADA]}, guest.{WRONG}"),),
        (f"Sec-WebSocket-Protocol: offing, {TOKENS[ADA]}",),
        (f"Authorization: Bearer {TOKENS[ADA]}",),
        (f"Cookie: guest={TOKENS[ADA]}",),
    ],
)
@on_both_loops
async def test_without_a_token_that_counts_the_socket_is_that_of_an_unknown_audience(fields: tuple[str, ...]) -> None:
    """Byte for byte, up to the close with 4003, whatever dive is asked for."""
    async with hosting(limits=replace(FAST, wrong_tokens=0)) as site:
        publish(site, dive(1, 2, audience="family"))
        for query in ("", "&dive=1&after=0", "&dive=9&after=-1"):
            closing = masked(Opcode.CLOSE, b"")
            hidden = await exchange(site, upgrade(f"audience=family{query}", *fields) + closing)
            assert hidden == await exchange(site, upgrade(f"audience=nobody{query}", *fields) + closing)
            assert frames_of_any(hidden, bool(fields) and "offing" in fields[0]) == [CloseCode.UNKNOWN_AUDIENCE]


def frames_of_any(raw: bytes, spoken: bool) -> list[int]:
    """Return the close codes behind an answer; `spoken`: it has to name the protocol that was offered."""
    head, _, rest = raw.partition(b"\r\n\r\n")
    named = b"\r\nSec-WebSocket-Protocol: offing"
    assert (named in head) == spoken
    frames = frames_of(head.replace(named, b"") + b"\r\n\r\n" + rest)
    return [int.from_bytes(bytes(frame.data)[:2]) for frame in frames if frame.opcode is Opcode.CLOSE]


@on_both_loops
async def test_token_in_the_address_of_a_socket_counts_nothing() -> None:
    """A link that somebody pastes as an address of the socket opens nothing, and so is in no log for anything."""
    async with hosting() as site:
        token = TOKENS[ADA]
        for query in (f"{FAMILY}&guest={token}", f"{FAMILY}&token={token}", f"guest={token}&{FAMILY}"):
            assert await closed_with(site, query) == CloseCode.UNKNOWN_AUDIENCE


@on_both_loops
async def test_open_audience_needs_no_token_and_judges_none() -> None:
    """A guest's page may follow it as everybody does, with a wrong token, too."""
    async with hosting(limits=replace(FAST, wrong_tokens=1)) as site:
        offered = [Subprotocol("offing"), Subprotocol(f"guest.{WRONG}")]
        for _ in range(3):
            async with live(site, subprotocols=offered) as viewer:
                assert viewer.subprotocol == "offing"
        assert site.guests.wrong == 0


@on_both_loops
async def test_sockets_close_within_a_second_of_being_uninvited() -> None:
    """All of that guest's with 4005, nobody else's; a frame that is released next reaches the others alone."""
    async with (
        hosting() as site,
        live(site, FAMILY, **offers(ADA)) as first,
        live(site, FAMILY, **offers(ADA)) as second,
        live(site, FAMILY, **offers(BOB)) as bob,
        live(site) as public,
    ):
        frames = dive(1, 4, audience="family")
        publish(site, frames[:2])
        began = fair_s()
        invite(site, 2, (BOB, EVE))
        publish(site, frames[2:])
        publish(site, dive(1, 1))
        assert [await code_of(viewer) for viewer in (first, second)] == [CloseCode.UNINVITED] * 2
        assert fair_s() - began < 1
        assert len(await take(bob, len(frames))) == len(frames)
        await take(public, 2)
        assert await closed_with_token(site, ADA) == CloseCode.UNKNOWN_AUDIENCE


async def closed_with_token(site: Site, guest: Guest) -> int | None:
    """Return the code with which the site closes a guest's new socket at once."""
    async with live(site, FAMILY, **offers(guest)) as viewer:
        return await code_of(viewer)


@on_both_loops
async def test_who_is_uninvited_gets_no_record_after_it() -> None:
    """Of what is released in the same moment, after the invitation was taken back, not a byte is written."""
    async with hosting() as site:
        raw = await RawPeer.dial(site, upgrade(FAMILY, protocols(TOKENS[ADA])))
        await until(lambda: site.figures().viewers["family"] == 1)
        frames = dive(1, 4, audience="family")
        publish(site, frames[:2])
        invite(site, 2, (BOB, EVE))
        publish(site, frames[2:])
        received = await raw.rest()
        assert frames[1].data in received
        assert frames[2].data not in received


@on_both_loops
async def test_who_does_not_go_is_cut_off_within_a_second_and_what_waits_is_thrown_away() -> None:
    """A guest's client that reads nothing and answers no close is reset, with what the kernel still held for it."""
    async with hosting(limits=replace(FAST, close_s=5.0)) as site:
        raw = await RawPeer.dial(site, upgrade(FAMILY, protocols(TOKENS[ADA])), receive_octets=4_096)
        await until(lambda: site.figures().viewers["family"] == 1)
        frames = endless_dive(1, "family", "word " * 90)
        while site.figures().viewers["family"] and not site._invited["family"].full:
            site.publish(next(frames))
        began = fair_s()
        invite(site, 2, (BOB, EVE))
        await until(lambda: site.figures().connections == 0)
        assert fair_s() - began < 1.5
        await raw.rest()
        assert raw.reset


@on_both_loops
async def test_socket_closes_when_the_invitation_ends_by_the_clock() -> None:
    """At the next turn after its last second, with 4005; who has no end stays."""
    clock = WallClock()
    async with (
        hosting(wall_s=clock) as site,
        live(site, FAMILY, **offers(ADA)) as ada,
        live(site, FAMILY, **offers(BOB)) as bob,
    ):
        clock.at_s = ENDS_S - 0.001
        site.turn()
        sent = publish(site, dive(1, 1, audience="family"))
        assert await take(ada, len(sent)) == sent
        clock.at_s = float(ENDS_S)
        assert await code_of(ada) == CloseCode.UNINVITED
        assert await take(bob, len(sent)) == sent


@on_both_loops
async def test_guest_whose_audience_is_another_now_is_let_go() -> None:
    """A listing that moves a guest ends what the old audience was shown over."""
    async with hosting() as site, live(site, FAMILY, **offers(ADA)) as ada:
        invite(site, 2, (replace(ADA, audience="funders"), BOB, EVE))
        assert await code_of(ada) == CloseCode.UNINVITED


@on_both_loops
async def test_one_invitation_opens_so_many_sockets() -> None:
    """One more is told 1013; another guest has seats of their own; a socket that goes gives its place back."""
    async with hosting(limits=replace(FAST, connections_per_guest=2)) as site:
        async with live(site, FAMILY, **offers(ADA)), live(site, FAMILY, **offers(ADA)):
            assert await closed_with_token(site, ADA) == CloseCode.FULL
            async with live(site, FAMILY, **offers(BOB)) as bob:
                sent = publish(site, dive(1, 1, audience="family"))
                assert await take(bob, len(sent)) == sent
        await until(lambda: site.figures().connections == 0)
        async with live(site, FAMILY, **offers(ADA)) as again:
            sent = publish(site, dive(2, 1, audience="family"))
            assert await take(again, len(sent)) == sent


@on_both_loops
async def test_guessing_on_sockets_keeps_no_guest_out() -> None:
    """Each wrong token costs its socket, however many there were; a right one is let in, and who was in stays in."""
    async with hosting(limits=replace(FAST, wrong_tokens=3)) as site, live(site, FAMILY, **offers(ADA)) as ada:
        wrong = [Subprotocol("offing"), Subprotocol(f"guest.{WRONG}")]
        for _ in range(5):
            async with live(site, FAMILY, subprotocols=wrong) as viewer:
                assert await code_of(viewer) == CloseCode.UNKNOWN_AUDIENCE
        async with live(site, FAMILY, **offers(BOB)) as bob:
            sent = publish(site, dive(1, 1, audience="family"))
            assert await take(ada, len(sent)) == await take(bob, len(sent)) == sent


@on_both_loops
async def test_followers_of_an_invited_audience_are_not_counted_for_the_public() -> None:
    """`followers.json` says how many follow what is open, however many guests there are."""
    async with hosting() as site, live(site), live(site, FAMILY, **offers(ADA)), live(site, FAMILY, **offers(BOB)):
        await until(lambda: sum(site.figures().viewers.values()) == 3)
        answer = await exchange(site, b"GET /followers.json HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        assert answer.endswith(b'{"followers": 1}')


@on_both_loops
async def test_site_that_starts_again_knows_nobody_until_it_is_told() -> None:
    """What let them in is the listing: before it comes, everybody's token is nobody's."""
    async with hosting() as site:
        pass
    async with hosting() as site:
        invite(site, 2, ())
        assert await closed_with_token(site, ADA) == CloseCode.UNKNOWN_AUDIENCE
        invite(site, 3, EVERYBODY)
        async with live(site, FAMILY, **offers(ADA)) as viewer:
            invite(site, 4, ())
            assert await code_of(viewer) == CloseCode.UNINVITED
