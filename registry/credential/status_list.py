"""Bitstring status lists (W3C, Bitstring Status List 1.0): one bit a certificate, far more bits
than certificates, so that asking for a list says nothing about which certificate is meant.
"""

from __future__ import annotations

import base64
import gzip
import io
from collections.abc import Callable, Iterable
from typing import Any

LENGTH = 131_072
"""Bits of a list: the least that the standard allows for a crowd to hide in (section 2.2)."""
TTL_MS = 60_000


def encoded(places: Iterable[int]) -> str:
    """A list with the bits at these places set; the first bit is the leftmost (section 3.4)."""
    bits = bytearray(LENGTH // 8)
    for place in places:
        bits[place // 8] |= 0x80 >> place % 8
    packed = gzip.compress(bytes(bits), compresslevel=9, mtime=0)
    return "u" + base64.urlsafe_b64encode(packed).decode().rstrip("=")


def is_set(encoded_list: str, place: int) -> bool:
    """Whether the bit at a place is set (section 3.3); raises ValueError for what is no list."""
    if not encoded_list.startswith("u") or not 0 <= place < LENGTH:
        raise ValueError("this is no status list, or no place in it")
    text = encoded_list[1:]
    try:
        packed = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
        with gzip.GzipFile(fileobj=io.BytesIO(packed)) as file:
            # No more is read than a list may hold, however much was packed.
            bits = file.read(LENGTH // 8 + 1)
    except (OSError, EOFError, ValueError) as error:
        raise ValueError("this is no status list") from error
    if len(bits) != LENGTH // 8:
        raise ValueError("this status list has another length")
    return bool(bits[place // 8] & (0x80 >> place % 8))


def free_place(
    block: int, *, is_taken: Callable[[int], bool], randbelow: Callable[[int], int]
) -> int:
    """A place that is free, counted through all lists: each of list ``block`` is as likely, so that
    it tells nothing of when a certificate was issued (section 5.2)."""
    while True:
        place = block * LENGTH + randbelow(LENGTH)
        if not is_taken(place):
            return place


def document(
    *, address: str, issuer: dict[str, str], purpose: str, valid_from: str, places: Iterable[int]
) -> dict[str, Any]:
    """The list as a credential, yet unsigned (section 2.2)."""
    return {
        "@context": ["https://www.w3.org/ns/credentials/v2"],
        "id": address,
        "type": ["VerifiableCredential", "BitstringStatusListCredential"],
        "issuer": issuer,
        "validFrom": valid_from,
        "credentialSubject": {
            "id": f"{address}#list",
            "type": "BitstringStatusList",
            "statusPurpose": purpose,
            "ttl": TTL_MS,
            "encodedList": encoded(places),
        },
    }
