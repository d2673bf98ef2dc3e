"""Give out numbers: certificate numbers and evaluation references, random and never sequential."""

from __future__ import annotations

import secrets

from registry.models import Certificate, Evaluation
from registry.science.numbers import make_number


def new_certificate_number() -> str:
    """A number no certificate has. With 31^9 numbers a clash is a curiosity; the unique key is the
    guard."""
    while True:
        number = make_number(secrets.randbelow)
        if not Certificate.objects.filter(number=number).exists():
            return number


def new_reference() -> str:
    """A reference no evaluation has."""
    while True:
        number = make_number(secrets.randbelow)
        if not Evaluation.objects.filter(reference=number).exists():
            return number
