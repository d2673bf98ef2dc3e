"""What this machine offers the tests: a PostgreSQL server, a Chromium.

A part that is missing is left out loudly. Naming it in SOUNDLINE_REQUIRE
(`browser,postgres`) makes its absence a failure, which is how CI runs.
Run as a program it serves the Makefile:

    python -m tests.reach postgres    print the server's address, or complain
    python -m tests.reach browser     print the browser's path, or complain
"""

import os
import shutil
import sys

import psycopg

POSTGRES = "postgres://postgres@127.0.0.1:5432/soundline"
_BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def is_required(part: str) -> bool:
    """Say whether SOUNDLINE_REQUIRE names the part."""
    return part in os.environ.get("SOUNDLINE_REQUIRE", "").replace(" ", "").split(",")


def postgres() -> str | None:
    """Return the address for DATABASE_URL when a server answers there, else None."""
    url = os.environ.get("SOUNDLINE_TEST_POSTGRES", POSTGRES)
    server = url.rsplit("/", 1)[0] + "/postgres"
    try:
        psycopg.connect(server, connect_timeout=3).close()
    except psycopg.OperationalError:
        return None
    return url


def browser() -> str | None:
    """Return the path of a Chromium, else None."""
    chosen = os.environ.get("SOUNDLINE_TEST_BROWSER")
    for name in (chosen,) if chosen else _BROWSERS:
        if path := shutil.which(name):
            return path
    return None


_MISSING = {
    "postgres": "tests on PostgreSQL: no server answers (SOUNDLINE_TEST_POSTGRES names one)",
    "browser": "journeys in Chromium: none is installed (SOUNDLINE_TEST_BROWSER names one)",
}


def missing(part: str) -> str:
    """Return the loud line for a part that is not there."""
    return f"NOT RUN: {_MISSING[part]}"


def main() -> int:
    """Print the place of the part asked for; 1 when it is absent, 2 when absent and required."""
    part = sys.argv[1]
    found = {"postgres": postgres, "browser": browser}[part]()
    if found:
        sys.stdout.write(f"{found}\n")
        return 0
    bar = "!" * 78
    sys.stderr.write(f"{bar}\n{missing(part)}\n{bar}\n")
    return 2 if is_required(part) else 1


if __name__ == "__main__":
    sys.exit(main())
