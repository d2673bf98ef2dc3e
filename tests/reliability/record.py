"""What a soak writes down: the rows there are, and one line of the record."""

from __future__ import annotations

import os
from enum import StrEnum
from pathlib import Path
from typing import TypedDict

ROOT = Path(__file__).resolve().parent.parent.parent
RECORD = Path(os.environ.get("SOUNDLINE_SOAK_RECORD", ROOT / "var" / "soak.jsonl"))


class What(StrEnum):
    """What is tried, in the words of the table."""

    SQL_FAULTS = "statements that failed, one at a time, in the middle of a deed"
    FILE_FAULTS = "file operations that failed, one at a time"
    KILLS = "kills in the middle of work (SIGKILL)"
    KILLED_SUBMISSIONS = "results answered between the kills"
    RACES_OF_TWO = "decisions by two registrars at once"
    RACES_OF_EIGHT = "decisions by eight registrars at once"
    REPLAYS = "requests repeated with one key"
    FUZZED = "made-up requests to the interface"
    DAMAGES = "planted damages"
    UNSENT = "decisions while the mail server is away, each mail sent once afterwards"
    REVOCATIONS = "revocations, each seen at once on page, interface, PDF and status list"
    BACKUPS = "backups made while the club works, each of one moment"
    WALKS = "random walks of announced examinations, looked at after each deed"
    FULL_DISK = "rounds of writing on a full disk, while pages that read go on"
    GUESSES = "guesses at one account's password in thirty days, at most 100 of them tried"
    CLEAN_RUNS = "verifications of a registry left alone"


class Line(TypedDict):
    """One part of one row, as it was run."""

    what: str
    part: str
    database: str
    done: int
    failures: int
    day: str
    commit: str
