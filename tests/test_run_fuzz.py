"""The fuzz targets hold over their corpus, what was found stays mended, and the fuzzer finds a fault that is there."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fuzz_cover import few_that_reach_most, steps_of
from fuzz_target import Target
from fuzz_targets import CORPUS, CRASHES, NAMES, corpus_of, crashes, keep_corpus, target_named
from run_fuzz import MOST_KEPT, Fuzzed, ended, fuzz, run, share_s, whole

FOUND = [pytest.param(found, id=found["name"]) for found in crashes()]


@pytest.mark.parametrize("name", NAMES)
def test_target_holds_over_its_corpus(name: str) -> None:
    """Every input that is kept, and each that a fuzzer begins with, leaves the target's property standing."""
    _check_all(target_named(name))


def _check_all(target: Target) -> None:
    for data in (*target.seeds, *corpus_of(target.name)):
        target.check(data)


@pytest.mark.parametrize("found", FOUND)
def test_what_was_found_stays_mended(found: dict[str, Any]) -> None:
    """An input that once did what nobody declared is now answered as its target's property says."""
    target_named(found["target"]).check(found["data"])


# Of each target a function within its decoder, not one that it calls itself.
WITHIN = {
    "nmea0183": "relay.core.nmea_framing.Framer._frame",
    "mavlink": "relay.core.mavlink._message_id",
    "station-json": "relay.core.station_message._observation",
    "station-msgpack": "relay.core.station_message._observation",
    "log-nmea0183": "relay.shell.feeds.capture._time_of_day",
    "log-mavlink": "relay.core.own_time.split_tlog",
    "log-station-json": "relay.shell.feeds.capture._between",
    "log-station-msgpack": "relay.core.own_time._log_times",
    "log-packed": "relay.shell.feeds.capture._sized",
    "link-greetings": "relay.core.uplink_talk._held",
    "link-stream": "relay.core.uplink_talk._message",
    "guests-listing": "relay.core.guests._guest",
    "stream-message": "relay.core.stream_order._is_behind",
    "request-head": "relay.core.subscriber._position",
    "follower-frames": "relay.core.websocket._may_be_sent",
    "record": "relay.core.wire._record",
    "recording": "relay.core.wire._check_footer",
    "recording-handed-on": "relay.shell.report.released_report._facts",
    "recording-altered": "relay.core.wire._record",
    "checkpoint": "relay.shell.record.checkpoint._log_read",
    "proof": "relay.core.proof._path",
    "outlines": "relay.shell.finds.outlines._list",
    "expedition": "relay.shell.plan.expedition._policy",
    "settings": "relay.shell.audit.policy_file._value_end",
    "shore-file": "relay.shell.shore.shore_file._uplink",
    "secrets": "relay.shell.record.secrets_file._key_to",
    "guest-book": "relay.shell.desk.guest_book._invited",
    "watch-file": "relay.shell.desk.desk_watch._anchor",
    "identity": "relay.shell.locked.identities._identities",
    "opened": "relay.shell.locked.opening._lay",
    "journal-sums": "relay.shell.proofs.sums._where",
    "own-notes": "relay.shell.released.briefing._note",
    "audit-results": "relay.shell.ship.audit_result._read",
    "decision": "relay.core.decision._together",
    "desk-message": "relay.shell.desk.deciding._who_fault",
    "text": "relay.core.place_in_text._found",
    "proved-row": "relay.shell.proofs.row_words._told",
    "still": "relay.core.still.jpeg_size",
    "plan-value": "relay.shell.plan.feed_url._check_host",
    "http-site": "relay.shell.site.pages.respond",
    "http-desk": "relay.shell.desk.desk._json",
    "http-stop": "relay.shell.desk.deciding.Deciding.stop",
    "picture": "relay.shell.record.still_file._encoded",
    "still-markers": "relay.core.still._segment",
    "chart-text": "relay.audit.charts.chart_csv._metres",
    "chart-geotiff": "relay.audit.charts.chart_geotiff._affine",
    "chart-netcdf3": "relay.audit.charts.chart_files.read_netcdf",
    "chart-netcdf4": "relay.audit.charts.chart_files.read_netcdf",
    "ship-track": "relay.shell.audit.ship_track_file._dated",
    "wreck-list": "relay.shell.audit.wreck_list_file._number",
}


def test_every_target_has_a_place_within() -> None:
    """None is left out of the next test."""
    assert set(WITHIN) == set(NAMES)


def _broken(*_: object, **__: object) -> None:
    raise ZeroDivisionError("planted")


@pytest.mark.parametrize("name", NAMES)
def test_fault_within_a_decoder_is_seen(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each target reaches the inside of its decoder, and what is raised there that nobody declares gets out."""
    target = target_named(name)
    monkeypatch.setattr(WITHIN[name], _broken)
    with pytest.raises((ZeroDivisionError, AssertionError)):
        _check_all(target)


def test_planted_fault_is_found_and_told(capsys: pytest.CaptureFixture[str]) -> None:
    """atheris, in a process of its own, comes from a good query to the one that is wrong, and the input is told."""
    done = fuzz("planted", ["-runs=200000"], seed=1)
    ((data, words),) = done.wrong
    assert data is not None
    with pytest.raises(AssertionError, match="planted"):
        target_named("planted").check(data)
    assert "planted: the seventh dive" in words
    assert 1 < done.tried < 200_000
    assert done.new > 0
    assert ended([done], 0) == 1
    assert "found something in planted" in capsys.readouterr().out


def test_run_that_found_nothing_ends_with_0(capsys: pytest.CaptureFixture[str]) -> None:
    """The last line says of how much, and a script can go by how it ends."""
    assert ended([Fuzzed("proof", 3_000, 7, 90, (), ()), Fuzzed("record", 500, 0, 30, (), ())], 2) == 0
    assert capsys.readouterr().out == "2 targets, 3,500 inputs, 2.00 of 2 min of fuzzing: nothing found\n"


def test_run_that_was_too_short_is_no_pass(capsys: pytest.CaptureFixture[str]) -> None:
    """A second less than was asked for, and it says so."""
    assert ended([Fuzzed("proof", 3_000, 7, 90, (), ()), Fuzzed("record", 500, 0, 29, (), ())], 2) == 1
    assert "1.98 of 2 min of fuzzing: nothing found, and it is too short" in capsys.readouterr().out


def test_shares_of_all_targets_make_up_what_was_asked_for() -> None:
    """Whatever the number of targets, so many whole seconds of each are no less than all the minutes."""
    assert all(60 * minutes <= share_s(minutes, count) * count for minutes in (0.01, 5, 60) for count in range(1, 99))
    assert share_s(60, 46) == 79


def test_target_that_tried_nothing_or_ended_early_is_wrong() -> None:
    """Nothing tried, or a second too few, is wrong; that an input failed explains an early end, and nothing else."""
    good = Fuzzed("proof", 9, 0, 79, (), ())
    assert whole(good, 79) == good
    assert whole(replace(good, tried=0), 79).wrong == ((None, "no input was tried"),)
    early = "it ended after 78 s of fuzzing, where 79 s were asked for"
    assert whole(replace(good, seconds=78), 79).wrong == ((None, early),)
    failed = replace(good, seconds=0, wrong=((b"x", "ValueError"),))
    assert whole(failed, 79) == failed


def test_time_of_fuzzing_is_that_of_the_fuzzer_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a process needs to start isn't counted, and one that ends before its time is found out."""
    told: list[Fuzzed] = []
    (done,) = run(["record"], 2 / 60, seed=1, jobs=1, tell=told.append)
    assert told == [done]
    assert (done.wrong, 2 <= done.seconds <= 4, done.tried > 0) == ((), True, True)
    monkeypatch.setattr("run_fuzz.fuzz", lambda name, limit, seed: fuzz(name, ["-runs=9"], seed))
    (early,) = run(["planted"], 5, seed=1, jobs=1, tell=told.append)
    assert [words for _, words in early.wrong] == ["it ended after 0 s of fuzzing, where 300 s were asked for"]


def test_process_that_dies_is_no_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    """A run that never came to its first input is told as wrong, with its last words."""
    monkeypatch.setattr("run_fuzz._environment", lambda _: {"PYTHONPATH": "", "PYTHONSAFEPATH": "1"})
    ((data, words),) = fuzz("planted", ["-runs=9"], seed=1).wrong
    assert data is None
    assert "ModuleNotFoundError" in words


def test_few_inputs_reach_what_many_do() -> None:
    """Of many inputs those are kept that add steps, the best first, and no two that reach the same."""
    check = target_named("planted").check
    inputs = [b"", b"audience=public", b"audience=family", b"audience=public&dive=3&after=4", b"dive=3"]
    kept = few_that_reach_most(check, inputs, 10)
    reached = [steps_of(check, data) for data in kept]
    assert set().union(*reached) == set().union(*(steps_of(check, data) for data in inputs))
    assert len(kept) < len(inputs)
    assert few_that_reach_most(check, inputs, 1) == kept[:1]


def test_corpus_is_small_and_of_targets_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is kept can be read by people: some tens of short inputs each, written and read back as the same bytes."""
    kept = {path.stem for path in CORPUS.iterdir()} - {CRASHES.stem}
    assert kept == set(NAMES)
    for name in NAMES:
        assert 0 < len(corpus_of(name)) <= MOST_KEPT
        assert all(len(data) <= target_named(name).most for data in corpus_of(name))
    monkeypatch.setattr("fuzz_targets.CORPUS", tmp_path)
    keep_corpus("of-no-target", [b"\xff\n\"'", b""])
    assert corpus_of("of-no-target") == (b"", b"\xff\n\"'")
