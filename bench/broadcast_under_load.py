"""`broadcast` of the library `websockets` under load, on uvloop as the site is. Arguments: the port, the octets."""

import asyncio
import os
import sys

import uvloop
from driven import be_driven
from websockets.asyncio.server import ServerConnection, broadcast, serve


async def main(port: int, octets: int) -> None:
    """Serve until standard input ends; compression, pings and limits are off, as they are in the floor."""
    connections: set[ServerConnection] = set()

    async def follow(connection: ServerConnection) -> None:
        connections.add(connection)
        try:
            await connection.wait_closed()
        finally:
            connections.discard(connection)

    async with serve(follow, "127.0.0.1", port, compression=None, ping_interval=None, backlog=1_024, close_timeout=1):
        message = os.urandom(octets)
        await be_driven(lambda: broadcast(connections, message), {"listening": 1})
        for connection in connections:
            connection.transport.abort()
        await asyncio.sleep(0)


if __name__ == "__main__":
    uvloop.run(main(int(sys.argv[1]), int(sys.argv[2])))
