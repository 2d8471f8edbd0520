"""What sealed the exact record: roots as noted or grown, and over which minutes each released head is."""

from dataclasses import replace
from pathlib import Path

import pytest

from dives import SECOND, SECRETS, dive_rows
from relay.core.errors import SecretsError
from relay.core.merkle import head_of, leaf_hash
from relay.core.minute_roots import closed_minutes as minutes_at_once
from relay.core.minute_tree import Evidence
from relay.core.policy import Plan
from relay.core.secrets import Secrets
from relay.shell.plan.expedition import parse_expedition
from relay.shell.proofs.journal_seals import (
    decisions_of,
    heads_over,
    minutes_of,
    rows_of,
    seals_in,
    site_secrets,
)
from relay.shell.proofs.verifying import records_of
from relay.shell.record.journal import JournalFile, Minute, read_minutes, read_rows
from relay.shell.record.secrets_file import write_secrets
from sealed_dives import EVIDENCE, MINUTES, closed_minutes, journal_rows, sealed_recording
from sealed_site import TEXT, Site, copied, make_site
from virtual_ship import Disk, Do, Event, Voyage

ROWS = journal_rows()
CLOSED = [Minute(*closed) for closed in closed_minutes(ROWS)]
LAST_US = str(MINUTES * 60_000_000)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """A site after a dive."""
    return make_site(tmp_path_factory.mktemp("site") / "a")


@pytest.mark.parametrize("noted", [0, 1, 4, 7, "a gap"])
def test_minutes_are_the_same_noted_or_grown(tmp_path: Path, noted: int | str) -> None:
    """A journal from before there were seals, one whose relay was killed, one with a minute that got lost."""
    file = JournalFile(tmp_path)
    file.commit(list(ROWS), {"clock last_us": LAST_US})
    file.keep_minutes(CLOSED[:noted] if isinstance(noted, int) else [*CLOSED[:2], *CLOSED[3:]])
    file.close()
    assert minutes_of(file.path, EVIDENCE) == CLOSED


def test_journal_without_the_table_has_no_minutes_noted(tmp_path: Path) -> None:
    """As an Offing before seals wrote it."""
    file = JournalFile(tmp_path)
    file.commit(list(ROWS), {"clock last_us": LAST_US})
    file._db.execute("DROP TABLE minute")
    file.close()
    assert list(read_minutes(file.path)) == []
    assert minutes_of(file.path, EVIDENCE) == CLOSED


def test_heads_are_those_over_the_first_minutes() -> None:
    """None, one, two and so on: RFC 9162's over the leaf hashes of their roots."""
    roots = [closed.root for closed in CLOSED]
    assert heads_over(roots) == [
        head_of([leaf_hash(root) for root in roots[:count]]) for count in range(len(roots) + 1)
    ]


def test_each_seal_is_known_by_its_head_whatever_came_before() -> None:
    """Over one minute more each time; one that is altered is over none, and those behind it are known all the same."""
    heads = heads_over(closed.root for closed in CLOSED)
    records = list(records_of(sealed_recording(ROWS)))
    found = list(seals_in(records, "public", EVIDENCE, heads))
    assert [(seal.seq, seal.dive_minute, seal.minutes) for seal in found] == [
        (2 + 5 * minute, minute, minute + 1) for minute in range(MINUTES)
    ]
    spoilt = [record._replace(body=[bytes(32)]) if record.seq in (2, 12) else record for record in records]
    assert [seal.minutes for seal in seals_in(spoilt, "public", EVIDENCE, heads)] == [None, 2, None, 4, 5, 6, 7]
    for audience, evidence in (("press", EVIDENCE), ("public", Evidence(bytes(32)))):
        assert {seal.minutes for seal in seals_in(records, audience, evidence, heads)} == {None}


def test_seals_that_a_pipeline_released_are_over_what_was_received_by_their_tick(site: Site) -> None:
    """The dive began in minute 0 of the clock: a minute of it more has passed at each."""
    heads = heads_over(minute.root for minute in minutes_of(site.journal, Evidence(SECRETS.evidence_key)))
    for audience in ("public", "family"):
        seals = list(seals_in(records_of(site.recording(audience).read_bytes()), audience, EVIDENCE, heads))
        assert [seal.minutes for seal in seals] == list(range(5))


def test_rows_and_decisions_are_read_by_number(site: Site) -> None:
    """Both ends included; what isn't there is left out."""
    assert rows_of(site.journal, 3, 5) == list(site.rows[2:5])
    assert rows_of(site.journal, 9_000, 9_001) == []
    assert [row.seq for row in decisions_of(site.journal)] == [40, 101]


def test_secrets_are_the_sites_own_or_none(site: Site, tmp_path: Path) -> None:
    """None are drawn where they are missing, and another site's are refused."""
    assert site_secrets(site.folder / "private", None) == SECRETS
    lost = copied(site, tmp_path / "lost")
    (lost.folder / "private" / "secrets.json").unlink()
    with pytest.raises(SecretsError, match="missing"):
        site_secrets(lost.folder / "private", None)
    write_secrets(lost.folder / "private", replace(SECRETS, key=bytes(32)))
    with pytest.raises(SecretsError, match="not the file this site's journal was written with"):
        site_secrets(lost.folder / "private", None)
    with pytest.raises(SecretsError, match="nothing of the journal can be checked"):
        site_secrets(tmp_path, None)
    assert isinstance(SECRETS, Secrets)


@pytest.mark.parametrize("kills", [(), (45,), (61, 66, 130, 179)])
def test_relay_notes_each_minute_once_whatever_kills_it(tmp_path: Path, kills: tuple[int, ...]) -> None:
    """What is noted is what the rows come to, from the first minute on without a gap, over any restart."""
    voyage = Voyage(site_plan(), SECRETS, [], Disk(tmp_path))
    inputs = [Event(row.embargo_us, Do.INPUT, row.data) for row in dive_rows(190)]
    voyage.plan_for([Event(0, Do.START), *inputs])
    for second in kills:
        voyage.plan_for([Event(second * SECOND, Do.KILL), Event((second + 3) * SECOND, Do.START)])
    voyage.play(260 * SECOND)
    assert voyage.ship is not None and voyage.ship.stopped is None
    voyage.ship.power_off()
    path = tmp_path / "private" / "journal.db"
    rows = list(read_rows(path))
    noted = list(read_minutes(path))
    assert len(noted) == 4
    assert noted == [Minute(*closed) for closed in minutes_at_once(EVIDENCE, rows, 4 * 60 * SECOND)]


def site_plan() -> Plan:
    """Return the plan of the site's expedition file."""
    return parse_expedition(TEXT, Path("EXPEDITION.toml")).plan
