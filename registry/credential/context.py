"""What the names in a certificate's file mean: a JSON-LD 1.1 context (W3C) beside the one of
Verifiable Credentials 2.0, each name with an address that leads to its words.

A version that was published never changes, since signed files name it: another meaning makes
another version.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

PATH = "/contexts/certificate/v1"
VOCABULARY = "/vocabulary/"

_DATE = {"@type": "http://www.w3.org/2001/XMLSchema#date"}
_COUNT = {"@type": "http://www.w3.org/2001/XMLSchema#integer"}
_PLAIN: Mapping[str, str] = {}

TERMS: Mapping[str, Mapping[str, str]] = {
    "JointEvaluationCertificate": _PLAIN,
    "certificateNumber": _PLAIN,
    "breed": _PLAIN,
    "sex": _PLAIN,
    "bornOn": _DATE,
    "colour": _PLAIN,
    "chipEnd": _PLAIN,
    "examination": _PLAIN,
    "examinedOn": _DATE,
    "clinic": _PLAIN,
    "town": _PLAIN,
    "readings": _PLAIN,
    "trait": _PLAIN,
    "side": _PLAIN,
    "value": _PLAIN,
    # Its members' names are traits' slugs, not terms: JSON-LD takes them as the trait of each.
    "standingAsIssued": {"@container": "@index", "@index": "trait"},
    "step": _COUNT,
    "better": _COUNT,
    "equal": _COUNT,
    "worse": _COUNT,
    "n": _COUNT,
    "first_month": _DATE,
    "last_month": _DATE,
    "LogInclusion": _PLAIN,
    "entry": _PLAIN,
    # The steps mean nothing in another order, and JSON-LD keeps none unless told.
    "path": {"@container": "@list"},
    "checkpoint": _PLAIN,
}
"""How the values of each name are to be read; text and objects need no word."""


def context_document(site: str) -> dict[str, Any]:
    """The context as a site serves it; ``site`` is its address without a slash at the end."""
    terms: dict[str, dict[str, str]] = {}
    for name, how in TERMS.items():
        terms[name] = {"@id": f"{site}{VOCABULARY}#{name}", **how}
        if "@index" in how:
            # By its whole address: not every reader looks a term up here.
            terms[name]["@index"] = f"{site}{VOCABULARY}#{how['@index']}"
    return {"@context": {"@version": 1.1, "@protected": True, **terms}}
