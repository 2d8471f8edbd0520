"""A caching proxy from Debian (nginx) before a site, as a place that serves many would have one.

What the site says of each answer decides (RFC 9111): nginx is told no times of its own.
"""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from streams import free_port

NGINX = shutil.which("nginx") or "/usr/sbin/nginx"
CONFIG = """\
{user}daemon off;
worker_processes 1;
pid {folder}/pid;
error_log stderr error;
events {{ worker_connections 64; }}
http {{
    access_log off;
    client_body_temp_path {folder}/body; proxy_temp_path {folder}/temp; fastcgi_temp_path {folder}/f;
    uwsgi_temp_path {folder}/u; scgi_temp_path {folder}/s;
    proxy_cache_path {folder}/cache keys_zone=history:1m inactive=1d;
    server {{
        listen 127.0.0.1:{port};
        location / {{
            proxy_pass http://{site};
            proxy_http_version 1.1;
            proxy_set_header Connection "";
            proxy_set_header If-None-Match $http_if_none_match;
            proxy_cache history;
            proxy_cache_lock on;
            add_header X-Cache $upstream_cache_status always;
        }}
        location = /live {{
            proxy_pass http://{site};
            proxy_http_version 1.1;
            proxy_set_header Connection upgrade;
            proxy_set_header Upgrade $http_upgrade;
        }}
    }}
}}
"""


@contextmanager
def caching_proxy(folder: Path, site: str) -> Iterator[str]:
    """Run the proxy before the site at HOST:PORT; yield where the proxy is."""
    port = free_port()
    user = "user root;\n" if os.geteuid() == 0 else ""
    config = folder / "nginx.conf"
    config.write_text(CONFIG.format(user=user, folder=folder, port=port, site=site))
    subprocess.run([NGINX, "-t", "-q", "-c", str(config)], check=True)
    process = subprocess.Popen([NGINX, "-c", str(config)])
    try:
        yield f"127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait()
