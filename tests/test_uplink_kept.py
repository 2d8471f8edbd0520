"""What was released and yet stays aboard: what is held, refused ashore, unsigned, or would be shown to everybody."""

import dataclasses
import random
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from link_ends import QUICK, SIGNER, MemoryShore, harbour, sealed, underway, until
from relay.core.uplink_talk import PIECE_OCTETS
from relay.core.wire import footer
from relay.shell.uplink import uplink_session
from relay.shell.uplink.uplink import Uplink
from released import dive, dive_with_stills
from ship_in_hand import sailing, tell

PUBLIC, FAMILY = sealed(dive(1, 20)), sealed(dive(1, 20, audience="family"))
NOWHERE = '\n[uplink]\nto = "wss://127.0.0.1:9"\npin = "sha256:' + 64 * "0" + '"\n'


async def test_what_is_held_waits_aboard_and_follows_whole(tmp_path: Path) -> None:
    """A hold keeps the backlog of an outage aboard, too; the other audience goes on meanwhile."""
    async with harbour(tmp_path, MemoryShore("public", "family")) as here:
        uplink = Uplink(here.plan("public", "family"), SIGNER, QUICK)
        uplink.may_go = lambda audience: audience != "public"
        for frame in PUBLIC + FAMILY:
            uplink.publish(frame)
        async with underway(uplink):
            await until(lambda: len(here.shore.frames["family"]) == len(FAMILY))
            assert here.shore.frames["public"] == []
            uplink.may_go = lambda _: True
            uplink.stir()
            await until(lambda: here.shore.frames["public"] == [frame.data for frame in PUBLIC])


async def test_refused_audience_holds_up_no_other_and_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shore refuses the first audience's record: the second arrives over one link, and an alarm names the first."""
    async with harbour(tmp_path, MemoryShore("public", "family")) as here:
        uplink = Uplink(here.plan("public", "family"), SIGNER, QUICK)
        for frame in dive(1, 20) + FAMILY:
            uplink.publish(frame)
        async with underway(uplink):
            await until(lambda: len(here.shore.frames["family"]) == len(FAMILY))
            outages = uplink.facts()["outages"]
            assert ["refused a record of public" in alarm for alarm in uplink.alarms()] == [True]
            monkeypatch.setattr(uplink_session, "REFUSED_S", 0.0)
            uplink.stir()
            await until(lambda: uplink.facts()["outages"] > outages)
            assert here.shore.frames["public"] == []


async def test_nothing_by_invitation_goes_to_a_shore_that_would_show_it_to_everybody(tmp_path: Path) -> None:
    """Before the first record, with words on how to mend it; named under invited ashore, it is sent."""
    async with harbour(tmp_path, MemoryShore("public", "family")) as here:
        here.shore.open = {"public", "family"}
        plan = dataclasses.replace(here.plan("public", "family"), invited=frozenset({"family"}))
        uplink = Uplink(plan, SIGNER, QUICK)
        for frame in FAMILY + PUBLIC:
            uplink.publish(frame)
        async with underway(uplink):
            await until(lambda: len(here.shore.frames["public"]) == len(PUBLIC))
            assert here.shore.frames["family"] == []
            assert ["show family to everybody" in alarm for alarm in uplink.alarms()] == [True]
            await here.port.close()
            here.shore.open = {"public"}
            await here.open()
            await until(lambda: len(here.shore.frames["family"]) == len(FAMILY))
            await until(lambda: uplink.alarms() == [])


async def test_ship_keeps_aboard_what_is_held_and_dives_from_before_signatures(tmp_path: Path) -> None:
    """Held, nothing of an audience may go; an old dive is on her own site, and not among what is sent."""
    old = [frame.data for frame in dive(1, 5)]
    path = tmp_path / "dive-001.recording"
    path.write_bytes(b"".join([*old, footer(old)]))
    async with sailing(tmp_path / "ship", NOWHERE) as ship:
        assert ship.uplink is not None
        ship._restore_closed("public", path, 2)
        history = ship.site.history("public")
        assert history is not None
        assert (len(history.dives), ship.uplink.facts()["audiences"]["public"]["behind_records"]) == (1, None)
        assert ship.uplink._shores["public"].log.head.records == 0
        assert ship._may_go("public")
        assert (await tell(ship, "/decide", {"do": "hold", "who": "Ada", "audience": "public"}))["ok"]
        assert (ship._may_go("public"), ship._may_go("family")) == (False, True)


async def test_hold_keeps_aboard_what_is_on_its_way(tmp_path: Path) -> None:
    """A still that was begun never comes whole behind a hold; another audience goes on, over a link dialled anew.

    It is no outage and no alarm; nothing of it is begun again until it is resumed, and then all comes, each once.
    """
    noise, jpeg = Image.frombytes("RGB", (300, 300), random.Random(1).randbytes(270_000)), BytesIO()
    noise.save(jpeg, "JPEG", quality=90)
    still = sealed(dive_with_stills(1, [jpeg.getvalue()]))
    assert len(jpeg.getvalue()) > 12 * PIECE_OCTETS
    public = [frame.data for frame in still]
    async with harbour(tmp_path, MemoryShore("public", "family")) as here:
        limits = dataclasses.replace(QUICK, answer_s=20.0, alarm_s=20.0)  # a busy machine is slow to dial anew
        uplink = Uplink(here.plan("public", "family", limit=400_000.0), SIGNER, limits)
        held: set[str] = set()
        uplink.may_go = lambda audience: audience not in held
        for frame in still:
            uplink.publish(frame)
        async with underway(uplink):
            await until(lambda: here.port.facts.octets > 4 * PIECE_OCTETS)
            for frame in FAMILY[:-1]:
                uplink.publish(frame)
            held.add("family")  # another's hold ends nothing
            begun = here.port.facts.octets
            await until(lambda: here.port.facts.octets > begun + 6 * PIECE_OCTETS)
            assert here.port.facts.links == 1
            for shore in uplink._shores.values():
                shore.moved_s -= 30.0  # as if the still had been on its way for so long, which is no alarm
            held = {"public"}
            uplink.stir()
            alarms: list[str] = []
            await until(lambda: alarms.extend(uplink.alarms()) or len(here.shore.frames["family"]) == len(FAMILY) - 1)
            assert here.shore.frames["public"] == []
            uplink.publish(FAMILY[-1])
            await until(lambda: len(here.shore.frames["family"]) == len(FAMILY))
            assert here.shore.frames["public"] == []
            assert (uplink.facts()["outages"], here.port.facts.links, alarms + uplink.alarms()) == (0, 2, [])
            held.clear()
            uplink.stir()
            await until(lambda: here.shore.frames["public"] == public)
            assert (uplink.facts()["outages"], here.port.facts.links) == (0, 2)
