"""Everything a certificate's page is made of, as rows: five narrow queries, one more after a
change of the register, and one where a newer exam counts for the dog; nothing made of them yet.

Equal rows tell of the same page, so what was made of them once may be shown again without being
made again; any change in the database gives other rows.
"""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from registry.queries.breed_counts import count_rows
from registry.queries.history import entry_rows
from registry.queries.places import newer_values
from registry.queries.public import (
    Row,
    certificate_row,
    dog_from,
    family_rows,
    reading_rows,
    record_from,
)


class CertificateRows(NamedTuple):
    """The rows; ``readings`` is empty unless they may be shown."""

    certificate: Row
    readings: tuple[Row, ...]
    family: tuple[Row, ...]
    entries: tuple[Row, ...]
    counts: tuple[Row, ...]
    newer_values: tuple[tuple[int, int], ...]


def certificate_rows(number: str, *, now: datetime) -> CertificateRows | None:
    """The rows of a certificate, or None for a number that was never given out."""
    certificate = certificate_row(number)
    if certificate is None:
        return None
    readings = reading_rows(certificate)
    dog = dog_from(certificate[14:])
    return CertificateRows(
        certificate,
        readings,
        family_rows(dog),
        entry_rows(certificate[4], dog.public_id),
        count_rows(
            dog.breed_id,
            now=now,
            evaluation_id=certificate[3],
            with_within=True,
        )
        if readings
        else (),
        newer_values(record_from(certificate, readings), now=now),
    )
