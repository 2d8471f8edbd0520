"""A stream and its readers, on the real server: nothing lost, doubled, out of order or unsigned, whatever fails."""

import signal
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import nats
import pytest

from handed_on import overlong
from peers import until
from relay.core.history import History, Position
from relay.core.seal import Signer
from relay.core.stream_order import Verdict, judge, say_position
from relay.shell.released.outlet import Frame
from relay.shell.shore.stream_out import FOLLOWS
from released import dive, programme
from streams import SHIP, Relay, StreamServer, at_work, reader_of, release, sealed, writer_of


@pytest.fixture
def server(tmp_path: Path) -> Iterator[StreamServer]:
    """A server of streams, running."""
    server = StreamServer(tmp_path)
    server.start()
    yield server
    server.end()


async def test_readers_hold_what_the_first_relay_published(server: StreamServer) -> None:
    """Every record and the programme of each audience, once and in order, for who was there and who comes later."""
    first, early, late = Relay.of("public", "funders"), Relay.of("public", "funders"), Relay.of()
    out = writer_of(server.stream(), first)
    sent = release(first, out, sealed([*dive(1, 40), *dive(2, 3), *dive(3, 30, closed=False)]))
    funders = release(first, out, sealed(dive(1, 7, audience="funders")))
    async with at_work(out.run(), reader_of(server.stream(), early).run()):
        told = release(first, out, sealed([programme(0, "soon"), programme(1, "sooner")]))
        await until(lambda: early.held() == sent and early.held("funders") == funders)
        async with at_work(reader_of(server.stream(), late).run()):
            sent += release(first, out, sealed(dive(3, 90)[31:]))
            await until(lambda: late.held() == sent == early.held())
            await until(lambda: late.programme() == told[-1] == early.programme())
            assert out.owed == 0


@pytest.mark.parametrize("lost", [False, True], ids=["store kept", "store lost"])
async def test_server_killed_under_way_loses_and_doubles_nothing(server: StreamServer, lost: bool) -> None:
    """Records released before, while it was away and after arrive once; no reader goes back, a new one has them all."""
    frames = sealed([*dive(1, 60), *dive(2, 200, closed=False)])
    first, reader, fresh = Relay.of(), Relay.of(), Relay.of()
    out = writer_of(server.stream(), first)
    async with at_work(out.run(), reader_of(server.stream(), reader).run()):
        release(first, out, frames[:100])
        await until(lambda: len(reader.held()) > 40)
        server.kill()
        release(first, out, frames[100:120])
        if lost:
            server.lose()
        server.start()
        release(first, out, frames[120:])
        expected = [frame.data for frame in frames]
        await until(lambda: reader.held() == expected)
        async with at_work(reader_of(server.stream(), fresh).run()):
            await until(lambda: fresh.held() == expected)


async def test_stream_that_was_taken_away_is_filled_again(server: StreamServer) -> None:
    """Somebody deletes the stream while every line stands: readers keep what they have, and both go on."""
    frames = sealed(dive(1, 80))
    first, reader, fresh = Relay.of(), Relay.of(), Relay.of()
    out = writer_of(server.stream(), first)
    async with at_work(out.run(), reader_of(server.stream(), reader).run()):
        release(first, out, frames[:50])
        await until(lambda: len(reader.held()) == 50)
        line = await nats.connect(server.url)
        await line.jetstream().delete_stream("offing")
        await line.close()
        release(first, out, frames[50:])
        async with at_work(reader_of(server.stream(), fresh).run()):
            await until(lambda: fresh.held() == reader.held() == [frame.data for frame in frames])


async def test_server_that_hangs_is_left_and_found_again(server: StreamServer) -> None:
    """A server that answers nothing, its line still open, is noticed; when it goes on, so does everything."""
    frames = sealed(dive(1, 40))
    first, reader = Relay.of(), Relay.of()
    out, into = writer_of(server.stream(), first), reader_of(server.stream(), reader)
    async with at_work(out.run(), into.run()):
        release(first, out, frames[:20])
        await until(lambda: len(reader.held()) == 20)
        server.kill(signal.SIGSTOP)
        release(first, out, frames[20:30])
        await until(lambda: into.line.outages > 0 and out.line.outages > 0)
        server.kill(signal.SIGCONT)
        release(first, out, frames[30:])
        await until(lambda: reader.held() == [frame.data for frame in frames])


async def test_readers_have_the_newest_list_of_guests(server: StreamServer) -> None:
    """Who comes later, and after the stream was lost, too: it is what the ship signed, as the relay was given it."""
    first, reader, late = Relay.of(), Relay.of(), Relay.of()
    out = writer_of(server.stream(), first)
    async with at_work(out.run(), reader_of(server.stream(), reader).run()):
        out.guests(b"the first")
        await until(lambda: reader.listings == [b"the first"])
        out.guests(b"the second")
        await until(lambda: reader.listings == [b"the first", b"the second"])
        server.kill()
        server.lose()
        server.start()
        async with at_work(reader_of(server.stream(), late).run()):
            await until(lambda: late.listings == [b"the second"])


async def poured(server: StreamServer, messages: list[tuple[Frame, str]]) -> None:
    """Put messages into the stream as they are: frames, and after which record each says it was kept."""
    line = await nats.connect(server.url)
    jetstream = line.jetstream()
    await jetstream.add_stream(name="offing", subjects=["offing.*"])
    for frame, follows in messages:
        await jetstream.publish(f"offing.{frame.audience}", frame.data, headers={FOLLOWS: follows})
    await line.close()


def plain(frames: list[Frame]) -> list[tuple[Frame, str]]:
    """Return frames of one dive with what they follow."""
    return [(frame, f"{frame.dive}.{frame.seq - 1}" if frame.seq else "0.-1") for frame in frames]


async def test_reader_never_serves_across_a_gap_and_goes_on_once_it_is_filled(server: StreamServer) -> None:
    """Records 6 and 30 to 34 are missing: it holds 0 to 5; when the first relay fills them in, it holds all."""
    frames = sealed(dive(1, 60))
    lacking = [message for message in plain(frames) if message[0].seq not in (6, *range(30, 35))]
    await poured(server, lacking)
    reader, first = Relay.of(), Relay.of()
    into = reader_of(server.stream(), reader)
    async with at_work(into.run()):
        await until(into.filled.is_set)
        assert reader.held() == [frame.data for frame in frames[:6]]
        out = writer_of(server.stream(), first)
        sent = release(first, out, frames)
        async with at_work(out.run()):
            await until(lambda: reader.held() == sent)
            assert out.published == 6


async def test_reader_waits_for_a_dive_that_is_missing(server: StreamServer) -> None:
    """The stream lacks the second dive: the third isn't served before it has come."""
    one, two, three = sealed(dive(1, 3)), sealed(dive(2, 3)), sealed(dive(3, 3))
    await poured(server, [*plain(one), (three[0], say_position(Position(2, len(two) - 1))), *plain(three)[1:]])
    reader, first = Relay.of(), Relay.of()
    into = reader_of(server.stream(), reader)
    async with at_work(into.run()):
        await until(into.filled.is_set)
        assert reader.held() == [frame.data for frame in one]
        out = writer_of(server.stream(), first)
        sent = release(first, out, [*one, *two, *three])
        async with at_work(out.run()):
            await until(lambda: reader.held() == sent)


async def test_dive_that_the_ship_lost_is_passed_over(server: StreamServer) -> None:
    """Dives 1, 3 and 6 are all there are: who reads live and who comes later have all of them."""
    first, early, late = Relay.of(), Relay.of(), Relay.of()
    out = writer_of(server.stream(), first)
    sent = release(first, out, sealed([*dive(1, 5), *dive(3, 5)]))
    async with at_work(out.run(), reader_of(server.stream(), early).run()):
        await until(lambda: early.held() == sent)
        sent += release(first, out, sealed(dive(6, 5)))
        await until(lambda: early.held() == sent)
        async with at_work(reader_of(server.stream(), late).run()):
            await until(lambda: late.held() == sent)


async def test_nobody_hides_a_dive_that_is_in_the_stream(server: StreamServer) -> None:
    """A liar puts the third dive after the first one's end, before the second: readers get the three in their order."""
    one, two, three = sealed(dive(1, 3)), sealed(dive(2, 3)), sealed(dive(3, 3))
    ends = [say_position(Position(each[-1].dive, each[-1].seq)) for each in (one, two)]
    lie = [(three[0], ends[0]), *plain(three)[1:]]
    await poured(server, [*plain(one), *lie, (two[0], ends[0]), *plain(two)[1:], (three[0], ends[1])])
    reader = Relay.of()
    async with at_work(reader_of(server.stream(), reader).run()):
        await until(lambda: reader.held() == [frame.data for frame in [*one, *two, *three]])


async def test_false_words_on_what_records_follow_cost_no_reading(server: StreamServer) -> None:
    """Sixty messages, unsigned or signed, that name sixty records they follow: the stream isn't read again for each."""
    frames = sealed(dive(1, 60))
    unsigned = replace(frames[40], data=frames[40].data[:-1] + b"\1")
    lies = [(frame, f"1.{at}") for at in range(1, 58) for frame in (unsigned, frames[60])]
    await poured(server, [*lies, *plain(frames)])
    reader = Relay.of()
    into = reader_of(server.stream(), reader)
    async with at_work(into.run()):
        await until(lambda: reader.held() == [frame.data for frame in frames] and into.filled.is_set())
        assert into.line.outages == 0


async def test_stream_that_lies_is_not_believed(server: StreamServer) -> None:
    """Altered, another ship's, another audience's, no record at all: left out, and the true ones are filled in."""
    frames = sealed(dive(1, 12))
    altered = frames[2].data[:40] + bytes([frames[2].data[40] ^ 1]) + frames[2].data[41:]
    other = sealed([frames[2]], Signer(bytes(32)))[0]
    funders = replace(sealed(dive(1, 12, audience="funders"))[2], audience="public")
    lies = [replace(frames[2], data=altered), other, funders, replace(frames[2], data=b"no record")]
    await poured(server, [*plain(frames[:2]), *((lie, "1.1") for lie in lies), *plain(frames[2:4])])
    reader, first = Relay.of(), Relay.of()
    into = reader_of(server.stream(), reader)
    async with at_work(into.run()):
        await until(into.filled.is_set)
        assert reader.held() == [frame.data for frame in frames[:4]]
        assert into.verdicts[Verdict.UNSIGNED] == len(lies)
        out = writer_of(server.stream(), first)
        sent = release(first, out, frames)
        async with at_work(out.run()):
            await until(lambda: reader.held() == sent)


async def test_no_message_is_read_for_ever(server: StreamServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """A pad beyond every bound, a header that only the server should have, a frame that can't be judged: passed by."""
    frames = sealed(dive(1, 12))
    line = await nats.connect(server.url)
    jetstream = line.jetstream()
    await jetstream.add_stream(name="offing", subjects=["offing.*"])
    await jetstream.publish("offing.public", overlong(frames[0].data), headers={FOLLOWS: "0.-1"})
    await jetstream.publish("offing.public", b"", headers={"Status": "100", FOLLOWS: "0.-1"})
    await jetstream.publish("offing.public", b"fault", headers={FOLLOWS: "0.-1"})
    await jetstream.publish("offing._guests", b"fault")
    await line.close()

    def judged(history: History, key: bytes, data: bytes, follows: Position | None) -> Verdict:
        return judge(history, key, data, follows) if data != b"fault" else Verdict(data)

    monkeypatch.setattr("relay.shell.shore.stream_in.judge", judged)
    reader, first = Relay.of(), Relay.of()
    into = reader_of(server.stream(), reader)
    out = writer_of(server.stream(), first)
    sent = release(first, out, frames)
    async with at_work(into.run(), out.run()):
        await until(lambda: reader.held() == sent and into.filled.is_set())
        assert (into.verdicts[Verdict.UNSIGNED], into.line.outages) == (3, 0)


async def test_stream_of_which_only_lies_are_left_is_filled_with_the_truth(server: StreamServer) -> None:
    """Each number is taken by an altered record, with the very name the true one has: readers get the true ones."""
    frames = sealed(dive(1, 5))
    line = await nats.connect(server.url)
    jetstream = line.jetstream()
    await jetstream.add_stream(name="offing", subjects=["offing.*"])
    for frame in frames:
        named = {"Nats-Msg-Id": f"1-public-{frame.seq}"}
        await jetstream.publish("offing.public", frame.data[:-1] + b"\1", headers=named)
    await line.close()
    reader, first = Relay.of(), Relay.of()
    out = writer_of(server.stream(), first)
    sent = release(first, out, frames)
    async with at_work(reader_of(server.stream(), reader).run(), out.run()):
        await until(lambda: reader.held() == sent)


async def test_reader_of_another_ships_stream_holds_nothing(server: StreamServer) -> None:
    """A key is given to the reader, not taken from the stream."""
    reader = Relay.of()
    into = reader_of(server.stream(), reader, Signer(bytes(32)).key)
    await poured(server, plain(sealed(dive(1, 5))))
    async with at_work(into.run()):
        await until(into.filled.is_set)
        assert reader.held() == [] and SHIP.key != Signer(bytes(32)).key


async def test_reader_of_no_stream_is_not_filled(server: StreamServer) -> None:
    """Before the first relay has made the stream nothing is known, and that is no empty log."""
    reader = Relay({"public": History("public")})
    into = reader_of(server.stream(), reader)
    async with at_work(into.run()):
        await until(lambda: "stream not found" in into.line.words)
        assert not into.filled.is_set()
