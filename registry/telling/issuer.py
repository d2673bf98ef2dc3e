"""Who signs certificates: the club's address as an issuer, and the keys of the settings."""

from __future__ import annotations

import base64
import binascii
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings

from registry.credential.certificate import Issuer
from registry.credential.multikey import from_multikey, multikey

_SEED_BYTES = 32


class KeyProblem(ValueError):
    """The settings hold no key that can sign certificates."""


def signing_key() -> Ed25519PrivateKey:
    """The key in use; raises KeyProblem."""
    try:
        seed = base64.b64decode(settings.ISSUER_KEY, validate=True)
    except (binascii.Error, ValueError):
        seed = b""
    if len(seed) != _SEED_BYTES:
        raise KeyProblem("The issuer's key is not 32 bytes in base64.")
    return Ed25519PrivateKey.from_private_bytes(seed)


def issuer() -> Issuer:
    """The club with the key in use first and those before it; raises KeyProblem."""
    address = f"{settings.SITE_URL}/issuer"
    current = multikey(signing_key().public_key().public_bytes_raw())
    try:
        keys = {
            f"{address}#{text}": from_multikey(text)
            for text in (current, *settings.ISSUER_FORMER_KEYS)
        }
    except ValueError as error:
        raise KeyProblem("A former key of the issuer is no Ed25519 Multikey.") from error
    return Issuer(address, settings.CLUB_NAME, keys)


def method() -> str:
    """The address of the key in use."""
    return next(iter(issuer().keys))


def issuer_document() -> dict[str, Any]:
    """The club's keys as a Controlled Identifier document (W3C, Controlled Identifiers 1.0)."""
    club = issuer()
    return {
        "@context": ["https://www.w3.org/ns/cid/v1"],
        "id": club.address,
        "assertionMethod": [
            {
                "id": address,
                "type": "Multikey",
                "controller": club.address,
                "publicKeyMultibase": address.partition("#")[2],
            }
            for address in club.keys
        ],
    }
