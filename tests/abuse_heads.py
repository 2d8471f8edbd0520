"""Attacks by requests: too long, smuggled, up through folders, with lines put in, and against caches.

Sources: RFC 9112 (syntax, smuggling in section 11.2), RFC 9110 (fields; section 17 on attacks), RFC 3986 section 2.1
(percent-encoding), RFC 9111 (caching). The further spellings of a path are common practice, no source.
"""

from contextlib import suppress
from socket import SHUT_WR

from abuse_attack import Attack
from abused import DONE, KEY, STATE, Port, World, dialled, exchanged, status_of
from peers import answers, request
from test_desk_apart import smuggled

ATTACKER = "127.0.0.1"
LONG = 9_000  # octets: more than any head may have
UP = [
    "..",
    "%2e%2e",
    "%2E.",
    "..%2f",
    "..%5c",
    "..\\",
    "%252e%252e",
    "%c0%ae%c0%ae",
    "\u2025",
    "....//",
    "..;",
    "%00..",
]
FILES = ["private/secrets.json", "private/desk.token", "EXPEDITION.toml", "private/journal.db", "etc/passwd"]
HEADERS = ["X-Forwarded-Host", "X-Host", "X-Original-URL", "X-Rewrite-URL", "Forwarded", "X-Forwarded-Scheme", "Origin"]
LINES = [
    "/%0d%0aX-Put-In:%20yes",
    "/x%0aX-Put-In:yes",
    "/?a=%0d%0a%0d%0aX-Put-In:yes",
    "/%E5%98%8A%E5%98%8DX-Put-In:yes",
]


def ports(world: World) -> list[Port]:
    """Return what speaks HTTP to whoever comes."""
    return [world.page, world.ashore, world.watch, world.desk]


def host_of(world: World, port: Port) -> str:
    """Return the name under which a port is asked rightly."""
    return "{}:{}".format(*port.address) if port is world.desk else "relay.example"


def secrets_of(world: World) -> list[bytes]:
    """Return what must be in no answer to a stranger."""
    return [world.token.encode(), KEY.hex().encode(), b"root:x:", b"SQLite format 3", b"[[audience]]", b"X-Put-In"]


async def refused(world: World, sending: bytes, port: Port, *expected: str) -> str:
    """Return the status of an answer that must be one of these, and hold nothing that is a stranger's business."""
    said = await exchanged(port, sending, ATTACKER)
    assert not [mark for mark in secrets_of(world) if mark in said], f"{port.name} told {said[:200]!r}"
    status = status_of(said)
    assert status[:3] in expected, f"{port.name}: {status}"
    return status[:3]


async def long_heads(world: World) -> str:
    """Send heads, targets and fields beyond the bound, and many fields."""
    got = set()
    for port in ports(world):
        host = host_of(world, port)
        many = [f"X-{number}: {'y' * 40}" for number in range(200)]
        here = set()
        for target, fields in (
            ("/" + "a" * LONG, []),
            ("/", ["X: " + "b" * LONG]),
            ("/", many),
            ("/?" + "c=" * LONG, []),
        ):
            sending = request(target, "GET", *fields).replace(b"relay.example", host.encode(), 1)
            here.add(await refused(world, sending, port, "431", "400", "nothing"[:3]))
        assert here & {"431", "400"}, f"{port.name} never answered"
        got |= here
    return f"{', '.join(sorted(got))} on four ports"


async def long_bodies(world: World) -> str:
    """Announce a body of a terabyte, and send one in chunks that never ends."""
    got = set()
    for port in ports(world):
        head = request("/decide", "POST", "Content-Type: application/json", close=False)[:-2]
        token = f"Authorization: Bearer {world.token}\r\n".encode() if port is world.desk else b""
        head = head.replace(b"relay.example", host_of(world, port).encode(), 1) + token
        announced = head + b"Content-Length: 1000000000000\r\nConnection: close\r\n\r\n"
        chunk = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
        endless = head + b"Transfer-Encoding: chunked\r\nConnection: close\r\n\r\n" + chunk * 8
        for sending in (announced, endless):
            peer = await dialled(port, ATTACKER, sending)
            with suppress(OSError):
                peer.line.shutdown(SHUT_WR)
            status = status_of(await peer.rest())[:3]
            assert status in ("405", "413", "400", "not"), f"{port.name}: {status}"
            got.add(status)
    assert got > {"not"} or "not" not in got, "nobody answered"
    return f"{', '.join(sorted(got)).replace('not', 'cut off')}; nothing taken"


async def smuggling(world: World) -> str:
    """Hide requests for the desk, with its token, where two readers of one stream may disagree."""
    await world.decides()
    before, tried = await world.taken(), 0
    for name, sending in smuggled(world.as_ship).items():
        for port in (world.page, world.ashore, world.watch):
            peer = await dialled(port, ATTACKER, sending)
            with suppress(OSError):
                peer.line.shutdown(SHUT_WR)
            said = await peer.rest()
            assert STATE not in said and DONE not in said and world.token.encode() not in said, name
            tried += 1
    assert await world.taken() == before, "something was decided"
    return f"{tried} streams: nothing decided, nothing of the desk told"


async def traversal(world: World) -> str:
    """Ask for files of the ship up through folders, in every spelling."""
    tried = 0
    for port in ports(world):
        for up in UP:
            targets = [f"/{up}/{up}/{up}/{file}" for file in FILES[:2]]
            targets += [
                f"/assets/{up}/{FILES[2]}",
                f"/recordings/public/{up}/{up}/{up}/{FILES[4]}",
                f"//{up}//{FILES[3]}",
            ]
            for target in targets:
                sending = request(target).replace(b"relay.example", host_of(world, port).encode(), 1)
                await refused(world, sending, port, "404", "400")
                tried += 1
    return f"{tried} paths on four ports: 404 or 400"


async def put_in(world: World) -> str:
    """Put lines into an answer by way of the path, the query and fields, encoded, bare and as folds."""
    tried, answered = 0, 0
    for port in ports(world):
        host = host_of(world, port).encode()
        fields = ["X: a\rX-Put-In: yes", "X: a\n X-Put-In: yes", "Accept-Encoding: gzip\x0bX-Put-In: yes", "X: a\0b"]
        sendings = [request(line) for line in LINES] + [request("/", "GET", line) for line in fields]
        for sending in sendings:
            said = await exchanged(port, sending.replace(b"relay.example", host, 1), ATTACKER)
            assert b"X-Put-In" not in said and b"x-put-in" not in said.lower(), port.name
            tried, answered = tried + 1, answered + said.startswith(b"HTTP/1.1 ")
    assert answered >= 4 * len(LINES), f"only {answered} of {tried} were answered"
    return f"{tried} requests, {answered} answered: no line of them is in an answer"


async def poisoning(world: World) -> str:
    """Ask with every name that a proxy or a cache may leave out of its key: the answer must be the same bytes."""
    tried = 0
    for port in (world.page, world.ashore):
        for path in ("/", "/expedition.html", "/dives.json", "/dive-001.html", "/followers.json", "/programme.json"):
            for name in HEADERS:
                assert await same(port, path, f"{name}: evil.example"), f"{port.name} {path}: {name} changes it"
                tried += 1
            assert await same(port, path, "Cookie: a=<script>", "X-HTTP-Method-Override: POST"), path
            assert await same(port, f"{path}?utm=<script>&cb=1", plain=path), f"{path}: the query changes it"
            tried += 2
    return f"{tried} requests: each answer is the plain one, byte for byte"


async def same(port: Port, path: str, *fields: str, plain: str | None = None) -> bool:
    """Whether an answer is the plain one; while records come a page changes, so only answers of one state count."""
    for _ in range(50):
        before = await exchanged(port, request(plain or path), ATTACKER)
        assert before.startswith(b"HTTP/1.1 200 "), f"{path}: {status_of(before)}"
        odd = await exchanged(
            port, request(path, "GET", *fields).replace(b"relay.example", b"evil.example", 1), ATTACKER
        )
        if before == await exchanged(port, request(plain or path), ATTACKER):
            return odd == before
    return False


async def deception(world: World) -> str:
    """Ask, as a guest, for what is private under names that a cache keeps: nobody else must get it from there."""
    tried = 0
    for name in ("/guest.json/x.css", "/guest.json;x.css", "/guest.json%2fx.js", "/guest.json?x.css", "/guest.json"):
        bearer = f"Authorization: Bearer {world.guest}"
        (answer,) = answers(await exchanged(world.page, request(name, "GET", bearer), ATTACKER))
        assert "no-store" in (answer.headers["Cache-Control"] or ""), name
        assert answer.status == (200 if name.partition("?")[0] == "/guest.json" else 404), name
        (stranger,) = answers(await exchanged(world.page, request(name), ATTACKER))
        assert stranger.status == 404, name
        tried += 1
    return f"{tried} names: no-store, and 404 to whoever has no token"


ATTACKS = [
    Attack("heads, targets and fields of 9,000 octets, 200 fields", "431 or 400, the connection ended", long_heads),
    Attack("a body of a terabyte, and one that never ends", "405, 413 or cut off; nothing is kept of it", long_bodies),
    Attack("requests smuggled to the desk, with its token", "nothing decided, nothing of the desk told", smuggling),
    Attack("paths up through folders, 12 spellings", "404 or 400, no byte of a file", traversal),
    Attack("lines put into an answer", "no line of the request in an answer", put_in),
    Attack("a cache poisoned by Host, X-Forwarded-*, cookies, queries", "the plain answer, byte for byte", poisoning),
    Attack("a cache deceived into keeping what is a guest's", "no-store, and 404 to others", deception),
]
