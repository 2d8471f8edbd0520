"""The ship's dialling: a TCP connection that is counted, TLS, a websocket, and the proof of who is who.

Rules: the shore is known by its pin or by the system's authorities before a proof is given; LinkError says in the
ship's own words why there is no link, and nothing that the shore wrote is in them (R6).
"""

import asyncio
import contextlib
import logging
import os
import socket
import struct
from dataclasses import dataclass
from hashlib import sha256
from hmac import compare_digest
from ssl import SSLCertVerificationError, SSLError

from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, WebSocketException
from websockets.frames import Frame, Opcode
from websockets.protocol import Event

from relay.core.errors import LinkError
from relay.core.seal import Signer
from relay.core.uplink_talk import (
    GREETING_OCTETS,
    WORD,
    WORDS,
    Ends,
    Held,
    Listed,
    proof_of,
    read_challenge,
    read_standing,
    write_proof,
)
from relay.shell.plan.uplink_plan import UplinkPlan
from relay.shell.uplink.uplink_tls import ship_tls

# Of the socket's messages the library would log what they hold.
_silent = logging.getLogger("relay.shell.uplink.uplink_link.silent")
_silent.setLevel(logging.CRITICAL + 1)
_silent.propagate = False

REACH_S = 7.0
_CONGESTION = (
    b"bbr"  # on a link that loses one packet in fifty it carries twice what cubic does; where the kernel has it
)
# linux/tcp.h, struct tcp_info: what the connection carried, with all that was sent again.
_RECEIVED_AT, _SEGMENTS_AT, _SENT_AT, _INFO_OCTETS = 128, 136, 200, 232
_HEADERS = {
    socket.AF_INET: 52,
    socket.AF_INET6: 72,
}  # IP (RFC 791, RFC 8200), TCP with time stamps (RFC 9293, RFC 7323)


MAY_HEAR = 4 * GREETING_OCTETS  # to the end of the greeting
_TALKS = "the shore says what no shore says: has somebody taken it over? Nothing more is sent to it for a while"


class NotNowError(LinkError):
    """A hand, or time, must change something first: dialling again at once would only cost."""


class RefusedAshoreError(NotNowError):
    """The shore refused what it was sent last."""


class Line(ClientConnection):
    """A websocket that hears what was asked for and no more: a shore that says more, or pings, is left at once.

    `may_hear`: how many octets may have come by now; who sends raises it. For each octet the library would buffer or
    answer, without a bound and beside the link's limit.
    """

    may_hear = MAY_HEAR
    heard = 0
    talks = False

    def data_received(self, data: bytes) -> None:
        """Take what has come."""
        self.heard += len(data)
        if self.heard > self.may_hear:
            self.leave()
        else:
            super().data_received(data)

    def process_event(self, event: Event) -> None:
        """Take a frame, or the opening's answer."""
        if isinstance(event, Frame) and (not event.fin or event.opcode not in (Opcode.BINARY, Opcode.CLOSE)):
            self.leave()
        else:
            super().process_event(event)

    def leave(self) -> None:
        """Leave a shore that talks."""
        self.talks = True
        self.transport.abort()

    def why(self, error: ConnectionClosed) -> LinkError:
        """Return why the link ended: by the code that the shore gave, never by its words."""
        return NotNowError(_TALKS) if self.talks else closed(error)


@dataclass(frozen=True, slots=True)
class Link:
    """A link to a shore that has taken the ship's proof; `held`, `listed`: what it holds."""

    connection: Line
    line: socket.socket
    held: dict[str, Held]
    listed: Listed

    def carried(self) -> int | None:
        """Return how many octets the link has carried in both directions, headers and repeats included.

        None where the kernel doesn't say. Handshake packets of TCP itself, and what is below IP, aren't counted.
        """
        return carried(self.line)

    async def close(self) -> None:
        """Take leave; whoever doesn't answer is left at once."""
        try:
            await self.connection.close()
        finally:
            self.connection.transport.abort()


async def dial(plan: UplinkPlan, signer: Signer, greet_s: float) -> Link:
    """Return a link to the shore; LinkError says why there is none, NotNowError that dialling again at once won't help.

    `greet_s`: how long TLS and the socket's opening may take, and how long the proof.
    """
    line = await _reach(plan)
    known = os.fstat(line.fileno())
    try:
        connection = await _greet(plan, line, greet_s)
    except BaseException:
        let_go(line, known)
        raise
    try:
        async with asyncio.timeout(greet_s):
            held, listed = await _prove(plan, signer, connection)
    except BaseException as error:
        connection.transport.abort()
        if isinstance(error, ConnectionClosed):
            raise connection.why(error) from None
        if isinstance(error, TimeoutError):
            raise LinkError(f"the shore said nothing for {greet_s:g} s") from None
        raise
    return Link(connection, line, held, listed)


async def _reach(plan: UplinkPlan) -> socket.socket:
    """Return a TCP connection to the shore."""
    loop = asyncio.get_running_loop()
    try:
        async with asyncio.timeout(REACH_S):
            places = await loop.getaddrinfo(plan.host, plan.port, type=socket.SOCK_STREAM)
            for at, (family, kind, protocol, _, address) in enumerate(places):
                line = _line(socket.socket(family, kind, protocol))
                try:
                    await loop.sock_connect(line, address)
                except OSError:
                    line.close()
                    if at == len(places) - 1:
                        raise
                except BaseException:
                    line.close()
                    raise
                else:
                    return line
    except TimeoutError as error:
        raise LinkError("the shore can't be reached: no answer") from error
    except (socket.gaierror, UnicodeError) as error:  # the latter of a name that no resolver can be asked for
        raise LinkError("the shore's name can't be resolved") from error
    except OSError as error:
        raise LinkError(f"the shore can't be reached: {os.strerror(error.errno or 0)}") from error
    raise LinkError("the shore's name stands for no address")


def _line(line: socket.socket) -> socket.socket:
    """Set a socket up for a link that is far and loses packets."""
    line.setblocking(False)
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, 30_000)
    with contextlib.suppress(OSError):
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_CONGESTION, _CONGESTION)
    return line


def let_go(line: socket.socket, known: os.stat_result) -> None:
    """Close a connection that was given to the loop; `known`: what its descriptor was.

    uvloop (0.23, `create_connection`) closes the descriptor of one that is reset at once without telling the socket.
    Its number may be a follower's by now, or the journal's: it isn't ours to close any more, not even by forgetting.
    """
    number = line.fileno()
    if number >= 0:
        try:
            is_ours = os.path.samestat(os.fstat(number), known)
        except OSError:
            is_ours = False
        if not is_ours:
            line.detach()
    line.close()


async def _greet(plan: UplinkPlan, line: socket.socket, greet_s: float) -> Line:
    """Return the websocket over TLS on a connection."""
    try:
        connection = await connect(
            f"{plan.to}/",
            sock=line,
            ssl=ship_tls(plan.pin),
            server_hostname=plan.host,
            compression=None,
            ping_interval=None,
            open_timeout=greet_s,
            close_timeout=2.0,
            max_size=GREETING_OCTETS,
            max_queue=16,
            user_agent_header=None,
            proxy=None,
            logger=_silent,
            create_connection=Line,
        )
    except SSLCertVerificationError as error:
        raise NotNowError(
            "whoever answers as the shore has a certificate that this machine doesn't trust: write what "
            "`offing shore --check` prints there as [uplink] pin"
        ) from error
    except TimeoutError as error:
        raise LinkError("the shore can't be reached: no answer") from error
    except (SSLError, WebSocketException, EOFError, ValueError) as error:
        raise LinkError("who answers there isn't a shore: is [uplink] to its uplink's port?") from error
    except OSError as error:
        raise LinkError(f"the shore can't be reached: {_lost(error)}") from error
    assert isinstance(connection, Line)
    return connection


def _lost(error: OSError) -> str:
    return os.strerror(error.errno) if error.errno else "the connection was lost"


async def _prove(plan: UplinkPlan, signer: Signer, connection: Line) -> tuple[dict[str, Held], Listed]:
    """Look who answers, give the ship's proof, and return what the shore holds."""
    try:
        certificate = connection.transport.get_extra_info("ssl_object").getpeercert(binary_form=True)
    except ValueError as error:  # what was damaged behind the opening has ended TLS, and with it what it knew
        raise LinkError("the connection was lost") from error
    if plan.pin is not None and not compare_digest(sha256(certificate).digest(), plan.pin):
        raise NotNowError(
            "whoever answers as the shore has another certificate than [uplink] pin says; if it was renewed ashore, "
            "write what `offing shore --check` prints there"
        )
    nonce = read_challenge(await receive(connection))
    await connection.send(write_proof(signer.key, signer.sign(WORD, proof_of(nonce, certificate))))
    return read_standing(await receive(connection))


async def receive(connection: Line) -> bytes:
    """Return the next message of the shore; LinkError if it is text, ConnectionClosed at the end."""
    data = await connection.recv()
    if not isinstance(data, bytes):
        raise LinkError("the shore sent text, which no shore does")
    return data


def closed(error: ConnectionClosed) -> LinkError:
    """Return why a link ended: by the code that the shore gave, never by its words."""
    if error.rcvd is None or error.rcvd_then_sent is False:
        return LinkError("the connection was lost")
    code = error.rcvd.code
    if code not in WORDS:
        return LinkError("the shore closed the link")
    kinds = {Ends.AWAY: LinkError, Ends.REFUSED: RefusedAshoreError}
    return kinds.get(Ends(code), NotNowError)(WORDS[Ends(code)])


def carried(line: socket.socket) -> int | None:
    """Return how many octets a TCP connection has carried, both ways, with every header; None if it can't be known."""
    try:
        info = line.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, _INFO_OCTETS)
    except OSError:
        return None
    if len(info) < _SENT_AT + 8 or line.family not in _HEADERS:
        return None
    (received,), (sent,) = struct.unpack_from("=Q", info, _RECEIVED_AT), struct.unpack_from("=Q", info, _SENT_AT)
    segments = sum(struct.unpack_from("=II", info, _SEGMENTS_AT))
    return int(received + sent + segments * _HEADERS[line.family])
