"""What an archive says of itself: format, program, counts, the hash of every member, how the ledger
stood, and which keys are needed. Keys stand here by their public parts only; no secret is ever
written.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings
from django.db import connection

from registry import __version__
from registry.archive.containers import MANIFEST, DamagedArchiveError, Member
from registry.archive.inventory import LEFT_OUT
from registry.archive.rows import canonical
from registry.archive.schema import Schema
from registry.credential.multikey import multikey
from registry.ledger.append import instant_text
from registry.ledger.keys import signer, verifier_keys

FORMAT = "soundline-archive"
FORMAT_VERSION = 1
_WORDS = (
    "Every row of the registry and every evidence file. It holds personal data, the hashes of"
    " passwords and the hashes of programs' tokens, but no password, token or key. Keep it as you"
    " keep the registry itself. People erased after it was made are in it still: erase them again"
    " after putting it back."
)


@dataclass(frozen=True, slots=True)
class Manifest:
    """A manifest that was made or read. ``content`` is the hash over all members: equal content,
    equal hash, whichever database it came from. ``missing`` are evidence files that were not on
    the disk any more; ``changed`` are files that are not what was taken in."""

    facts: Mapping[str, Any]
    members: tuple[Member, ...]

    @property
    def content(self) -> str:
        """The hash over the names, sizes and hashes of all members."""
        return content_hash(self.members)

    @property
    def rows(self) -> int:
        """How many rows there are in all tables."""
        return sum(member.rows for member in self.members if member.rows > 0)

    @property
    def files(self) -> int:
        """How many evidence files there are."""
        return sum(member.name.startswith("evidence/") for member in self.members)

    @property
    def bytes(self) -> int:
        """How many bytes all members are together."""
        return sum(member.bytes for member in self.members)

    @property
    def text(self) -> str:
        """The manifest as its file says it."""
        told = {
            **self.facts,
            "content_sha256": self.content,
            "members": [asdict(member) for member in self.members],
        }
        return json.dumps(told, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def content_hash(members: tuple[Member, ...]) -> str:
    """SHA-256 over the canonical list of the members, sorted by name."""
    listed = sorted((member.name, member.bytes, member.sha256) for member in members)
    return hashlib.sha256(canonical(listed)).hexdigest()


def facts_now(
    made_at: datetime, schema: Schema, *, missing: list[str], changed: list[str]
) -> dict[str, Any]:
    """What a manifest says besides its members, as of the snapshot that is being read."""
    head = schema.model("registry.LedgerHead").objects.get()
    checkpoints = schema.model("registry.LogCheckpoint")
    last = checkpoints.objects.order_by("size").last() if checkpoints else None
    return {
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "what": _WORDS,
        "made_at": instant_text(made_at),
        "program_version": __version__,
        "database": connection.vendor,
        "migration": schema.migrations["registry"],
        "migrations": dict(schema.migrations),
        "ledger": {
            "entries": head.seq,
            "hash": head.hash,
            "checkpoint": last.note if last else "",
        },
        "keys": _keys(),
        "left_out": LEFT_OUT,
        "missing_files": missing,
        "changed_files": changed,
    }


def _keys() -> dict[str, Any]:
    """Which settings an instance needs to go on as this one, public parts only."""
    issuer = Ed25519PrivateKey.from_private_bytes(base64.b64decode(settings.ISSUER_KEY))
    return {
        "SOUNDLINE_SITE_URL": settings.SITE_URL,
        "SOUNDLINE_LOG_ORIGIN": settings.LOG_ORIGIN,
        "SOUNDLINE_LOG_KEY": {"verifier_key": signer().verifier.text},
        "SOUNDLINE_LOG_FORMER_KEYS": [key.text for key in verifier_keys()[1:]],
        "SOUNDLINE_ISSUER_KEY": {"multikey": multikey(issuer.public_key().public_bytes_raw())},
        "SOUNDLINE_ISSUER_FORMER_KEYS": list(settings.ISSUER_FORMER_KEYS),
        "SOUNDLINE_SECRET_KEY": "private links in mails that were sent open with it",
    }


def read_manifest(data: bytes) -> Manifest:
    """A manifest from its bytes; raises DamagedArchiveError."""
    try:
        told = json.loads(data)
        if told.get("format") != FORMAT:
            raise DamagedArchiveError(MANIFEST, "this is no archive of this program")
        if told.get("version") != FORMAT_VERSION:
            raise DamagedArchiveError(
                MANIFEST,
                f"its format is version {told.get('version')}; this program reads version"
                f" {FORMAT_VERSION}. Use program version {told.get('program_version')} or later.",
            )
        members = tuple(_member(each) for each in told.pop("members"))
        stated = told.pop("content_sha256")
        manifest = Manifest(told, members)
        _ = (told["ledger"]["entries"], told["program_version"], told["made_at"])
        _ = (str(told["migration"]), dict(told.get("migrations", {})), dict(told["left_out"]))
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise DamagedArchiveError(MANIFEST, "it cannot be read") from error
    if stated != manifest.content:
        raise DamagedArchiveError(MANIFEST, "its list of members is not the one that was written")
    return manifest


def _member(told: Mapping[str, Any]) -> Member:
    member = Member(**told)
    kinds = (type(member.name), type(member.bytes), type(member.sha256), type(member.rows))
    if kinds != (str, int, str, int):
        raise TypeError(kinds)
    return member
