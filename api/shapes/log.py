"""The public log as the interface writes it: hashes in base64, instants in UTC."""

from __future__ import annotations

import base64
from typing import Any

from api.shapes.common import Schema
from registry.ledger.append import instant_text
from registry.queries.public_log import ConsistencyProof, InclusionProof, PublicLog

_HASH: Schema = {
    "type": "string",
    "pattern": "^[A-Za-z0-9+/]{43}=$",
    "description": "32 bytes in base64",
}
_COUNT: Schema = {"type": "integer", "minimum": 1}
_PATH: Schema = {"type": "array", "items": _HASH, "maxItems": 64}


def _object(**members: Schema) -> Schema:
    return {
        "type": "object",
        "properties": members,
        "required": sorted(members),
        "additionalProperties": False,
    }


LOG: Schema = _object(
    origin={"type": "string"},
    verifier_key={"type": "string", "description": "a C2SP verifier key, Ed25519"},
    former_keys={"type": "array", "items": {"type": "string"}},
    checkpoint={
        "oneOf": [
            {"type": "null"},
            _object(
                size=_COUNT,
                root=_HASH,
                note={"type": "string", "description": "a C2SP signed note"},
                made_at={"type": "string", "format": "date-time"},
            ),
        ]
    },
)
INCLUSION: Schema = _object(entry=_COUNT, size=_COUNT, leaf=_HASH, path=_PATH)
CONSISTENCY: Schema = {
    "type": "object",
    "properties": {"from": _COUNT, "to": _COUNT, "path": _PATH},
    "required": ["from", "path", "to"],
    "additionalProperties": False,
}


def log(found: PublicLog) -> dict[str, Any]:
    """The log's facts."""
    checkpoint = found.checkpoint
    return {
        "origin": found.origin,
        "verifier_key": found.verifier_key,
        "former_keys": list(found.former_keys),
        "checkpoint": checkpoint
        and {
            "size": checkpoint.size,
            "root": _text(checkpoint.root),
            "note": checkpoint.note,
            "made_at": instant_text(checkpoint.made_at),
        },
    }


def inclusion(proof: InclusionProof) -> dict[str, Any]:
    """An audit path from the leaf to the root."""
    return {
        "entry": proof.entry,
        "size": proof.size,
        "leaf": _text(proof.leaf),
        "path": [_text(each) for each in proof.path],
    }


def consistency(proof: ConsistencyProof) -> dict[str, Any]:
    """A path that shows growth."""
    return {
        "from": proof.old_size,
        "to": proof.size,
        "path": [_text(each) for each in proof.path],
    }


def _text(hashed: bytes) -> str:
    return base64.b64encode(hashed).decode()
