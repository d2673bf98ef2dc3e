"""The audit trail: append an entry, verify the chain, keep the tables append-only.

Only ``registry.desk`` appends. An entry's body is canonical JSON (RFC 8785) without any personal
name; words
that may be a person's are salted commitments in the body and erasable texts beside it.
"""

from registry.ledger.actor import Actor, Via
from registry.ledger.append import Change, append

__all__ = ["Actor", "Change", "Via", "append"]
