"""The security document tells the truth: every number is the code's, every secret is listed."""

from __future__ import annotations

import re
import runpy
from datetime import timedelta

import pytest
from django.conf import settings

from api import paging, reading, throttles
from registry import slow_bodies
from registry.desk import decide, evidence, mail, pedigree_rows, people, replay
from registry.paper import attachment
from registry.web.breeder import views as breeder_views
from registry.web.buyer import budget
from registry.web.buyer import views as buyer_views
from tests.assurance.source import ROOT

TEXT = (ROOT / "deploy" / "security.md").read_text(encoding="utf-8")
SERVER = runpy.run_path(str(ROOT / "gunicorn.conf.py"))
CADDYFILE = (ROOT / "deploy" / "Caddyfile").read_text(encoding="utf-8")
SETTINGS = (ROOT / "registry" / "settings.py").read_text(encoding="utf-8")


def rows(heading: str) -> list[list[str]]:
    """The rows of the table below a heading, without its head."""
    part = TEXT.split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]
    lines = [line for line in part.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines[2:]]


LIMITS = {row[0]: row[1] for row in rows("Limits")}
# Each limit as the code has it, in the words of the document.
TRUE_LIMITS = {
    "requests to the interface without a token, a network": (
        throttles.AddressThrottle.rate.replace("/", " an ")
    ),
    "look-ups on public pages that cost work, a network": (
        f"{settings.ASKS_AN_HOUR} an hour (`SOUNDLINE_ASKS_AN_HOUR`),"
        f" {budget.BUDGET._full * settings.WORKERS:.0f} of them at once"
    ),
    "whole chip numbers with the same last six digits, all networks": (
        f"{budget.CHIPS_AN_HOUR} an hour"
    ),
    "requests to the interface with a token": (
        f"{int(throttles.TokenThrottle.rate.split('/')[0]):,} a minute"
    ),
    "a JSON body": f"{reading.MOST_BYTES // 1024} KiB",
    "a text in an address of the interface": "200 characters",
    "rows of one answer of the interface": str(paging.MOST),
    "one evidence file": f"{settings.EVIDENCE_MAX_BYTES // 2**20} MB (`SOUNDLINE_EVIDENCE_MAX_MB`)",
    "evidence files of one result": str(evidence.MOST_FILES),
    "a loose or discarded evidence file is kept": (
        f"{evidence._ORPHAN_AGE // timedelta(hours=1)} hours"
    ),
    "a stored file that no record names is set aside for": f"{evidence._KEPT_ASIDE.days} days",
    "a pedigree spreadsheet": (
        f"{pedigree_rows.MOST_BYTES // 2**20} MB, {pedigree_rows.MOST_ROWS:,} rows"
    ),
    "a PDF to check": (
        f"{attachment.MOST_PDF_BYTES // 2**20} MB, {attachment._SECONDS} seconds"
    ),
    "fields of one form": str(settings.DATA_UPLOAD_MAX_NUMBER_FIELDS),
    "files of one form": str(settings.DATA_UPLOAD_MAX_NUMBER_FILES),
    "what is typed to look up": f"{buyer_views._LONGEST_QUERY} characters",
    "results approved together": str(decide.MOST_AT_ONCE),
    "pairs side by side": str(breeder_views.MOST_PAIRS),
    "life of a token": f"{people.LONGEST_TOKEN_DAYS} days",
    "a repeated request is known for": f"{replay.KEPT_FOR.days} days",
    "attempts to send a mail": str(mail.MOST_ATTEMPTS),
    "a body that comes slowly": (
        f"{slow_bodies.SECONDS:.0f} seconds, and one more for every"
        f" {slow_bodies.BYTES_A_SECOND // 1024} KiB"
    ),
    "a body through the proxy": (
        "{} MB for films, {} MB for papers and sheets, {} MB elsewhere; {} seconds".format(
            *re.findall(r"max_size (\d+)MB", CADDYFILE),
            *re.findall(r"read_body (\d+)s", CADDYFILE),
        )
    ),
    "waiting for the database": "{} seconds to connect, {} for a lock".format(
        *(re.findall(pattern, SETTINGS)[0]
          for pattern in (r'"connect_timeout": (\d+)', r'"timeout": (\d+)'))
    ),
}  # fmt: skip


def test_it_lists_the_limits_that_are_known_here_and_no_other() -> None:
    assert set(LIMITS) == set(TRUE_LIMITS)


@pytest.mark.parametrize("what", sorted(TRUE_LIMITS))
def test_a_limit_is_the_codes(what: str) -> None:
    assert LIMITS[what] == TRUE_LIMITS[what]


def test_every_file_it_names_is_there() -> None:
    named = set(re.findall(r"`((?:registry|api|deploy|tests|templates)/[\w./-]+)`", TEXT))
    named |= {f"registry/desk/{name}" for name in ("dog_facts.py", "catalogue.py")}

    assert len(named) > 15
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_every_secret_of_the_settings_is_in_the_table_of_keys() -> None:
    listed = " ".join(row[0] for row in rows("Keys and secrets"))
    pattern = r'"((?:SOUNDLINE_\w*(?:KEY|PASSWORD)\w*|DATABASE_URL))"'
    secret = set(re.findall(pattern, SETTINGS)) - {
        # Public halves of former keys.
        "SOUNDLINE_LOG_FORMER_KEYS",
        "SOUNDLINE_ISSUER_FORMER_KEYS",
    }

    assert len(secret) >= 6
    assert [name for name in secret if f"`{name}`" not in listed] == []


def test_every_key_says_what_for_how_kept_and_how_changed() -> None:
    for row in rows("Keys and secrets"):
        assert len(row) == 5, row
        assert all(row), row


def test_every_class_of_data_says_how_it_is_kept() -> None:
    classes = rows("Data, by how much it needs protection")

    assert [row[0] for row in classes] == ["public", "club", "personal", "secret"]
    assert all(len(row) == 5 and all(row) for row in classes)


def test_every_role_has_its_row() -> None:
    said = {row[0] for row in rows("Who may see and do what")}

    assert {"anybody", "clinic", "registrar", "secretary", "token"} <= said


def test_every_log_and_every_connection_is_told() -> None:
    assert {row[0] for row in rows("Log lines")} >= {"registry and worker", "audit trail", "proxy"}
    assert len(rows("Connections")) >= 6


def test_days_to_close_a_hole_are_said() -> None:
    assert re.search(r"within 7 days when it is critical", TEXT)
    assert re.search(r"within 30 days when it is high", TEXT)


def test_it_says_how_many_threads_the_server_has() -> None:
    threads = SERVER["threads"] * SERVER["workers"]

    assert f"the registry has {threads} threads" in TEXT
