"""What a guest is given over HTTP, and that to everybody else an invited audience isn't there at all."""

import asyncio
import json
from dataclasses import replace
from itertools import islice
from pathlib import Path

import pytest

from fair_time import fair_s
from guests_of import ADA, BOB, ENDS_S, EVE, TOKENS, WRONG, WallClock, bearer, hosting, invite
from peers import (
    FAST,
    RawPeer,
    answers,
    build_site,
    exchange,
    get,
    on_both_loops,
    publish,
    request,
    reset,
    running,
    until,
)
from relay.core.guests import Guest
from relay.shell.released.outlet import Frame
from relay.shell.site.site import Site
from relay.shell.site.tls_door import site_tls
from released import dive, endless_dive
from shores import with_certificates
from test_tls_door import shaken

FILES = ("/recordings/family/dives.json", "/recordings/family/programme.json", "/recordings/family/dive-001.recording")
PRIVATE = ("/guest.json", *FILES)
CODINGS = ("Accept-Encoding: gzip", "Accept-Encoding: identity")


def family(ticks: int = 3) -> list[Frame]:
    """Return a closed dive as the family is shown it."""
    return dive(1, ticks, audience="family")


@on_both_loops
async def test_guest_is_given_the_files_of_the_audience() -> None:
    """The list and the recording as an open audience's would be, and who the guest is: no name, no more than that."""
    async with hosting() as site:
        sent = b"".join(publish(site, family()))
        listed = json.loads((await get(site, FILES[0], bearer(ADA))).body)
        assert (listed["audience"], listed["dives"][0]["recording"]) == ("family", FILES[2].removeprefix("/"))
        assert (await get(site, FILES[2], bearer(ADA))).body.startswith(sent)
        assert json.loads((await get(site, FILES[1], bearer(ADA))).body)["audience"] == "family"
        told = {guest: json.loads((await get(site, "/guest.json", bearer(guest))).body) for guest in (ADA, BOB, EVE)}
        assert told[ADA] == {"format": 1, "audience": "family", "name": "family", "until": "2026-12-31"}
        assert told[BOB] == {"format": 1, "audience": "family", "name": "family", "until": None}
        assert told[EVE]["audience"] == "funders"


NOT_TOKENS = [
    (),
    (f"Authorization: Bearer {WRONG}",),
    (f"Authorization: Bearer {ADA.id}.{ADA.digest.hex()}",),
    (f"Authorization: Bearer {TOKENS[ADA]}x",),
    (f"Authorization: Bearer  {TOKENS[ADA]}",),
    (f"Authorization: Basic {TOKENS[ADA]}",),
    (f"Authorization: {TOKENS[ADA]}",),
    (bearer(EVE),),
    (bearer(ADA), bearer(ADA)),
    (bearer(ADA), f"Authorization: Bearer {WRONG}"),
    (f"Cookie: guest={TOKENS[ADA]}",),
    (f"Referer: http://relay.example/#guest={TOKENS[ADA]}",),
    (f"Sec-WebSocket-Protocol: offing, guest.{TOKENS[ADA]}",),
    (f"Proxy-Authorization: Bearer {TOKENS[ADA]}",),
]


@pytest.mark.parametrize("fields", NOT_TOKENS)
@on_both_loops
async def test_without_a_token_that_counts_an_invited_audience_is_not_there(fields: tuple[str, ...]) -> None:
    """Byte for byte as for a name that nobody has, for GET and HEAD, conditional or not, whatever is asked for."""
    async with hosting(limits=replace(FAST, wrong_tokens=0)) as site:
        publish(site, family())
        for method in ("GET", "HEAD"):
            for more in ((), ("If-None-Match: *",), ("Range: bytes=0-9",)):
                for path in FILES:
                    hidden = await exchange(site, request(path, method, *fields, *more))
                    nobodys = path.replace("family", "nobody")
                    assert hidden == await exchange(site, request(nobodys, method, *fields, *more))
                    assert hidden.startswith(b"HTTP/1.1 404 ")
        if EVE not in map(whose, fields):
            assert (await get(site, "/guest.json", *fields)).status == 404


def whose(field: str) -> Guest | None:
    """Return the guest whose right token a header holds."""
    return next((guest for guest in TOKENS if field == bearer(guest)), None)


@on_both_loops
async def test_token_in_the_address_counts_nothing() -> None:
    """Not in a query, not in the path, not behind `#` (which no browser sends), not as user information."""
    token = TOKENS[ADA]
    async with hosting() as site:
        publish(site, family())
        for path in FILES:
            for target in (f"{path}?guest={token}", f"{path}?access_token={token}", f"{path}#guest={token}"):
                assert (await get(site, target)).status == 404, target
        for target in (f"/{token}/recordings/family/dives.json", f"/guest.json?guest={token}", f"/guest/{token}"):
            assert (await get(site, target)).status == 404, target
        absolute = f"http://{token}@relay.example/recordings/family/dives.json"
        assert (await exchange(site, request(absolute))).split(b" ")[1] in (b"400", b"404")


@on_both_loops
async def test_nothing_that_is_open_is_made_of_an_invited_audience(tmp_path: Path) -> None:
    """Every open file is the same bytes whether the audience and its dives are there or not, with a token, too."""
    folder = build_site(tmp_path)
    async with running(limits=FAST, folder=folder) as plain, hosting(folder=folder) as site:
        for each in (plain, site):
            publish(each, dive(1, 2))
        publish(site, dive(1, 5, audience="family"))
        publish(site, dive(2, 4, audience="family"))
        paths = ("/", "/dives.json", "/programme.json", "/followers.json", "/expedition.html", "/dive-001.html",
                 "/pictures/expedition.png", "/recordings/public/dives.json",
                 "/recordings/public/dive-001.recording", "/dive-002.html", "/pictures/dive-002.svg")  # fmt: skip
        for path in paths:
            expected = await exchange(plain, request(path))
            assert await exchange(site, request(path)) == expected, path
            assert await exchange(site, request(path, "GET", bearer(ADA))) == expected, path
        assert site.history("family") is not None


@on_both_loops
async def test_no_cache_keeps_what_a_guest_is_given() -> None:
    """`private, no-store`, varying by the token, without a tag; a conditional request gets the whole answer again."""
    async with hosting() as site:
        publish(site, family(200))
        for path in PRIVATE:
            for coding in CODINGS:
                for more in ((), ("If-None-Match: *",), ('If-None-Match: ""',)):
                    answer = await get(site, path, bearer(ADA), coding, *more)
                    assert answer.status == 200
                    assert answer.headers["Cache-Control"] == "private, no-store"
                    assert "Authorization" in answer.headers["Vary"]
                    assert answer.headers["ETag"] is None
                    assert answer.headers["Last-Modified"] is None
                    assert answer.body


@on_both_loops
async def test_head_tells_a_guest_the_length_and_nothing_more() -> None:
    """The head of HEAD is that of GET (RFC 9110 section 9.3.2)."""
    async with hosting() as site:
        publish(site, family())
        for path in PRIVATE:
            got, head = await get(site, path, bearer(ADA)), await get(site, path, bearer(ADA), method="HEAD")
            assert (head.status, head.body, head.headers.items()) == (200, b"", got.headers.items())
            assert head.headers["Content-Length"] == str(len(got.body))


@on_both_loops
async def test_requests_on_one_connection_are_judged_one_by_one() -> None:
    """Pipelined with a token, without, with a wrong one, with another's and with it again: each gets its own answer."""
    async with hosting() as site:
        publish(site, family())
        path = FILES[0]
        pipelined = [(bearer(ADA),), (), (f"Authorization: Bearer {WRONG}",), (bearer(EVE),), (bearer(BOB),)]
        raw = b"".join(request(path, "GET", *fields, close=False) for fields in pipelined)
        got = answers(await exchange(site, raw + request(path)), *["GET"] * 6)
        assert [answer.status for answer in got] == [200, 404, 404, 404, 200, 404]
        assert got[0].body == got[4].body


@on_both_loops
async def test_invitation_that_is_taken_back_ends_within_a_second_even_amid_a_download() -> None:
    """The connection is reset with what it holds, the other guest's isn't, and the token is nobody's from then on."""
    async with hosting() as site:
        publish(site, list(islice(endless_dive(1, "family", "word " * 90), 6_000)))
        path = FILES[2]
        asked = [request(path, "GET", bearer(guest), "Accept-Encoding: identity") for guest in (ADA, BOB)]
        ada, bob = await RawPeer.dial(site, asked[0], receive_octets=4_096), await RawPeer.dial(site, asked[1])
        for peer in (ada, bob):
            await peer.receive_until(lambda got: len(got) > 10_000)
        began = fair_s()
        invite(site, 2, (BOB, EVE))
        await until(lambda: site.figures().connections == 1)
        assert fair_s() - began < 1
        cut = await ada.rest()
        assert ada.reset
        history = site.history("family")
        assert history is not None
        whole = len(history.dives[0].recording())
        assert len(cut) < 300_000 < whole / 10
        assert len((await bob.rest()).partition(b"\r\n\r\n")[2]) == whole
        assert (await get(site, path, bearer(ADA))).status == 404
        assert (await get(site, path, bearer(BOB))).status == 200


@on_both_loops
async def test_invitation_ends_by_the_clock_while_a_connection_is_kept_open() -> None:
    """The last request before is answered, the connection ends with the invitation, and the token is nobody's."""
    clock = WallClock()
    async with hosting(wall_s=clock) as site:
        publish(site, family())
        peer = await RawPeer.dial(site, request("/guest.json", "GET", bearer(ADA), close=False))
        await peer.receive_until(lambda got: got.endswith(b"}"))
        clock.at_s = ENDS_S
        await peer.rest()
        assert (await get(site, "/guest.json", bearer(ADA))).status == 404
        assert (await get(site, "/guest.json", bearer(BOB))).status == 200


@on_both_loops
async def test_wrong_tokens_beyond_the_limit_cost_the_connection_and_right_ones_are_let_in() -> None:
    """The answer stays the same, and is the last on its connection; the guests who share the address notice nothing."""
    async with hosting(limits=replace(FAST, wrong_tokens=3)) as site:
        publish(site, family())
        asked = request(FILES[0], "GET", f"Authorization: Bearer {WRONG}", close=False)
        right = request(FILES[0], "GET", bearer(ADA), close=False)
        got = answers(await exchange(site, asked + right + asked + right + asked + right), *["GET"] * 5)
        assert [answer.status for answer in got] == [404, 200, 404, 200, 404]
        refused = await exchange(site, asked)
        assert await exchange(site, asked + right) == refused
        assert answers(refused, "GET")[0].status == 404
        both = answers(await exchange(site, right + request(FILES[0], "GET", bearer(BOB))), "GET", "GET")
        assert [answer.status for answer in both] == [200, 200]
        assert (site.guests.wrong, site.guests.beyond) == (5, 2)


@on_both_loops
async def test_open_files_never_ask_whose_token_it_is() -> None:
    """A wrong token on an open path is neither judged nor counted: it would tell nothing, and lock somebody out."""
    async with hosting(limits=replace(FAST, wrong_tokens=1)) as site:
        for _ in range(5):
            assert (await get(site, "/dives.json", f"Authorization: Bearer {WRONG}")).status == 200
        assert site.guests.wrong == 0
        assert (await get(site, "/guest.json", bearer(ADA))).status == 200


@on_both_loops
async def test_invitation_has_so_many_connections_at_a_time() -> None:
    """A link that was passed on to a crowd serves a few of it; the others are answered 503 until somebody leaves."""
    async with hosting(limits=replace(FAST, connections_per_guest=2)) as site:
        ask = request("/guest.json", "GET", bearer(ADA), close=False)
        held = [await RawPeer.dial(site, ask) for _ in range(2)]
        for peer in held:
            await peer.receive_until(lambda got: got.endswith(b"}"))
        assert (await get(site, "/guest.json", bearer(ADA))).status == 503
        assert (await get(site, "/guest.json", bearer(BOB))).status == 200
        for peer in held:
            peer.line.close()


@on_both_loops
async def test_openings_are_counted_and_days_kept() -> None:
    """Each time the page asks who its guest is, once; files alone count no opening, but the day."""
    async with hosting() as site:
        publish(site, family())
        for path in ("/guest.json", FILES[0], "/guest.json"):
            await get(site, path, bearer(ADA))
        await get(site, "/guest.json", bearer(ADA), method="HEAD")
        await get(site, FILES[0], bearer(BOB))
        seen = {guest_id: (each.opens, each.last_day) for guest_id, each in site.guests.seen.items()}
        assert seen == {ADA.id: (2, "2026-12-31"), BOB.id: (0, "2026-12-31"), EVE.id: (0, None)}


async def test_site_without_invited_audiences_has_no_guests() -> None:
    """A listing that names an audience which isn't shown there opens nothing."""
    async with running(limits=FAST) as site:
        invite(site)
        publish(site, family())
        assert site.history("family") is None
        assert {(await get(site, path, bearer(ADA))).status for path in FILES} == {404}


async def test_other_sites_page_can_not_ask_with_a_token(tmp_path: Path) -> None:
    """A browser asks first whether it may (Fetch standard, CORS-preflight), and is told nothing that lets it."""
    async with hosting(folder=build_site(tmp_path)) as site:
        asks = ("Origin: http://elsewhere.example", "Access-Control-Request-Headers: authorization")
        answer = await get(site, FILES[0], *asks, method="OPTIONS")
        assert answer.status == 405
        assert not [name for name in answer.headers if name.lower().startswith("access-control")]


def all_lines(caplog: pytest.LogCaptureFixture) -> str:
    """Return everything that was logged, and how."""
    return "\n".join(f"{record.getMessage()} {record.__dict__}" for record in caplog.records)


@on_both_loops
async def test_no_token_and_no_id_is_logged(caplog: pytest.LogCaptureFixture) -> None:
    """Whatever becomes of the request, a fault of ours included; nor does a token stand in any answer."""
    caplog.set_level(0)
    async with hosting() as site:
        publish(site, family())
        raw = b""
        for fields in ((bearer(ADA),), (f"Authorization: Bearer {WRONG}",), (bearer(ADA), "Content-Length: x")):
            raw += await exchange(site, request(FILES[0], "GET", *fields))
        site._pages._guests = _broken  # type: ignore[assignment]
        raw += await exchange(site, request(FILES[0], "GET", bearer(ADA)))
        assert b"500 " in raw
    for secret in (TOKENS[ADA], "A" * 43, "W" * 43, ADA.id, "127.0.0.1"):
        assert secret not in all_lines(caplog)
        assert secret.encode() not in raw


def _broken(*_: object) -> None:
    raise RuntimeError("broken")


def test_site_knows_its_guests_by_the_listing_alone() -> None:
    """Nothing of a guest but what the listing says is held by a site: no name has a place there."""
    site = Site("The search", ("public",), invited=("family",))
    invite(site)
    told = repr({name: vars(value) for name, value in vars(site).items() if hasattr(value, "__dict__")})
    assert ADA.id in told
    assert "Ada" not in told
    asyncio.run(site.close())


@on_both_loops
async def test_guest_that_is_gone_before_the_answer_holds_no_place(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Reset over TLS behind several requests: who is lost as the guest's is answered doesn't stand for it for good."""
    with_certificates(tmp_path, "site")
    posted = request("/nowhere", "POST", "Content-Length: 5", close=False) + b"abcde"
    async with hosting(tls=site_tls(tmp_path / "site.pem", tmp_path / "site.key")) as site:
        publish(site, family())
        for before in range(12):
            peer, seal = await shaken(site)
            await peer.send(seal(request("/dives.json", close=False)))
            await until(lambda: site.figures().connections == 1)
            had = len(peer.received)
            await peer.receive_until(lambda got, had=had: len(got) > had + 500)  # type: ignore[misc]
            asked = request("/dives.json", close=False) * (before % 4) + posted * (before % 3)
            await peer.send(seal(asked + request(FILES[2], "GET", bearer(ADA), close=False)))
            reset(peer.line)
            await until(lambda: site.figures().connections == 0)
            for _ in range(10):  # what was asked is answered to nobody, a few passes later
                await asyncio.sleep(0)
        assert len(site._gate.attendance) == 0
    assert caplog.records == []
