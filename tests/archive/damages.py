"""Twenty kinds of damage to an archive, from a bad sector to a forged table; and who is to blame.

A careful forger makes manifest and hashes fit again (``refit``): then only the rows themselves can
tell.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

Files = dict[str, bytes]
Deed = Callable[[Files], str]

MANIFEST = "manifest.json"
DOGS = "rows/dog.jsonl"
READINGS = "rows/reading.jsonl"
EVIDENCE = "rows/evidence.jsonl"
HEAD = "rows/ledgerhead.jsonl"


def read_zip(path: Path) -> Files:
    """The members of an archive."""
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def write_zip(path: Path, files: Files) -> Path:
    """An archive of the members."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


def refit(files: Files, change: Callable[[dict[str, Any]], None] = lambda _told: None) -> None:
    """Make manifest and hashes fit the members again, after a change of the manifest."""
    told = json.loads(files[MANIFEST])
    told["members"] = [
        {
            **member,
            "bytes": len(files[member["name"]]),
            "sha256": hashlib.sha256(files[member["name"]]).hexdigest(),
        }
        for member in told["members"]
        if member["name"] in files
    ]
    change(told)
    listed = sorted([each["name"], each["bytes"], each["sha256"]] for each in told["members"])
    text = json.dumps(listed, separators=(",", ":"), ensure_ascii=False)
    told["content_sha256"] = hashlib.sha256(text.encode()).hexdigest()
    files[MANIFEST] = json.dumps(told).encode()
    files["manifest.sha256"] = hashlib.sha256(files[MANIFEST]).hexdigest().encode()


def _file(files: Files) -> str:
    return next(name for name in files if name.startswith("evidence/"))


def _first(files: Files, name: str, change: Callable[[dict[str, Any]], None]) -> None:
    """Change the first row of a table."""
    line, _, rest = files[name].partition(b"\n")
    row = json.loads(line)
    change(row)
    files[name] = json.dumps(row, sort_keys=True, ensure_ascii=False).encode() + b"\n" + rest


def a_letter_of_a_name(files: Files) -> str:
    files[DOGS] = files[DOGS].replace(b"Tarnfold", b"Tarnfald", 1)
    return DOGS


def a_bit_of_a_picture(files: Files) -> str:
    name = _file(files)
    files[name] = bytes([files[name][0] ^ 1]) + files[name][1:]
    return name


def the_end_of_a_table(files: Files) -> str:
    files[READINGS] = files[READINGS][:-7]
    return READINGS


def more_at_the_end_of_a_table(files: Files) -> str:
    files[READINGS] += b"\n"
    return READINGS


def an_empty_picture(files: Files) -> str:
    name = _file(files)
    files[name] = b""
    return name


def a_table_gone(files: Files) -> str:
    del files[DOGS]
    return DOGS


def a_picture_gone(files: Files) -> str:
    name = _file(files)
    del files[name]
    return name


def a_stranger_among_the_files(files: Files) -> str:
    files["evidence/stranger"] = b"%PDF"
    return "evidence/stranger"


def a_name_that_leads_outside(files: Files) -> str:
    files["../outside"] = b"#!/bin/sh"
    return "../outside"


def the_manifest_gone(files: Files) -> str:
    del files[MANIFEST]
    return MANIFEST


def the_manifests_hash_gone(files: Files) -> str:
    del files["manifest.sha256"]
    return "manifest.sha256"


def a_digit_of_the_manifest(files: Files) -> str:
    files[MANIFEST] = files[MANIFEST].replace(b'"rows": 1', b'"rows": 2', 1)
    return MANIFEST


def the_manifest_of_something_else(files: Files) -> str:
    refit(files, lambda told: told.update(format="another"))
    return MANIFEST


def a_later_format(files: Files) -> str:
    refit(files, lambda told: told.update(version=99))
    return MANIFEST


def a_manifest_that_is_no_json(files: Files) -> str:
    files[MANIFEST] = b"{"
    files["manifest.sha256"] = hashlib.sha256(b"{").hexdigest().encode()
    return MANIFEST


def tables_swapped(files: Files) -> str:
    files[DOGS], files[READINGS] = files[READINGS], files[DOGS]
    return DOGS


def a_forged_row_that_is_no_json(files: Files) -> str:
    files[DOGS] += b"not a row\n"
    refit(files)
    return DOGS


def a_forged_column(files: Files) -> str:
    _first(files, DOGS, lambda row: row.update(extra=1))
    refit(files)
    return DOGS


def a_forged_text_for_a_number(files: Files) -> str:
    _first(files, READINGS, lambda row: row.update(step="31"))
    refit(files)
    return READINGS


def a_forged_day(files: Files) -> str:
    _first(files, DOGS, lambda row: row.update(born_on="2023-02-30"))
    refit(files)
    return DOGS


def a_row_dropped_and_hashes_refitted(files: Files) -> str:
    files[READINGS] = files[READINGS].partition(b"\n")[2]
    refit(files)
    return READINGS


def a_picture_dropped_and_hashes_refitted(files: Files) -> str:
    name = _file(files)
    del files[name]
    refit(files)
    return name


def a_table_dropped_and_hashes_refitted(files: Files) -> str:
    del files[EVIDENCE]
    refit(files)
    return EVIDENCE


def another_end_of_the_ledger(files: Files) -> str:
    _first(files, HEAD, lambda row: row.update(hash="0" * 64))
    refit(files)
    return HEAD


DAMAGES: tuple[Deed, ...] = (
    a_letter_of_a_name,
    a_bit_of_a_picture,
    the_end_of_a_table,
    more_at_the_end_of_a_table,
    an_empty_picture,
    a_table_gone,
    a_picture_gone,
    a_stranger_among_the_files,
    a_name_that_leads_outside,
    the_manifest_gone,
    the_manifests_hash_gone,
    a_digit_of_the_manifest,
    the_manifest_of_something_else,
    a_later_format,
    a_manifest_that_is_no_json,
    tables_swapped,
    a_forged_row_that_is_no_json,
    a_forged_column,
    a_forged_text_for_a_number,
    a_forged_day,
    a_row_dropped_and_hashes_refitted,
    a_picture_dropped_and_hashes_refitted,
    a_table_dropped_and_hashes_refitted,
    another_end_of_the_ledger,
)
