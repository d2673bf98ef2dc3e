"""Ask the running registry whether it is well; exit 0 when it says so.

For the container's health check, which has no other program to ask with. The
site's own name is sent along, since the registry answers to no other.
"""

import http.client
import os
import sys
from pathlib import Path
from urllib.parse import urlsplit


def site_host() -> str:
    """Return the host of SOUNDLINE_SITE_URL, given by value or by file."""
    if file := os.environ.get("SOUNDLINE_SITE_URL_FILE"):
        return urlsplit(Path(file).read_text(encoding="utf-8").strip()).netloc
    return urlsplit(os.environ.get("SOUNDLINE_SITE_URL", "")).netloc or "localhost"


def main() -> int:
    """Return 0 for the answer 200, else 1."""
    port = int(os.environ.get("SOUNDLINE_BIND", "127.0.0.1:8000").rsplit(":", 1)[1])
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=4)
    try:
        connection.request("GET", "/healthz", headers={"Host": site_host()})
        return 0 if connection.getresponse().status == http.client.OK else 1
    except OSError:
        return 1
    finally:
        connection.close()


if __name__ == "__main__":
    sys.exit(main())
