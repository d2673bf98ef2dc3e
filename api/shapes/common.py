"""Pieces of JSON Schema that several shapes share, and the shape of a problem."""

from __future__ import annotations

from typing import Any

Schema = dict[str, Any]


def closed(properties: Schema, *, optional: tuple[str, ...] = ()) -> Schema:
    """An object with these members, all of them there but the optional ones, and no others."""
    return {
        "type": "object",
        "properties": properties,
        "required": [name for name in properties if name not in optional],
        "additionalProperties": False,
    }


def ref(name: str) -> Schema:
    """A shape by its name."""
    return {"$ref": f"#/components/schemas/{name}"}


def list_of(item: Schema) -> Schema:
    """A list."""
    return {"type": "array", "items": item}


def page(item: str) -> Schema:
    """A page of a list, and the cursor of the next one."""
    return closed({"items": list_of(ref(item)), "next": maybe(TEXT)})


def maybe(schema: Schema) -> Schema:
    """The shape, or null."""
    return {"anyOf": [schema, {"type": "null"}]}


TEXT: Schema = {"type": "string"}
WHOLE: Schema = {"type": "integer"}
NUMBER: Schema = {"type": "number"}
YES_NO: Schema = {"type": "boolean"}
DAY: Schema = {"type": "string", "format": "date"}
INSTANT: Schema = {"type": "string", "format": "date-time"}
ID: Schema = {"type": "string", "pattern": "^[0-9a-z]{1,40}$"}
STATE: Schema = {
    "type": "string",
    "enum": [
        "submitted", "returned", "accepted", "declined", "replaced", "revoked", "withdrawn",
    ],
}  # fmt: skip
SIDE: Schema = {"type": "string", "enum": ["left", "right", "whole"]}
REASON: Schema = {"type": "string", "maxLength": 4000}

PROBLEM: Schema = {
    "type": "object",
    "description": "RFC 9457 problem details.",
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": TEXT,
        "status": WHOLE,
        "detail": TEXT,
        "errors": list_of(
            {
                "type": "object",
                "properties": {
                    "pointer": {"type": "string", "description": "JSON Pointer, RFC 6901"},
                    "parameter": TEXT,
                    "detail": TEXT,
                },
                "required": ["detail"],
                "additionalProperties": False,
            }
        ),
        "state": TEXT,
        "who": TEXT,
        "since": INSTANT,
        "why": {**TEXT, "description": "a word for a program, where there is no answer"},
    },
    "required": ["type", "title", "status", "detail"],
    "additionalProperties": False,
}
