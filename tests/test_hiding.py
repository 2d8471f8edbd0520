"""What is hidden from one audience: zones of the file and of the desk, told, lifted, and known after a restart."""

import pytest

from dives import INVENTED_SITE, SECRETS
from relay.core.area import Zone, ZoneAction, hidden_disc
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.hiding import Hiding, InForce, zones_in_force

FRAME = SiteFrame(Anchor(*INVENTED_SITE, 0), SECRETS)


def zone(name: str, radius_m: float = 50.0) -> Zone:
    """Return a zone at the site."""
    return Zone(name=name, latitude_deg=INVENTED_SITE[0], longitude_deg=INVENTED_SITE[1], radius_m=radius_m,
                margin_m=radius_m / 2, action=ZoneAction.WITHHOLD)  # fmt: skip


BOW, HOLD = zone("the bow"), zone("the hold")


def test_discs_are_those_of_the_file_and_of_the_desk_in_force() -> None:
    """Each as `hidden_disc` has it, whenever it is told or lifted, and in another frame anew."""
    hiding = Hiding((BOW,), SECRETS)
    bow, hold = (hidden_disc(each, FRAME, SECRETS) for each in (BOW, HOLD))
    assert hiding.discs(FRAME) == (bow,)
    hiding.hide(7, HOLD)
    assert hiding.discs(FRAME) == (bow, hold)
    hiding.lift(9, "the hold")
    assert hiding.discs(FRAME) == (bow,)
    other = SiteFrame(Anchor(INVENTED_SITE[0] + 0.01, INVENTED_SITE[1], 0), SECRETS)
    assert hiding.discs(other) == (hidden_disc(BOW, other, SECRETS),)


def test_lifting_is_of_the_name_and_of_what_was_told_before() -> None:
    """A zone of the file, one of another name, and one that was told later stay."""
    hiding = Hiding((BOW,), SECRETS)
    for row, each in ((3, HOLD), (4, zone("the mast")), (8, HOLD)):
        hiding.hide(row, each)
    hiding.lift(7, "the hold")
    hiding.lift(7, "the bow")
    assert list(hiding.of_desk) == [4, 8]
    assert len(hiding.discs(FRAME)) == 3


@pytest.mark.parametrize(("row", "is_hidden"), [(3, False), (4, True), (9, False), (10, True)])
def test_zone_read_again_is_in_force_unless_it_is_known_to_have_been_lifted(row: int, is_hidden: bool) -> None:
    """Of the rows up to the checkpoint those it names; of what came later, all; where nothing is known, all."""
    hiding = Hiding((), SECRETS, InForce(frozenset({4}), 9))
    hiding.hide(row, HOLD)
    assert (row in hiding.of_desk) is is_hidden
    unknown = Hiding((), SECRETS)
    unknown.hide(row, HOLD)
    assert row in unknown.of_desk


def test_what_is_in_force_is_kept_for_a_restart() -> None:
    """A restart that is told of the same rows hides the same."""
    hiding = Hiding((), SECRETS)
    hiding.hide(3, HOLD)
    hiding.hide(5, BOW)
    hiding.lift(8, "the hold")
    again = Hiding((), SECRETS, hiding.in_force(20))
    for row, each in ((3, HOLD), (5, BOW)):
        again.hide(row, each)
    assert again.of_desk == hiding.of_desk == {5: BOW}


def test_zones_in_force_name_those_they_still_hide_from() -> None:
    """One that was lifted for some is told with the others; one that was lifted for all isn't there."""
    public, slow = Hiding((BOW,), SECRETS), Hiding((BOW,), SECRETS)
    for hiding in (public, slow):
        hiding.hide(3, HOLD)
        hiding.hide(4, zone("the mast"))
        hiding.lift(9, "the mast")
    public.lift(9, "the hold")
    told = zones_in_force((BOW,), {"public": public, "slow": slow})
    assert [(each.zone, each.of, each.row, each.audiences) for each in told] == [
        (BOW, "file", None, ("public", "slow")), (HOLD, "desk", 3, ("slow",))
    ]  # fmt: skip
