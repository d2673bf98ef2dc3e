"""Give out numbers: certificate numbers and evaluation references, random and never sequential."""

from __future__ import annotations

import secrets

from django.db import connection

from registry.models import Evaluation
from registry.science.numbers import make_number


def new_certificate_number() -> str:
    """A number no certificate has. With 31^9 numbers a clash is a curiosity; the unique key is the
    guard."""
    while True:
        number = make_number(secrets.randbelow)
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1 FROM registry_certificate WHERE number = %s", [number])
            if cursor.fetchone() is None:
                return number


def new_reference() -> str:
    """A reference no evaluation has."""
    while True:
        number = make_number(secrets.randbelow)
        if not Evaluation.objects.filter(reference=number).exists():
            return number
