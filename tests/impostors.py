"""Servers that answer where a relay should: mail, nobody, noise, TLS with another key, TLS with the right one.

Each takes a connection that was accepted, and goes; `chance` chooses sizes. By the standard library alone.
"""

import asyncio
import random
import socket
import ssl
from collections.abc import Awaitable, Callable
from pathlib import Path

PATIENCE_S = 1.0
Speaks = Callable[[asyncio.StreamReader, asyncio.StreamWriter, random.Random], Awaitable[None]]


async def mail(near: socket.socket, chance: random.Random) -> None:
    """Greet as a mail server does (RFC 5321 section 4.2), and end."""
    await asyncio.get_running_loop().sock_sendall(near, b"220 mail.example ready\r\n")


async def nobody(near: socket.socket, chance: random.Random) -> None:
    """Take what comes and say nothing, for a moment."""
    async with asyncio.timeout(chance.uniform(0.0, 0.3)):
        while await asyncio.get_running_loop().sock_recv(near, 65_536):
            pass


async def noise(near: socket.socket, chance: random.Random) -> None:
    """Say a great deal that means nothing."""
    async with asyncio.timeout(PATIENCE_S):
        for _ in range(chance.randrange(1, 64)):
            await asyncio.get_running_loop().sock_sendall(near, chance.randbytes(16_384))


async def endless_head(near: socket.socket, chance: random.Random) -> None:
    """Begin an HTTP answer (RFC 9112) whose head doesn't end."""
    loop = asyncio.get_running_loop()
    async with asyncio.timeout(PATIENCE_S):
        await loop.sock_sendall(near, b"HTTP/1.1 101 Switching Protocols\r\n")
        for number in range(chance.randrange(1, 4_000)):
            await loop.sock_sendall(near, b"X-%d: %s\r\n" % (number, b"a" * 100))


def over_tls(certificate: Path, key: Path, speaks: Speaks) -> Callable[[socket.socket, random.Random], Awaitable[None]]:
    """Return who answers over TLS with a certificate, and then speaks."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)

    async def answer(near: socket.socket, chance: random.Random) -> None:
        loop = asyncio.get_running_loop()
        reader = asyncio.StreamReader()
        protocol = asyncio.StreamReaderProtocol(reader)
        async with asyncio.timeout(PATIENCE_S):
            transport, _ = await loop.connect_accepted_socket(lambda: protocol, near, ssl=context)
            writer = asyncio.StreamWriter(transport, protocol, reader, loop)
            try:
                await speaks(reader, writer, chance)
            finally:
                transport.abort()

    return answer


async def no_websocket(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, chance: random.Random) -> None:
    """Answer that there is no such thing."""
    await reader.readuntil(b"\r\n\r\n")
    writer.write(b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\nConnection: close\r\n\r\n")
    await writer.drain()


async def torrent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, chance: random.Random) -> None:
    """Say far more than a shore may, before and after anything was asked."""
    for _ in range(chance.randrange(1, 32)):
        writer.write(chance.randbytes(16_384))
        await writer.drain()
