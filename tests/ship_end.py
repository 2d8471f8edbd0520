"""A ship's end of the link as a program: signed frames of a recording, released at their own pace or a quicker one.

`ship_end.py RECORDING HOST PORT PIN PACE KEEP_S`: the recording's frames (made by the one door, signed by `link_ends`'
key) are published `PACE` times as fast as their dive went. Every half second a line of JSON says how many were released
and how the link stands. It is what `offing ship` does with a released frame, without the vehicle.
"""

import asyncio
import json
import sys
import time
from pathlib import Path

import uvloop

from link_ends import SIGNER
from relay.core.wire import WireRecord
from relay.shell.plan.uplink_plan import UplinkPlan, shore_pin
from relay.shell.released.outlet import Frame
from relay.shell.released.recording import load_recording
from relay.shell.uplink.uplink import Uplink
from relay.shell.uplink.uplink_session import LinkLimits


async def release(uplink: Uplink, records: tuple[WireRecord, ...], pace: float) -> None:
    """Publish records as their time comes."""
    loop = asyncio.get_running_loop()
    began_s, done, told_s = loop.time(), 0, 0.0
    while True:
        elapsed_s = (loop.time() - began_s) * pace
        while done < len(records) and records[done].elapsed_s <= elapsed_s:
            record = records[done]
            uplink.publish(Frame("public", record.dive, record.seq, False, 0, record.data))
            done += 1
        if time.monotonic() >= told_s + 0.5:
            told_s = time.monotonic()
            sys.stdout.write(json.dumps({"released": done, **uplink.facts()}) + "\n")
            sys.stdout.flush()
        next_s = began_s + records[done].elapsed_s / pace if done < len(records) else loop.time() + 0.5
        await asyncio.sleep(max(0.01, min(0.5, next_s - loop.time())))


async def main(recording: str, host: str, port: str, pin: str, pace: str, keep_s: str) -> None:
    """Run until killed."""
    records = load_recording(Path(recording)).records
    uplink = Uplink(UplinkPlan(host, int(port), shore_pin(pin)), SIGNER, LinkLimits(keep_s=float(keep_s)))
    await asyncio.gather(uplink.run(), release(uplink, records, float(pace)))


if __name__ == "__main__":
    uvloop.run(main(*sys.argv[1:7]))
