"""nginx with nchan (Debian's packages) under load, configured in a folder of its own. Arguments: the port, the octets.

Messages are published by HTTP over one connection that is kept open, to another port of the loopback; what counts is
the processor time of the one worker.
"""

import asyncio
import os
import socket
import subprocess
import sys
from contextlib import closing
from http.client import HTTPConnection
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic, sleep

from driven import be_driven

NGINX = "/usr/sbin/nginx"
MODULE = "/usr/lib/nginx/modules/ngx_nchan_module.so"
START_S = 20.0
CONFIGURATION = """
daemon off; worker_processes 1; pid {folder}/pid; error_log {folder}/error.log; load_module {module};
worker_rlimit_nofile 19000;
events {{ worker_connections 18000; accept_mutex off; }}
http {{
  access_log off; keepalive_requests 1000000; keepalive_timeout 3600s;
  client_body_temp_path {folder}/body; proxy_temp_path {folder}/proxy; fastcgi_temp_path {folder}/fastcgi;
  uwsgi_temp_path {folder}/uwsgi; scgi_temp_path {folder}/scgi;
  server {{
    listen 127.0.0.1:{port} backlog=4096;
    location = /follow {{
      nchan_subscriber websocket; nchan_channel_id all; nchan_subscriber_first_message newest;
      nchan_websocket_ping_interval 0;
    }}
  }}
  server {{
    listen 127.0.0.1:{publishing};
    location = /publish {{
      nchan_publisher http; nchan_channel_id all; nchan_message_buffer_length 1; nchan_message_timeout 5s;
      client_max_body_size 64k; client_body_buffer_size 64k;
    }}
  }}
}}
"""


def free_port() -> int:
    """Return a port of the loopback that is free."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def worker_of(master: int, port: int) -> int:
    """Return the process number of the worker, once it listens."""
    children = Path(f"/proc/{master}/task/{master}/children")
    until = monotonic() + START_S
    while monotonic() < until:
        found = children.read_text().split()
        if found:
            with closing(socket.create_connection(("127.0.0.1", port))):
                return int(found[0])
        sleep(0.02)
    raise RuntimeError("nginx did not start")


def spent_s(process: int) -> float:
    """Return the processor time of another process (schedstat counts it in nanoseconds)."""
    return int(Path(f"/proc/{process}/schedstat").read_text().split()[0]) / 1e9


async def drive(worker: int, publishing: int, octets: int) -> None:
    """Publish as told until standard input ends."""
    message = os.urandom(octets)
    with closing(HTTPConnection("127.0.0.1", publishing)) as line:

        def send() -> None:
            line.request("POST", "/publish", message, {"Content-Type": "application/octet-stream"})
            answer = line.getresponse()
            answer.read()
            if answer.status not in (201, 202):
                raise RuntimeError(f"nchan answered {answer.status}")

        send()
        await be_driven(send, {"listening": 1, "pid": worker}, lambda: spent_s(worker))


def main(port: int, octets: int) -> None:
    """Run nginx in a temporary folder until standard input ends."""
    publishing = free_port()
    with TemporaryDirectory() as folder:
        written = Path(folder, "nginx.conf")
        written.write_text(CONFIGURATION.format(folder=folder, module=MODULE, port=port, publishing=publishing))
        command = (NGINX, "-p", folder, "-c", str(written), "-e", f"{folder}/error.log")
        server = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
        try:
            asyncio.run(drive(worker_of(server.pid, port), publishing, octets))
        finally:
            server.terminate()
            server.wait()


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
