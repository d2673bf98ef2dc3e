"""What the names in a certificate's file mean: a JSON-LD 1.1 context (W3C) beside the one of
Verifiable Credentials 2.0, each name with an address that leads to its words.

A version that was published never changes, since signed files name it: another meaning makes
another version.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

VOCABULARY = "/vocabulary/"
LATEST = 2

_DATE = {"@type": "http://www.w3.org/2001/XMLSchema#date"}
_COUNT = {"@type": "http://www.w3.org/2001/XMLSchema#integer"}
_PLAIN: Mapping[str, str] = {}

_SINCE_1: Mapping[str, Mapping[str, str]] = {
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
_SINCE_2: Mapping[str, Mapping[str, str]] = {
    "others": _COUNT,
}
TERMS: Mapping[str, Mapping[str, str]] = {**_SINCE_1, **_SINCE_2}
"""How the values of each name are to be read; text and objects need no word."""

VERSIONS: Mapping[int, Mapping[str, Mapping[str, str]]] = {
    # The dog itself was one of ``equal`` and of ``n``.
    1: _SINCE_1,
    # It is compared with others only.
    2: {name: how for name, how in TERMS.items() if name != "n"},
}


def path_of(version: int) -> str:
    """Where the site serves a version."""
    return f"/contexts/certificate/v{version}"


def version_of(standings: Iterable[Mapping[str, Any]]) -> int:
    """The version that these standings as issued are written in; the first where there are none."""
    return LATEST if any("others" in each for each in standings) else 1


def context_document(site: str, *, version: int) -> dict[str, Any]:
    """A version as a site serves it; ``site`` is its address without a slash at the end."""
    terms: dict[str, dict[str, str]] = {}
    for name, how in VERSIONS[version].items():
        terms[name] = {"@id": f"{site}{VOCABULARY}#{name}", **how}
        if "@index" in how:
            # By its whole address: not every reader looks a term up here.
            terms[name]["@index"] = f"{site}{VOCABULARY}#{how['@index']}"
    return {"@context": {"@version": 1.1, "@protected": True, **terms}}
