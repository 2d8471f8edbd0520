"""How a shore is, for its own network: alive, ready, and counts in which there is nothing private."""

import asyncio
import errno
import os
from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families

from peers import Answer, answers, exchange, live, request, until
from relay.core.errors import NoRoomError, OperatorError
from relay.shell.shore.shore import Shore
from relay.shell.shore.shore_run import new_shore
from released import dive
from shores import RIGHT, ashore, sealed, shore_file, with_certificates
from streams import free_port

WATCHED = RIGHT + '\n[watch]\nlisten = "127.0.0.1:0"\n'
PROCESS = {
    "process_virtual_memory_bytes", "process_resident_memory_bytes", "process_start_time_seconds",
    "process_cpu_seconds", "process_open_fds", "process_max_fds",
}  # fmt: skip
OWN = {
    "offing_ready", "offing_fault", "offing_connections", "offing_followers", "offing_turned_away", "offing_dives_held",
    "offing_records_held", "offing_last_record_age_seconds", "offing_disk_free_bytes", "offing_uplink_connected",
    "offing_uplink_connections", "offing_uplink_strangers", "offing_uplink_received_bytes",
    "offing_certificate_end_timestamp_seconds",
}  # fmt: skip


async def asked(shore: Shore, path: str, method: str = "GET") -> Answer:
    """Return the answer of the watch."""
    (answer,) = answers(await exchange(shore.watch, request(path, method)), method)  # type: ignore[arg-type]
    return answer


async def counts(shore: Shore) -> dict[str, dict[tuple[str, ...], float]]:
    """Return the metrics as Prometheus' own parser reads them: name, and values by label values."""
    text = (await asked(shore, "/metrics")).body.decode()
    return {
        family.name: {tuple(sample.labels.values()): sample.value for sample in family.samples}
        for family in text_string_to_metric_families(text)
    }


async def test_watch_tells_that_it_lives_and_when_it_is_ready(tmp_path: Path) -> None:
    """Alive from the first moment; ready once what is kept was read and the page is there; all else is unknown."""
    with_certificates(tmp_path)
    shore = new_shore(shore_file(tmp_path, WATCHED))
    await shore._start_parts(shore.early)
    assert ((await asked(shore, "/health")).status, (await asked(shore, "/ready")).status) == (200, 503)
    await shore.close()
    async with ashore(tmp_path / "other", WATCHED) as shore:
        assert ((await asked(shore, "/health")).status, (await asked(shore, "/ready")).body) == (200, b"ready\n")
        assert (await asked(shore, "/dives.json")).status == 404
        assert (await asked(shore, "/metrics", "POST")).status == 405
        assert (await asked(shore, "/metrics")).headers["Cache-Control"] == "no-store"


async def test_watch_answers_while_a_reader_waits_for_its_stream(tmp_path: Path) -> None:
    """Nobody is at the stream's address: the relay that reads is alive, isn't ready, and can be counted."""
    stream = f'[stream]\nurl = "nats://127.0.0.1:{free_port()}"\n'
    shore = new_shore(shore_file(tmp_path, WATCHED.partition("[uplink]")[0] + stream + WATCHED[len(RIGHT) :]))
    starting = asyncio.ensure_future(shore.start())
    assert shore.watch is not None
    watch = shore.watch
    await until(lambda: watch._server is not None)
    assert [(await asked(shore, path)).status for path in ("/health", "/ready", "/metrics")] == [200, 503, 200]
    assert not starting.done()
    starting.cancel()
    await asyncio.wait({starting})
    await shore.close()


async def test_counts_are_what_happened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Followers, records, and a disk that takes no more are in the metrics; no name but those listed here is."""
    frames = sealed(dive(1, 4))
    async with ashore(tmp_path, WATCHED) as shore, live(shore.site):
        await until(lambda: shore.seen()["public"] == 1)
        await shore.take("public", frames)
        told = await counts(shore)
        assert set(told) == OWN | PROCESS
        here = {("public",): 1, ("funders",): 0}
        assert (told["offing_followers"], told["offing_records_held"][("public",)]) == (here, len(frames))
        assert (told["offing_ready"], told["offing_fault"], told["offing_uplink_connected"]) == (
            {(): 1},
            {(): 0},
            {(): 0},
        )
        assert set(told["offing_certificate_end_timestamp_seconds"]) == {("uplink",)}

        def full(handle: int) -> None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(NoRoomError):
            await shore.take("public", sealed(dive(2, 1)))
        assert (await counts(shore))["offing_fault"] == {(): 1}
        assert (await asked(shore, "/ready")).status == 200  # followers are served what there is


async def test_counts_are_told_while_a_certificate_is_away(tmp_path: Path) -> None:
    """A renewal takes the file away for a moment: its end isn't told then, and all else is."""
    async with ashore(tmp_path, WATCHED) as shore:
        pem = tmp_path / "uplink.pem"
        kept = pem.read_bytes()
        pem.unlink()
        told = await counts(shore)
        assert (told["offing_certificate_end_timestamp_seconds"], told["offing_ready"]) == ({}, {(): 1})
        pem.write_bytes(kept)
        assert set((await counts(shore))["offing_certificate_end_timestamp_seconds"]) == {("uplink",)}


async def test_counts_hold_nothing_of_a_follower(tmp_path: Path) -> None:
    """However one asks, from whichever address: neither that nor what was asked is in an answer of the watch."""
    async with ashore(tmp_path, WATCHED) as shore:
        for path in ("/?token=SECRETWORD", "/recordings/SECRETWORD/dives.json", "/live?audience=SECRETWORD"):
            sending = request(path, "GET", "Authorization: Bearer SECRETWORD", "X-Forwarded-For: 203.0.113.77")
            reader, writer = await asyncio.open_connection(*shore.site.address, local_addr=("127.77.6.5", 0))
            writer.write(sending)
            await reader.read()
            writer.close()
        told = b"".join([(await asked(shore, path)).body for path in ("/metrics", "/ready", "/health")])
        for word in (b"SECRETWORD", b"127.77.6.5", b"203.0.113.77"):
            assert word not in told


async def test_address_that_is_taken_is_said_at_the_start(tmp_path: Path) -> None:
    """What to change is named."""
    async with ashore(tmp_path, WATCHED) as shore:
        assert shore.watch is not None
        text = WATCHED.replace(
            '[watch]\nlisten = "127.0.0.1:0"', f'[watch]\nlisten = "127.0.0.1:{shore.watch.address[1]}"'
        )
        other = new_shore(shore_file(with_certificates(tmp_path / "other"), text))
        with pytest.raises(OperatorError, match=r"choose another port: \[watch\] listen"):
            await other.start()
        await other.close()
