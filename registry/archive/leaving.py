"""What an export holds besides the archive's own members: tables for people, the ledger with its
checkpoints and proofs, a schema of the files, and a README. All of it follows from the rows, so
that an export of the same content has the same hash."""

from __future__ import annotations

import base64
import json
import shutil
from itertools import pairwise
from pathlib import Path
from typing import Any

from django.db import models

from registry.archive.containers import FolderSink, Recorder, sync_folder
from registry.archive.inventory import columns_of, kept_models, member_of
from registry.archive.manifest import Manifest
from registry.archive.rows import canonical
from registry.archive.tables import TABLES, Table, write_tables
from registry.archive.writing import write_into
from registry.ledger import tree
from registry.ledger.keys import verifier_keys
from registry.ledger.tiles import leaves, stored_nodes
from registry.models import Certificate, LedgerEntry, LogCheckpoint

_AT_A_TIME = 2_000


def export(folder: Path) -> Manifest:
    """Write an export as a new folder; it appears there whole or not at all."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = folder.with_name(f".{folder.name}.part")

    def emptied() -> FolderSink:
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(mode=0o700)
        return FolderSink(part)

    try:
        manifest = write_into(emptied, _write_the_rest)
        part.rename(folder)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    sync_folder(folder.parent)
    return manifest


def _write_the_rest(out: Recorder) -> None:
    write_tables(out)
    _write_ledger(out)
    out.text("schema.json", _told(_schema()))
    out.text("README.txt", _readme())


def _write_ledger(out: Recorder) -> None:
    with out.member("ledger/entries.jsonl") as member:
        entries = LedgerEntry.objects.order_by("seq").values_list("body", "prev_hash", "hash")
        for body, before, own in entries.iterator(chunk_size=_AT_A_TIME):
            member.write(canonical({"body": body, "prev_hash": before, "hash": own}) + b"\n")
    last = LedgerEntry.objects.order_by("-seq").values_list("seq", flat=True).first() or 0
    with out.member("ledger/leaves.txt") as member:
        for seq, leaf in enumerate(leaves(0, last), start=1):
            member.write(f"{seq} {leaf.hex()}\n".encode())
    out.text("ledger/verifier-keys.txt", "".join(f"{key.text}\n" for key in verifier_keys()))
    _write_checkpoints(out)


def _write_checkpoints(out: Recorder) -> None:
    """Each checkpoint as it was signed, that each continues the one before, and that the issue of
    each certificate is in the last."""
    nodes = stored_nodes()
    stored = list(LogCheckpoint.objects.order_by("size").values_list("size", "note"))
    for size, note in stored:
        out.text(f"ledger/checkpoints/{size:012d}.checkpoint", note)
    with out.member("ledger/consistency.jsonl") as member:
        for (old, _note), (size, _later) in pairwise(stored):
            path = tree.consistency_path(nodes, old, size)
            member.write(canonical({"old_size": old, "size": size, "path": _base64(path)}) + b"\n")
    if not stored:
        return
    size = stored[-1][0]
    issued = {
        number: f"evaluation:{public_id}"
        for number, public_id in Certificate.objects.order_by("number").values_list(
            "number", "evaluation__public_id"
        )
    }
    with out.member("ledger/inclusion.jsonl") as member:
        for number, subject in issued.items():
            entry = LedgerEntry.objects.filter(
                subject=subject, seq__lte=size, body__contains=f'"to":"{number}"'
            ).first()
            if entry is None:
                continue
            path = tree.inclusion_path(nodes, entry.seq - 1, size)
            told = {
                "certificate": number,
                "entry": entry.seq,
                "leaf": base64.b64encode(tree.leaf_hash(entry.body.encode())).decode(),
                "size": size,
                "path": _base64(path),
            }
            member.write(canonical(told) + b"\n")


def _base64(path: list[bytes]) -> list[str]:
    return [base64.b64encode(node).decode() for node in path]


def _told(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, indent=1) + "\n"


def _schema() -> dict[str, Any]:
    """A JSON schema: of each table as a whole, and of each line of the rows."""
    tables = {f"tables/{table.name}.json": _table_schema(table) for table in TABLES}
    rows = {member_of(model): _row_schema(model) for model in kept_models()}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "An export of the registry",
        "description": "Each file by its name: tables as a whole, rows line by line.",
        "$defs": tables | rows,
    }


def _table_schema(table: Table) -> dict[str, Any]:
    # What a cell may be is the same everywhere: a text, a whole number, yes or no, nothing.
    cell = {"type": ["string", "integer", "boolean", "null"]}
    return {
        "description": table.about,
        "type": "array",
        "items": {
            "type": "object",
            "properties": dict.fromkeys(table.headers, cell),
            "required": table.headers,
            "additionalProperties": False,
        },
    }


def _row_schema(model: type[models.Model]) -> dict[str, Any]:
    columns = columns_of(model)
    return {
        "type": "object",
        "properties": {str(field.attname): _value_schema(field) for field in columns},
        "required": [str(field.attname) for field in columns],
        "additionalProperties": False,
    }


def _value_schema(field: Any) -> dict[str, Any]:
    target = getattr(field, "target_field", field)
    if isinstance(target, models.JSONField):
        return {}
    told: dict[str, Any] = {"type": "string"}
    if isinstance(target, models.BooleanField):
        told = {"type": "boolean"}
    elif isinstance(target, models.IntegerField):
        told = {"type": "integer"}
    elif isinstance(target, models.FloatField):
        told = {"type": ["number", "string"]}
    elif isinstance(target, models.BinaryField):
        told = {"type": "string", "contentEncoding": "base64"}
    elif isinstance(target, models.DateTimeField):
        told = {"type": "string", "format": "date-time"}
    elif isinstance(target, models.DateField):
        told = {"type": "string", "format": "date"}
    if field.null:
        kinds = told["type"] if isinstance(told["type"], list) else [told["type"]]
        told = {**told, "type": [*kinds, "null"]}
    return told


def _readme() -> str:
    tables = "\n".join(f"  {table.name}: {table.about}" for table in TABLES)
    return _README.replace("{tables}", tables)


_README = """\
THE WHOLE REGISTRY, TO TAKE ALONG

You need no program of ours to read this. It holds personal data: keep it safe.

tables/      what the registry knows, a file a subject. The .csv files open in any spreadsheet,
             the .json files are for programs. An apostrophe before a cell that begins like a
             formula keeps the spreadsheet from computing it; it is not part of the text.
{tables}

evidence/    the files that clinics sent, under their stored names; tables/files says which
             is which.

ledger/      the audit trail, to the letter.
  entries.jsonl    one entry a line: body, hash of the entry before, own hash. The own hash is
                   SHA-256 over the 32 bytes of the hash before and the UTF-8 of the body; the
                   first entry's hash before is 64 zeros. Words that may be a person's are in the
                   body as salted hashes only; the words are in rows/ledgertext.jsonl, unless they
                   were erased.
  leaves.txt       each entry's leaf hash of the Merkle tree (RFC 9162)
  checkpoints/     the signed statements of how many entries there were and which tree they made
                   (C2SP checkpoint); verifier-keys.txt opens them
  consistency.jsonl  proofs that each checkpoint continues the one before
  inclusion.jsonl    proofs that the entry which issued a certificate is in the last checkpoint

rows/        every row of every table, to the letter: what this program reads back. It holds hashes
             of passwords and of programs' tokens, no password and no key.

schema.json    which members the files have (JSON Schema)
manifest.json  every file with its size and SHA-256, and which keys an instance needs to go on;
               the keys themselves are not in here

To go on with this program: set it up with the same keys and an empty database, then run
  manage.py import_export FOLDER
An export of that instance has the same content_sha256 in its manifest.
"""
