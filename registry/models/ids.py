"""Random identifiers of rows that are named to the outside.

A public id says nothing about how many rows there are or when one was made. It is not a secret:
what a
person may see is decided by permission, never by knowing an id.
"""

import secrets

_SYMBOLS = "23456789abcdefghjkmnpqrstuvwxyz"
_LENGTH = 16


def random_id() -> str:
    """Sixteen symbols of a 31-symbol alphabet: about 79 random bits, safe in a path and when read
    out."""
    return "".join(secrets.choice(_SYMBOLS) for _ in range(_LENGTH))
