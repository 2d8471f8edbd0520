"""What the ship makes of what the shore says it holds: lists of guests, and dives that she lost herself."""

from hashlib import sha256
from pathlib import Path

from link_ends import MemoryShore, harbour, listing, sealed, underway, until
from relay.core.guests import Guest
from relay.core.uplink_talk import PIECE_OCTETS, Listed
from released import dive
from test_uplink import FIRST, SECOND, data, ship


async def test_list_of_guests_goes_only_when_it_is_newer_than_what_the_shore_holds(tmp_path: Path) -> None:
    """A link that begins again costs no list that is there already, and the shore's own newest is gone beyond."""
    async with harbour(tmp_path) as here:
        uplink = ship(here, frames=FIRST)
        uplink.guests(listing(5))
        asked: list[int] = []

        def outrun(number: int) -> None:
            asked.append(number)
            uplink.guests(listing(number + 1))

        uplink.outrun = outrun
        async with underway(uplink):
            await until(lambda: here.shore.listings == [listing(5)])
            for _ in range(2):
                await here.port.close()
                await here.open()
                await until(lambda: here.port.facts.linked)
                uplink.publish(SECOND[len(here.shore.frames["public"]) - len(FIRST)])
                await until(lambda: uplink.facts()["audiences"]["public"]["behind_records"] == 0)
            assert (here.shore.listings, asked) == ([listing(5)], [])
            here.shore.listings.append(listing(9))
            await here.port.close()
            await here.open()
            await until(lambda: here.shore.listings[-1] == listing(10))
            assert asked == [9]
            await until(lambda: uplink.alarms() == [])


async def test_list_of_guests_that_can_not_be_gone_beyond_is_an_alarm(tmp_path: Path) -> None:
    """A shore that claims a number which no ship told gets no list, and the desk is told; records go on."""
    async with harbour(tmp_path) as here:
        here.shore.claims = Listed(2**62, bytes(32))
        uplink = ship(here, frames=FIRST)
        uplink.guests(listing(5))
        uplink.outrun = lambda number: None
        async with underway(uplink):
            await until(lambda: here.shore.frames["public"] == data(FIRST))
            assert ["later list of guests" in alarm for alarm in uplink.alarms()] == [True]
            assert here.shore.listings == []


async def test_first_audience_goes_before_the_list_of_guests_and_that_before_the_others(tmp_path: Path) -> None:
    """A link that holds for a short while carries what the public is told, however many guests there are."""
    shore = MemoryShore("public", "funders")
    guests = [Guest(f"{at:08x}", "funders", sha256(bytes([at % 256, at // 256])).digest()) for at in range(1_000)]
    frames = sealed([*dive(1, 200), *dive(1, 20, audience="funders")])
    async with harbour(tmp_path, shore) as here:
        uplink = ship(here, "public", "funders", frames=frames)
        uplink.guests(listing(5, *guests))
        async with underway(uplink):
            await until(lambda: sum(map(len, shore.frames.values())) == len(frames))
        assert list(dict.fromkeys(name for name, _ in shore.calls)) == ["public", "guests", "funders"]
        assert shore.calls[1][0] == "guests", "the rest of the first audience may be long"


async def test_other_audiences_go_little_at_a_time(tmp_path: Path) -> None:
    """What is released to the first waits for a piece of the others' and a record, not for a batch."""
    shore = MemoryShore("public", "funders")
    frames = sealed(dive(1, 200, audience="funders"))
    async with harbour(tmp_path, shore) as here, underway(ship(here, "public", "funders", frames=frames)):
        await until(lambda: len(shore.frames["funders"]) == len(frames))
        at = 0
        for _, count in shore.calls:
            assert sum(len(frame) for frame in data(frames)[at : at + count - 1]) < PIECE_OCTETS
            at += count


async def test_dive_that_the_ship_lost_is_told_of_and_what_follows_goes_on(tmp_path: Path) -> None:
    """What the shore holds of it is left as it is: it may be the only copy, and nobody is told to take it away."""
    shore, third = MemoryShore(), sealed(dive(3, 12))
    shore.frames["public"] = data(FIRST + sealed(dive(2, 30)))
    before = list(shore.frames["public"])
    async with harbour(tmp_path, shore) as here, underway(ship(here, frames=FIRST)) as uplink:
        await until(lambda: any("holds more of public" in alarm for alarm in uplink.alarms()))
        for frame in third:
            uplink.publish(frame)
        await until(lambda: shore.frames["public"] == before + data(third))
        (alarm,) = uplink.alarms()
        assert "holds dive 2 of public, which this relay can't read any more: it is left as it is" in alarm
