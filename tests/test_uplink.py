"""The link over real TLS sockets: everything released arrives once and in order, whatever becomes of the link."""

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest
from websockets.asyncio.server import ServerConnection, serve

from certificates import self_signed
from fair_time import kept_waiting_s
from link_ends import QUICK, SIGNER, Harbour, MemoryShore, harbour, listing, sealed, underway, until, wire
from peers import on_both_loops
from relay.core.errors import InvitationError
from relay.core.guests import Listing, write_listing
from relay.core.seal import Signer
from relay.core.uplink_talk import BATCH_OCTETS, PIECE_OCTETS, WORDS, Ends, write_challenge
from relay.shell.plan.uplink_plan import UplinkPlan, shore_pin
from relay.shell.released.outlet import Frame
from relay.shell.uplink.uplink import Uplink
from relay.shell.uplink.uplink_session import LinkLimits
from relay.shell.uplink.uplink_tls import certificate_of, pin_of, shore_tls
from released import dive, programme

STALL_S = QUICK.answer_s - QUICK.keep_s  # who gets no processor for so long may miss a sign of life


def ship(
    here: Harbour,
    *audiences: str,
    frames: list[Frame] | None = None,
    port: int | None = None,
    limits: LinkLimits = QUICK,
) -> Uplink:
    """Return a ship's end that has released some frames."""
    uplink = Uplink(here.plan(*audiences, port=port), SIGNER, limits)
    for frame in frames or []:
        uplink.publish(frame)
    return uplink


def data(frames: list[Frame]) -> list[bytes]:
    """Return the bytes of frames."""
    return [frame.data for frame in frames]


FIRST, SECOND = sealed(dive(1, 20)), sealed(dive(2, 30, closed=False))


@on_both_loops
async def test_all_that_was_and_is_released_arrives_once_and_in_order(tmp_path: Path) -> None:
    """What was released before the link and during it is ashore, byte for byte; followers are told back."""
    began_s = kept_waiting_s()
    async with harbour(tmp_path) as here, underway(ship(here, frames=FIRST)) as uplink:
        here.shore.followers = {"public": 7}
        await until(lambda: here.shore.frames["public"] == data(FIRST))
        for frame in SECOND:
            uplink.publish(frame)
            await asyncio.sleep(0)
        await until(lambda: here.shore.frames["public"] == data(FIRST + SECOND))
        await until(lambda: uplink.facts()["audiences"]["public"]["behind_records"] == 0)
        facts = uplink.facts()
        public = facts["audiences"]["public"]
        assert (facts["state"], uplink.alarms()) == ("up", [])
        assert facts["outages"] <= int((kept_waiting_s() - began_s) / STALL_S)
        assert (public["held_dive"], public["held_seq"], public["behind_s"]) == (2, len(SECOND) - 1, 0.0)
        assert public["followers"] == 7
        assert here.port.facts.linked


async def test_first_listed_audience_goes_first(tmp_path: Path) -> None:
    """What the public is told is there before a record of the next audience is sent, however much there is."""
    funders = sealed(dive(1, 200, audience="funders"))
    shore = MemoryShore("funders", "public")
    public = sealed(dive(1, 200))
    async with harbour(tmp_path, shore) as here, underway(ship(here, "public", "funders", frames=funders + public)):
        await until(lambda: shore.frames == {"public": data(public), "funders": data(funders)})
        names = [name for name, _ in shore.calls]
        assert names == sorted(names, reverse=True) and len(names) > 4


async def test_audience_that_is_not_listed_never_leaves(tmp_path: Path) -> None:
    """A frame of any other audience is not kept for the link, though the shore would take it (R1)."""
    shore = MemoryShore("public", "heritage")
    private = sealed(dive(1, 3, audience="heritage"))
    async with harbour(tmp_path, shore) as here, underway(ship(here, frames=private + FIRST)) as uplink:
        await until(lambda: shore.frames["public"] == data(FIRST))
        assert (shore.frames["heritage"], list(uplink.facts()["audiences"])) == ([], ["public"])


async def test_programme_and_guests_go_ashore(tmp_path: Path) -> None:
    """The newest programme goes once, the list of guests with each change."""
    told = sealed([programme(at, f"word {at}") for at in range(3)])
    async with harbour(tmp_path) as here:
        uplink = ship(here, frames=told)
        uplink.guests(listing(1))
        async with underway(uplink):
            await until(lambda: here.shore.programmes["public"] == [told[-1].data])
            uplink.guests(listing(2))
            await until(lambda: here.shore.listings == [listing(1), listing(2)])
            uplink.publish(sealed([programme(9, "later")])[0])
            await until(lambda: len(here.shore.programmes["public"]) == 2)


async def test_shore_that_stops_and_comes_again_is_brought_up_to_date(tmp_path: Path) -> None:
    """What is released while the shore is away is sent when it is back, nothing twice; an outage is counted."""
    limits = replace(QUICK, answer_s=20.0)  # no answer is late on a busy machine: the shore's end is the one outage
    async with harbour(tmp_path) as here, underway(ship(here, frames=FIRST, limits=limits)) as uplink:
        await until(lambda: here.shore.frames["public"] == data(FIRST))
        await here.port.close()
        await until(lambda: uplink.facts()["state"] == "down" and "refused" in uplink.facts()["words"])
        for frame in SECOND:
            uplink.publish(frame)
        await until(lambda: any("no link to the shore" in alarm for alarm in uplink.alarms()))
        await here.open()
        await until(lambda: here.shore.frames["public"] == data(FIRST + SECOND))
        assert uplink.facts()["outages"] == 1
        await until(lambda: uplink.alarms() == [])


@on_both_loops
async def test_link_that_is_reset_at_any_moment_loses_and_doubles_nothing(tmp_path: Path) -> None:
    """The wire is snapped over and over while a dive is sent: the shore has each record once and in order."""
    frames = sealed(dive(1, 700))
    async with (
        harbour(tmp_path) as here,
        wire(here.port.address[1]) as (line, port),
        underway(ship(here, port=port, frames=frames[:10])) as uplink,
    ):
        for at in range(10, len(frames), 30):
            for frame in frames[at : at + 30]:
                uplink.publish(frame)
            goal = min(at, len(here.shore.frames["public"]) + 20)
            await until(lambda goal=goal: len(here.shore.frames["public"]) >= goal)  # type: ignore[misc]
            if at % 120 == 10:
                line.snap()
        await until(lambda: here.shore.frames["public"] == data(frames))
        assert uplink.facts()["outages"] >= 5


async def test_half_open_link_is_noticed_and_dialled_again(tmp_path: Path) -> None:
    """A wire that swallows everything without a word is given up by both sides' deadlines, and nothing is lost."""
    async with (
        harbour(tmp_path) as here,
        wire(here.port.address[1]) as (line, port),
        underway(ship(here, port=port, frames=FIRST)) as uplink,
    ):
        await until(lambda: here.shore.frames["public"] == data(FIRST))
        line.cut = True
        uplink.publish(SECOND[0])
        await until(lambda: uplink.facts()["state"] == "down")
        assert "nothing was answered" in uplink.facts()["words"]
        line.cut = False
        for frame in SECOND[1:]:
            uplink.publish(frame)
        await until(lambda: here.shore.frames["public"] == data(FIRST + SECOND))


async def test_link_without_news_is_kept_and_costs_little(tmp_path: Path) -> None:
    """A link that carries nothing for many deadlines stays up, by a few bytes each time."""
    async with (
        harbour(tmp_path) as here,
        wire(here.port.address[1]) as (line, port),
        underway(ship(here, port=port, frames=FIRST)) as uplink,
    ):
        await until(lambda: here.shore.frames["public"] == data(FIRST))
        for _ in range(5):  # again, if both ends got no processor for so long that each is silent to the other
            began_s, outages = kept_waiting_s(), uplink.facts()["outages"]
            before, messages = line.octets, here.port.facts.octets
            await until(lambda most=messages + 8 * 6: here.port.facts.octets >= most)  # type: ignore[misc]
            if uplink.facts()["outages"] == outages or kept_waiting_s() - began_s < STALL_S:
                break
            await until(lambda: uplink.facts()["state"] == "up")
        assert (uplink.facts()["state"], uplink.facts()["outages"]) == ("up", outages)
        assert line.octets - before < 12 * 120


async def test_full_disk_ashore_acknowledges_nothing_and_goes_on_when_there_is_room(tmp_path: Path) -> None:
    """The link ends with the reason, in the ship's words; when there is room again everything arrives."""
    shore = MemoryShore()
    shore.full = True
    async with harbour(tmp_path, shore) as here, underway(ship(here, frames=FIRST)) as uplink:
        await until(lambda: uplink.facts()["words"] == WORDS[Ends.NO_ROOM])
        assert uplink.facts()["audiences"]["public"]["behind_records"] == len(FIRST)
        await until(lambda: [WORDS[Ends.NO_ROOM] in alarm for alarm in uplink.alarms()] == [True])
        shore.full = False
        await until(lambda: shore.frames["public"] == data(FIRST))


async def test_shore_that_takes_nothing_costs_a_batch_at_a_time(tmp_path: Path) -> None:
    """Until a record was taken only a batch is under way, so that a full disk ashore doesn't fill the link in vain."""
    shore = MemoryShore()
    shore.full = True
    async with harbour(tmp_path, shore) as here, underway(ship(here, frames=sealed(dive(1, 900)))):
        await until(lambda: here.port.facts.links >= 4)
        assert here.port.facts.octets <= here.port.facts.links * (BATCH_OCTETS + PIECE_OCTETS)


async def test_shore_that_refuses_is_told_of(tmp_path: Path) -> None:
    """A record that the shore finds badly signed ends the link with that reason."""
    async with harbour(tmp_path) as here, underway(ship(here, frames=dive(1, 3))) as uplink:
        await until(lambda: ["refused a record of public" in alarm for alarm in uplink.alarms()] == [True])
        assert here.shore.frames["public"] == []


async def test_shore_that_was_lost_gets_everything_again(tmp_path: Path) -> None:
    """An empty shore is filled from the first record on."""
    async with harbour(tmp_path) as here, underway(ship(here, frames=FIRST + SECOND)):
        await until(lambda: here.shore.frames["public"] == data(FIRST + SECOND))
        await here.port.close()
        here.shore.frames["public"].clear()
        await here.open()
        await until(lambda: here.shore.frames["public"] == data(FIRST + SECOND))


async def test_shore_that_holds_other_records_is_never_overwritten(tmp_path: Path) -> None:
    """Nothing of that audience is sent, an alarm says so, and the next audience goes on."""
    shore = MemoryShore("public", "funders")
    shore.frames["public"] = data(sealed(dive(2, 25)))
    before, funders = list(shore.frames["public"]), sealed(dive(1, 3, audience="funders"))
    async with harbour(tmp_path, shore) as here, underway(ship(here, "public", "funders", frames=SECOND)) as uplink:
        for frame in funders:
            uplink.publish(frame)
        await until(lambda: shore.frames["funders"] == data(funders))
        assert shore.frames["public"] == before
        assert ["the shore holds other records of public" in alarm for alarm in uplink.alarms()] == [True]
        assert uplink.facts()["audiences"]["public"]["behind_records"] is None


async def test_shore_that_holds_more_is_waited_for(tmp_path: Path) -> None:
    """After a power cut the ship may have to grow again what she told: until then nothing is sent, then it goes on."""
    shore = MemoryShore()
    shore.frames["public"] = data(FIRST[:15])
    async with harbour(tmp_path, shore) as here, underway(ship(here, frames=FIRST[:10])) as uplink:
        await until(lambda: any("holds more of public" in alarm for alarm in uplink.alarms()))
        for frame in FIRST[10:]:
            uplink.publish(frame)
        await until(lambda: shore.frames["public"] == data(FIRST))
        await until(lambda: uplink.alarms() == [])


async def test_audience_that_the_shore_does_not_take_is_told_of(tmp_path: Path) -> None:
    """A name that SHORE.toml hasn't is an alarm, and sends nothing."""
    async with harbour(tmp_path) as here, underway(ship(here, "public", "press", frames=FIRST)) as uplink:
        await until(lambda: here.shore.frames["public"] == data(FIRST))
        assert [alarm for alarm in uplink.alarms() if "takes no audience press" in alarm]


async def test_shore_without_the_pinned_certificate_gets_no_proof(tmp_path: Path) -> None:
    """Whoever answers with another certificate is left before anything is said, and told of."""
    other = tmp_path / "other"
    other.mkdir()
    async with harbour(tmp_path) as here:
        at = here.port.address[1]
        plan = UplinkPlan("127.0.0.1", at, bytes.fromhex(pin_of(certificate_of(self_signed(other)[0]))[7:]))
        uplink = Uplink(plan, SIGNER, QUICK)
        uplink.publish(FIRST[0])
        async with underway(uplink):
            await until(lambda: here.port.facts.strangers >= 2 or here.port.facts.linked)
            assert "another certificate" in uplink.facts()["words"]
            assert here.port.facts.links == 0 and here.shore.frames["public"] == []


async def test_without_a_pin_an_unknown_authority_is_not_trusted(tmp_path: Path) -> None:
    """A certificate that signed itself isn't one of the system's authorities."""
    async with harbour(tmp_path) as here:
        uplink = Uplink(UplinkPlan("127.0.0.1", here.port.address[1]), SIGNER, QUICK)
        async with underway(uplink):
            await until(lambda: "doesn't trust" in uplink.facts()["words"])
            assert here.port.facts.links == 0


async def test_without_a_pin_a_trusted_authority_and_name_are_enough(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the system knows who signed the certificate, the name it was dialled by is compared instead of a pin."""
    async with harbour(tmp_path) as here:
        monkeypatch.setenv("SSL_CERT_FILE", str(here.certificate))
        uplink = Uplink(UplinkPlan("127.0.0.1", here.port.address[1]), SIGNER, QUICK)
        uplink.publish(FIRST[0])
        async with underway(uplink):
            await until(lambda: here.shore.frames["public"] == data(FIRST[:1]))


async def test_ship_with_another_key_gets_nothing(tmp_path: Path) -> None:
    """A relay whose key the shore doesn't have is told so, and learns nothing of what is held."""
    async with harbour(tmp_path) as here:
        uplink = Uplink(here.plan(), Signer(b"another seed of thirty-two bytes"), QUICK)
        uplink.publish(FIRST[0])
        async with underway(uplink):
            await until(lambda: uplink.facts()["words"] == WORDS[Ends.UNPROVED])
            assert here.port.facts.links == 0 and here.shore.frames["public"] == []


async def test_who_answers_but_is_no_shore_is_told_of(tmp_path: Path) -> None:
    """A port that speaks something else, or nothing, ends the attempt with words, and it is tried again."""
    async with harbour(tmp_path) as here:

        async def babble(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            writer.write(b"220 mail.example ready\r\n")
            await writer.drain()
            await reader.read(100)
            writer.close()

        server = await asyncio.start_server(babble, "127.0.0.1", 0)
        async with server:
            uplink = ship(here, port=server.sockets[0].getsockname()[1])
            async with underway(uplink):
                await until(lambda: "isn't a shore" in uplink.facts()["words"])


async def test_limit_holds_over_everything_the_link_carries(tmp_path: Path) -> None:
    """At 400 kbit/s, 60 KB that can't be deflated take more than a second, counted by the bytes on the wire."""
    shore = MemoryShore()
    frames = sealed(dive(1, 900))
    async with harbour(tmp_path, shore) as here, wire(here.port.address[1]) as (line, port):
        uplink = Uplink(here.plan(port=port, limit=400_000.0), SIGNER, QUICK)
        for frame in frames:
            uplink.publish(frame)
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        async with underway(uplink):
            await until(lambda: shore.frames["public"] == data(frames))
            took_s = loop.time() - began_s
        assert line.octets * 8 > 500_000
        # Both ways, all of TLS: what could go at once, two pieces and a piece under way, is the slack.
        assert line.octets * 8 / took_s < 400_000 + 8 * 4 * 4_096 / took_s
        assert uplink.facts()["sent_octets"] > line.octets


async def test_newer_link_of_the_ship_takes_the_place_of_the_older(tmp_path: Path) -> None:
    """Two relays with one key: the newest counts, the other is told so; what is taken stays in order."""
    async with harbour(tmp_path) as here, underway(ship(here, frames=FIRST)) as one:
        await until(lambda: here.shore.frames["public"] == data(FIRST))
        words: list[str] = []
        one._say = words.append  # type: ignore[method-assign]
        async with underway(ship(here, frames=FIRST + SECOND)):
            await until(lambda: WORDS[Ends.REPLACED] in words)
            await until(lambda: here.shore.frames["public"] == data(FIRST + SECOND))


@pytest.mark.parametrize(("code", "words"), [(Ends.NO_ROOM, WORDS[Ends.NO_ROOM]), (4_999, "the shore closed the link")])
async def test_words_of_the_shore_never_come_aboard(tmp_path: Path, code: int, words: str) -> None:
    """Why a link ended is told by its code in the ship's words; what the shore wrote beside it is nowhere (R6)."""

    async def rude(peer: ServerConnection) -> None:
        await peer.send(write_challenge(bytes(32)))
        await peer.recv()
        await peer.close(code, "canary 41.2 N 17.5 E")

    certificate, key = self_signed(tmp_path)
    async with serve(rude, "127.0.0.1", 0, ssl=shore_tls(certificate, key)) as server:
        pin = shore_pin(pin_of(certificate_of(certificate)))
        plan = UplinkPlan("127.0.0.1", next(iter(server.sockets)).getsockname()[1], pin)
        async with underway(Uplink(plan, SIGNER, QUICK)) as uplink:
            await until(lambda: uplink.facts()["words"] == words)
            assert "canary" not in repr((uplink.facts(), uplink.alarms()))


def test_frame_that_does_not_follow_is_our_fault() -> None:
    """The link keeps what it is given gapless; a list of guests that isn't this ship's is refused."""
    uplink = Uplink(UplinkPlan("shore.example", 8_444), SIGNER)
    uplink.publish(FIRST[0])
    uplink.publish(FIRST[2])  # the release goes on, whatever is wrong here
    uplink.publish(FIRST[1])
    assert ["public goes ashore no further: a fault of Offing's own" in alarm for alarm in uplink.alarms()] == [True]
    assert uplink._shores["public"].log.head.records == 1
    with pytest.raises(InvitationError, match="not the ship's"):
        uplink.guests(write_listing(Listing(1, {}), Signer(bytes(32))))
