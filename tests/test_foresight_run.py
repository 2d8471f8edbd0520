"""The process that looks ahead, whole: a journal, a chart, secrets; out come areas, moments and words, no more."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from dives import SECOND, decided, message, run
from promising import audited, promising
from relay.core.decision import Cut, Hold, Resume
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed
from relay.core.release import Kind
from relay.core.restart import Checkpoint, Standing
from relay.core.wire import encode
from relay.shell.plan.expedition import Expedition
from relay.shell.record.checkpoint import write_checkpoint
from relay.shell.record.journal import JournalFile, read_rows
from relay.shell.record.secrets_file import NAME, open_secrets
from relay.shell.released.recording import Recorder, recording_path
from relay.shell.ship.audit_result import read_results
from relay.shell.ship.foresight import foresee
from relay.shell.ship.foresight_process import Job, Seen, ask
from relay.shell.ship.foresight_run import _again, answer

PLACE = (-41.0, 17.5)
SEABED_M = 256.0
UPTO_US = 400 * SECOND


def aboard(folder: Path) -> Expedition:
    """Return an audited expedition with a dive of six minutes in its journal: down to the seabed, then about it."""
    expedition = audited(promising(folder))
    file = JournalFile(expedition.private)
    open_secrets(expedition.private, None)
    rows = []
    for second in range(360):
        depth_m = min(4.0 + 10 * second, SEABED_M - 1)
        step = {"east": 0.5 * second, "north": 0.0, "depth": depth_m, "altitude": SEABED_M - depth_m, "heading": 90.0}
        at_us = (second + 5) * SECOND
        rows.append(Row(second + 1, at_us, at_us / 1e6, "station", RowKind.STREAM, message(step, PLACE)))
    file.commit(rows, {})
    file.close()
    return expedition


def job(expedition: Expedition, promise_km2: float = 87.0, **changes: object) -> Job:
    """Return the job that the ship would give for its public audience, of which nothing has left."""
    digests = tuple(kept.charts for kept in read_results(expedition.private).values())
    values: dict[str, object] = {
        "plan": expedition.plan, "private": expedition.private, "released": expedition.released,
        "charts": expedition.audit.charts, "upto_us": UPTO_US, "told": {}, "levels": {"public": 0.97},
        "promises": {"public": promise_km2}, "digests": digests[0],
    }  # fmt: skip
    return Job(**{**values, **changes})  # type: ignore[arg-type]


def everything(folder: Path) -> dict[str, bytes]:
    """Return all files below a folder but those that SQLite keeps beside a database that is read."""
    return {
        str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file() and "db-" not in path.name
    }


async def test_ship_is_told_what_is_left_by_the_real_process(tmp_path: Path) -> None:
    """The process answers what the same code does here, writes nothing, and its answer holds no place.

    On a slope of 10 m in 546 m, steps of 10 m leave a strip: far less than the declared area, more than one step's.
    """
    expedition = aboard(tmp_path)
    before = everything(tmp_path)
    seen = await ask(job(expedition))
    assert isinstance(seen, dict), seen
    assert everything(tmp_path) == before
    here = json.dumps(answer(job(expedition)))
    assert {"public": Seen(**json.loads(here)["seen"]["public"])} == seen
    public = seen["public"]
    assert public.left_km2 > public.ahead_km2 > 0.5 * 20.0
    assert public.ahead_km2 < 0.5 * public.left_km2
    for place in ("-41", "17.5", "41.0", "256"):
        assert place not in here


def test_promise_breaks_where_depth_is_told(tmp_path: Path) -> None:
    """Promised is all but the last of the area: the first tick that tells the seabed breaks it, those before leave."""
    expedition = aboard(tmp_path)
    kept = Seen(**answer(job(expedition))["seen"]["public"])
    broken = Seen(**answer(job(expedition, 0.9 * kept.left_km2))["seen"]["public"])
    assert (broken.left_km2, broken.ahead_km2) == (kept.left_km2, kept.ahead_km2)
    assert 15 * SECOND < broken.kept_us < 60 * SECOND
    delay_us = expedition.plan.policies[0].delay_us
    assert broken.breaks_us is not None
    assert delay_us <= broken.breaks_us - (broken.kept_us + 1) <= delay_us + 600 * SECOND
    told = Seen(**answer(job(expedition, 0.9 * kept.left_km2, told={"public": (1, 1)}))["seen"]["public"])
    assert told.left_km2 <= kept.left_km2


def test_policy_that_tells_no_depth_leaves_the_area(tmp_path: Path) -> None:
    """Where neither depth nor height is shown the chart finds nothing, and all of the area is left."""
    expedition = aboard(tmp_path)
    public, family = expedition.plan.policies
    shy = replace(public, fields=frozenset({Disclosed.TRACK, Disclosed.MODE}))
    seen = answer(job(replace(expedition, plan=replace(expedition.plan, policies=(shy, family)))))["seen"]["public"]
    assert seen["ahead_km2"] == seen["left_km2"]


@pytest.mark.parametrize(
    ("gone", "why"), [("chart.csv", "chart.csv"), ("private/secrets.json", "secrets.json can't be read")]
)
def test_what_is_missing_is_told(gone: str, why: str, tmp_path: Path) -> None:
    """Without chart or secrets the answer is words that name the file, and no number."""
    expedition = aboard(tmp_path)
    (tmp_path / gone).unlink()
    told = answer(job(expedition))
    assert list(told) == ["fault"]
    assert why in told["fault"]


def test_secrets_that_lie_encrypted_are_handed_over(tmp_path: Path) -> None:
    """With them in the job nothing is read and the answer is the same; without them it is told what is missing."""
    expedition = aboard(tmp_path)
    plain, secrets = answer(job(expedition)), open_secrets(expedition.private, None)
    (expedition.private / NAME).rename(expedition.private / "away")
    assert answer(job(expedition, secrets=secrets)) == plain
    assert "seen" in plain
    assert f"{NAME} can't be read" in answer(job(expedition))["fault"]
    assert secrets.key.hex() not in repr(job(expedition, secrets=secrets))
    assert repr(secrets.key) not in repr(job(expedition, secrets=secrets))


def test_chart_that_was_changed_since_the_audit_is_a_fault(tmp_path: Path) -> None:
    """A chart that is replaced while the ship runs measures nothing: what isn't judged stays in."""
    expedition = aboard(tmp_path)
    chart = tmp_path / "chart.csv"
    chart.write_text(chart.read_text() + "17.9000,-41.2000,100.0\n")
    told = answer(job(expedition))
    assert list(told) == ["fault"]
    assert "the charts are others than those it was audited with" in told["fault"]


def test_cut_of_what_a_hold_had_kept_in_before_its_row_came_counts(tmp_path: Path) -> None:
    """A hold acts from when it was taken, so what was due before its row, and is cut behind it, is judged cut."""
    expedition = aboard(tmp_path)
    public = replace(expedition.plan.policies[0], delay_us=20 * SECOND, extra_us=0)
    plan = replace(expedition.plan, policies=(public,))
    hold = Hold(audience="public", since={"public": 105 * SECOND})
    file = JournalFile(expedition.private)
    decisions = [decided(400 * SECOND, hold), decided(401 * SECOND, Cut(from_us=100 * SECOND, to_us=300 * SECOND))]
    file.commit([replace(row, seq=at) for at, row in enumerate(decisions, 361)], {})
    file.close()
    asked, secrets = job(expedition, plan=plan, upto_us=401 * SECOND), open_secrets(expedition.private, None)
    found = foresee(*_again(asked, secrets), asked.upto_us)["public"]
    pipeline, really = Pipeline(plan, secrets), []
    pipeline.halt(361, hold)
    for row in [*read_rows(expedition.private / "journal.db"), replace(decided(900 * SECOND, Resume()), seq=363)]:
        really += pipeline.receive(row)
    really += pipeline.advance(901 * SECOND)
    kinds = (Kind.DIVE, Kind.TICK)
    leaving = [encode(due.record) for due in really if due.record.kind in kinds]
    assert len(found) > 20
    assert [item.record.data for item in found] == leaving[: len(found)]


def test_what_an_open_audience_is_told_counts_for_each(tmp_path: Path) -> None:
    """Whoever is told no depth is left less where everybody can read an open audience that is told it."""
    expedition = aboard(tmp_path)
    public, family = expedition.plan.policies
    shy = replace(public, fields=frozenset({Disclosed.TRACK, Disclosed.MODE}))
    open_one = replace(public, audience=family.audience)
    both = replace(expedition, plan=replace(expedition.plan, policies=(shy, open_one)))
    alone = answer(job(both))["seen"]["public"]
    beside = answer(job(both, open_audiences=frozenset({"public", family.audience})))["seen"]["public"]
    assert beside["ahead_km2"] < 0.5 * alone["ahead_km2"]


def restarted(expedition: Expedition) -> list[bytes]:
    """Let the journal say that dive 1 is over and has left; return the frames of a recording of such a dive."""
    plan, secrets = expedition.plan, open_secrets(expedition.private, None)
    file = JournalFile(expedition.private)
    standings = (Standing(next_dive=2), *(Standing() for _ in plan.policies[1:]))
    file.commit([], {"checkpoint": write_checkpoint(Checkpoint(1, standings), plan)})
    rows = list(file.rows(1))
    file.close()
    due = run(Pipeline(plan, secrets), [row for row in rows if row.embargo_us <= UPTO_US])
    return [encode(item.record) for item in due if item.record.audience == "public" and item.record.dive == 1]


@pytest.mark.parametrize("how", ["missing", "damaged", "cut short"])
def test_recording_that_has_left_and_is_not_there_is_a_fault(how: str, tmp_path: Path) -> None:
    """An earlier dive that can't be read isn't left out: it has left, and without it more area would seem left."""
    expedition = aboard(tmp_path)
    whole = restarted(expedition)
    path = recording_path(expedition.released, "public", 1)
    path.parent.mkdir(parents=True)
    if how != "missing":
        path.write_bytes((b"\xff" if how == "damaged" else b"") + b"".join(whole))
    told = answer(job(expedition))
    assert list(told) == ["fault"]
    assert "public/dive-001.recording is missing or damaged; it has left, and counts: put it back" in told["fault"]
    recorder = Recorder(path.with_name("whole.recording"))
    for frame in whole:
        recorder.add(frame)
    recorder.close()
    path.with_name("whole.recording").replace(path)
    seen = answer(job(expedition))["seen"]["public"]
    assert seen["left_km2"] < 0.5 * Seen(**answer(job(aboard_alone(tmp_path)))["seen"]["public"]).left_km2


def aboard_alone(folder: Path) -> Expedition:
    """Return such an expedition in a folder below, of which nothing has left."""
    (folder / "alone").mkdir()
    return aboard(folder / "alone")


def test_fault_of_ours_is_told_by_its_kind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever breaks is told by its kind alone, for its words may hold a position (R1)."""

    def broken(*_: object) -> None:
        raise KeyError("-41.0 17.5")

    monkeypatch.setattr("relay.shell.ship.foresight_run.foresee", broken)
    assert answer(job(aboard(tmp_path))) == {"fault": "a fault of Offing's own (KeyError)"}


def test_missing_extra_is_told_with_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A ship without the audit's libraries is told which is missing and what to install."""

    def missing(*_: object) -> None:
        raise ModuleNotFoundError("No module named 'scipy'", name="scipy")

    monkeypatch.setattr("relay.shell.ship.foresight_run._residual_of", missing)
    assert answer(job(aboard(tmp_path))) == {"fault": "scipy isn't installed: requirements-audit.lock has it"}
