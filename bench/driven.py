"""How a server under test is driven, like `floor.c`: `go RATE SECONDS` on standard input, a line of JSON back."""

import asyncio
import json
import resource
import sys
from collections.abc import Callable, Mapping


def cpu_s() -> float:
    """Return the processor time this process has used."""
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime


async def rounds(send: Callable[[], None], rate: float, seconds: float, spent: Callable[[], float]) -> dict[str, float]:
    """Send at a rate for so long and return what it took."""
    loop = asyncio.get_running_loop()
    begun, begun_cpu_s, sent = loop.time(), spent(), 0
    while (due := begun + sent / rate) < begun + seconds:
        await asyncio.sleep(max(0.0, due - loop.time()))
        send()
        sent += 1
    await asyncio.sleep(max(0.0, begun + seconds - loop.time()))
    return {"rounds": sent, "cpu_s": spent() - begun_cpu_s, "secs": loop.time() - begun}


async def be_driven(
    send: Callable[[], None], listening: Mapping[str, float], spent: Callable[[], float] = cpu_s
) -> None:
    """Say that the server listens, and send rounds as told until standard input ends."""
    commands = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(commands), sys.stdin)
    print(json.dumps(listening), flush=True)
    while line := await commands.readline():
        _, rate, seconds = line.split()
        print(json.dumps(await rounds(send, float(rate), float(seconds), spent)), flush=True)
