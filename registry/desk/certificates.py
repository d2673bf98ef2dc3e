"""Give out numbers: certificate numbers and evaluation references, random and never sequential."""

from __future__ import annotations

import secrets

from django.db import connection

from registry.credential.status_list import LENGTH, free_place
from registry.models import Certificate, Evaluation
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


def new_status_place() -> int:
    """A place in the public status lists that no certificate has: random in the list that is being
    filled, of which half is used at the most."""
    latest = Certificate.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    return free_place(
        latest // (LENGTH // 2),
        is_taken=lambda place: Certificate.objects.filter(status_place=place).exists(),
        randbelow=secrets.randbelow,
    )


def new_reference() -> str:
    """A reference no evaluation has."""
    while True:
        number = make_number(secrets.randbelow)
        if not Evaluation.objects.filter(reference=number).exists():
            return number
