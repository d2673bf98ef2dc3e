"""The keys of the club's log, as the settings give them."""

from __future__ import annotations

import base64
import binascii

from django.conf import settings

from registry.ledger.checkpoints import NoteProblem, Signer, VerifierKey

_SEED_BYTES = 32


def signer() -> Signer:
    """The signer in use; raises NoteProblem when the settings hold no key or no name."""
    try:
        seed = base64.b64decode(settings.LOG_KEY, validate=True)
    except (binascii.Error, ValueError):
        seed = b""
    if len(seed) != _SEED_BYTES:
        raise NoteProblem("The log's key is not 32 bytes in base64.")
    return Signer.from_seed(settings.LOG_ORIGIN, seed)


def verifier_keys() -> list[VerifierKey]:
    """What opens the club's checkpoints: the key in use, then those before it."""
    return [signer().verifier, *map(VerifierKey.parse, settings.LOG_FORMER_KEYS)]
