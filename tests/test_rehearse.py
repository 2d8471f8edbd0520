"""Real captures through the very same pipeline: everything read is counted, and what leaves is a recording."""

import csv
import gzip
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from expeditions import RIGHT, changed
from relay.core.errors import CaptureError, OperatorError
from relay.core.policy import Plan
from relay.core.release import Kind
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.core.verification import examine
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.secrets_file import seeded_secrets, write_secrets
from relay.shell.released.recording import load_recording
from relay.shell.ship.rehearse import Outcome, rehearse
from tracks_to_station_lines import convert

CAPTURES = {
    "plotter-lake.nmea": 4_999,
    "fishfinder-river.nmea": 98,
    "sounder-position.nmea": 244,
    "autopilot-attitude.nmea": 29,
    "satellite-compass.nmea": 753,
    "ais-transponder-heading.nmea": 108,
}
TRACKS = {
    "rov-transects/transects-2022-10-06.csv.gz": 872,
    "rov-transects/transects-2022-10-20.csv.gz": 1_124,
    "glider-inlet/track.csv.gz": 4_817,
    "glider-shelf/track.csv.gz": 668,
}
MAVLINK_FRAMES = 35_916


def plan_of(text: str = RIGHT) -> Plan:
    """Return the plan for captures: the right file, and a feed for each format."""
    feed = '\n[[feed]]\nname = "autopilot"\nformat = "mavlink"\nfrom = "udp://127.0.0.1:14550"\nvehicle = "Lantern"\n'
    return parse_expedition(text + feed, Path("EXPEDITION.toml")).plan


def rehearsed(tmp_path: Path, source: Path, rate: float | None = None) -> Outcome:
    """Rehearse one capture into a fresh folder."""
    return rehearse(plan_of(), seeded_secrets(1), [str(source)], tmp_path / "out", rate=rate)


def check(outcome: Outcome, feed: str, read: int, tmp_path: Path) -> None:
    """Hold counts, recordings and send times of a rehearsal together."""
    tally = outcome.tallies[feed]
    assert tally.accepted.total() + tally.passed_over.total() + tally.rejected.total() == read
    assert outcome.released
    for (audience, dive), count in outcome.released.items():
        recording = load_recording(tmp_path / "out" / "released" / audience / f"dive-{dive:03d}.recording")
        assert recording.closed
        assert len(recording.records) == count
        with (tmp_path / "out" / "send-times" / f"{audience}-dive-{dive:03d}.csv").open() as file:
            times = list(csv.DictReader(file))
        assert [int(row["seq"]) for row in times] == list(range(count))
        least_s = {"public": 45 * 60, "family": 20 * 60}[audience]
        for record, row in zip(recording.records, times, strict=True):
            assert float(row["sent_s"]) >= record.elapsed_s + least_s


@pytest.mark.parametrize("name", CAPTURES)
def test_rehearse_counts_every_sentence_of_each_capture(name: str, tmp_path: Path, shared_data: Path) -> None:
    """Accepted, passed over and rejected add up to the sentences of the published capture."""
    rate = 10.0 if name == "autopilot-attitude.nmea" else None
    outcome = rehearsed(tmp_path, shared_data / "nmea-captures" / name, rate)
    check(outcome, "position", CAPTURES[name], tmp_path)
    assert outcome.tallies["position"].rejected.total() == 0


@pytest.mark.parametrize("name", TRACKS)
def test_rehearse_counts_every_row_of_each_track(name: str, tmp_path: Path, shared_data: Path) -> None:
    """Each row of a published track becomes a message, is accepted, and the dive is released."""
    messages = convert(shared_data / name, tmp_path / "track.jsonl", "Lantern")
    assert 0 < messages <= TRACKS[name]
    outcome = rehearsed(tmp_path, tmp_path / "track.jsonl")
    check(outcome, "station", messages, tmp_path)
    assert outcome.tallies["station"].accepted.total() == messages


def test_rehearse_counts_every_frame_of_the_telemetry_log(tmp_path: Path, shared_data: Path) -> None:
    """35,916 frames of which the source says that four fail their checksum."""
    path = tmp_path / "surface-test.tlog"
    path.write_bytes(gzip.decompress((shared_data / "mavlink-submersible" / "surface-test.tlog.gz").read_bytes()))
    outcome = rehearsed(tmp_path, path)
    check(outcome, "autopilot", MAVLINK_FRAMES, tmp_path)
    assert outcome.tallies["autopilot"].rejected.total() == 4


def test_rehearse_of_the_journal_of_a_rehearsal_gives_the_same_files(tmp_path: Path, shared_data: Path) -> None:
    """What was journalled and is run again gives every recording and send time byte for byte."""
    convert(shared_data / "rov-transects" / "transects-2022-10-20.csv.gz", tmp_path / "track.jsonl", "Lantern")
    outs = tmp_path / "out", tmp_path / "again"
    rehearse(plan_of(), seeded_secrets(1), [str(tmp_path / "track.jsonl")], outs[0])
    rehearse(plan_of(), seeded_secrets(1), [str(outs[0] / "private" / "journal.db")], outs[1])
    first, second = ({path.relative_to(out): path.read_bytes() for path in released(out)} for out in outs)
    assert len(first) > 2
    assert first == second


def released(out: Path) -> list[Path]:
    """Return all files of a rehearsal but the private ones."""
    return sorted(path for path in out.rglob("*") if path.is_file() and "private" not in path.parts)


def test_rehearse_takes_several_inputs_merged_by_time(tmp_path: Path, shared_data: Path) -> None:
    """A capture and a track of the same time span both arrive; FEED= names the feed."""
    track = tmp_path / "track.jsonl"
    track.write_text("".join(f'{{"t": {1_343_493_800 + at}, "vehicle": "Moth", "depth_m": 1}}\n' for at in range(50)))
    capture = shared_data / "nmea-captures" / "sounder-position.nmea"
    outcome = rehearse(plan_of(), seeded_secrets(1), [f"position={capture}", str(track)], tmp_path / "out")
    assert outcome.tallies["position"].accepted.total() > 0
    assert outcome.tallies["station"].accepted.total() == 50


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda folder: str(folder / "none.nmea"), "none.nmea"),
        (lambda folder: str(file_in(folder, "note.xyz", "hello")), "xyz"),
        (lambda folder: str(file_in(folder, "bare.nmea", "$APROT,0.0,A*2E\r\n")), "--rate"),
        (lambda folder: "nowhere=" + str(file_in(folder, "a.jsonl", '{"t": 1}\n')), "not a feed"),
    ],
)
def test_rehearse_says_what_is_wrong_with_an_input(make: Callable[[Path], str], message: str, tmp_path: Path) -> None:
    """A missing, unknown or untimed capture is named with what to do."""
    with pytest.raises(CaptureError, match=message):
        rehearse(plan_of(), seeded_secrets(1), [make(tmp_path)], tmp_path / "out")


def file_in(folder: Path, name: str, text: str) -> Path:
    """Write a small file."""
    (folder / name).write_text(text)
    return folder / name


def test_rehearse_never_writes_over_what_is_there(tmp_path: Path) -> None:
    """A folder that holds anything is refused."""
    file_in(tmp_path, "precious", "x")
    with pytest.raises(OperatorError, match="is not empty"):
        rehearse(plan_of(), seeded_secrets(1), ["x.nmea"], tmp_path)


def test_rehearse_says_when_no_feed_reads_a_format(tmp_path: Path) -> None:
    """A capture of a format that the expedition has no feed for."""
    lines = file_in(tmp_path, "a.jsonl", '{"t": 1, "vehicle": "Moth", "depth_m": 3}\n')
    without = changed('format = "station-json"', 'format = "station-msgpack"')
    with pytest.raises(CaptureError, match="no feed of the expedition file reads station-json"):
        rehearse(plan_of(without), seeded_secrets(1), [str(lines)], tmp_path / "out")


def test_rehearse_reports_progress_by_rows_and_dive_time(tmp_path: Path) -> None:
    """Long work tells where it is."""
    text = "".join(f'{{"t": {at}, "vehicle": "Moth", "depth_m": 3}}\n' for at in range(2_500))
    seen: list[tuple[int, float]] = []
    inputs = [str(file_in(tmp_path, "a.jsonl", text))]
    rehearse(plan_of(), seeded_secrets(1), inputs, tmp_path / "out", progress=lambda rows, s: seen.append((rows, s)))
    assert seen == [(1_000, 999.0), (2_000, 1_999.0)]


def test_rehearse_releases_annotations_and_legs_on_the_grid(tmp_path: Path) -> None:
    """A note in the input is in the recording, at a multiple of the tick."""
    lines = ['{"t": 0, "vehicle": "Moth", "depth_m": 3}', '{"t": 7, "vehicle": "Moth", "note": "launched"}']
    inputs = [str(file_in(tmp_path, "a.jsonl", "\n".join(lines) + "\n"))]
    rehearse(plan_of(), seeded_secrets(1), inputs, tmp_path / "out")
    recording = load_recording(tmp_path / "out" / "released" / "public" / "dive-001.recording")
    notes = [(record.elapsed_s, record.body) for record in recording.records if record.kind == Kind.NOTE]
    assert notes == [(15, [1, "launched"])]


def rehearsed_in_words(tmp_path: Path, expedition: str, *messages: str) -> list[str]:
    """Run the command as a process on station messages, ten seconds apart, and return the lines it printed."""
    (tmp_path / "e.toml").write_text(expedition, encoding="utf-8")
    lines = [f'{{"t": {at * 10}, "vehicle": "Lantern", {text}}}' for at, text in enumerate(messages)]
    (tmp_path / "dive.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    files = [str(tmp_path / name) for name in ("e.toml", "dive.jsonl", "out")]
    command = [sys.executable, "-m", "relay", "rehearse", files[0], files[1], "--out", files[2]]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[1])
    return done.stdout.splitlines()


def test_rehearse_says_what_was_kept_back_and_what_stopped(tmp_path: Path) -> None:
    """A note with a position is kept from those whose text is checked, and a vehicle astray stops everybody."""
    area = '[area]\nname = "bank"\ncentre = [-33.3, 22.4]\nradius = "40 km"\n\n[[vehicle]]\nname = "Lantern"'
    text = changed('[[vehicle]]\nname = "Lantern"', area).replace(
        'name = "family"', 'name = "family"\ntext = "unchecked"'
    )
    said = rehearsed_in_words(tmp_path, text, '"depth_m": 20, "latitude_deg": -33.3, "longitude_deg": 22.4',
                              '"depth_m": 20, "note": "we lie at 33 18.0 S 022 24.0 E"',
                              '"depth_m": 20, "latitude_deg": -34.3, "longitude_deg": 22.4')  # fmt: skip
    assert "the release to public STOPPED: Lantern was outside the declared area" in said
    assert "the release to family STOPPED: Lantern was outside the declared area" in said
    assert [line for line in said if line.startswith('kept from public: "we lie at 33 18.0 S 022 24.0 E": ')]


def test_rehearsal_never_passes_for_what_the_ship_released(tmp_path: Path) -> None:
    """With the site's own secrets: another key, which header and command name, and which `verify` tells from hers."""
    write_secrets(tmp_path, site := Secrets(bytes(range(32))))
    (tmp_path / "e.toml").write_text(RIGHT, encoding="utf-8")
    (tmp_path / "dive.jsonl").write_text('{"t": 0, "vehicle": "Lantern", "depth_m": 20}\n', encoding="utf-8")
    files = [str(tmp_path / name) for name in ("e.toml", "dive.jsonl", "out", "secrets.json")]
    command = [sys.executable, "-m", "relay", "rehearse", *files[:2], "--out", files[2], "--secrets", files[3]]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[1])
    data = (tmp_path / "out" / "released" / "public" / "dive-001.recording").read_bytes()
    ships, found = Signer(site.signing_seed).key, examine(data)
    assert found.key is not None
    assert found.key != ships
    assert f"signed with a key of rehearsals, {found.key.hex()}" in done.stdout
    assert found.faults == ()
    assert len(examine(data, ships).faults) > 1
    assert site.for_rehearsal().turn_deg == site.turn_deg


def test_rehearse_says_why_no_dive_began(tmp_path: Path) -> None:
    """The depth that was not reached, and what to write instead, with its brackets."""
    said = rehearsed_in_words(tmp_path, changed('begins = "report"', 'begins = "depth"'), '"depth_m": 2')
    (words,) = [line for line in said if line.startswith("released: nothing")]
    assert "a depth of 5 m or more, and none did" in words
    assert 'write [dive] begins = "report" in the expedition file' in words
