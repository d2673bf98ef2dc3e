"""How far repeated examinations of the same dog differ, by trait, over the whole register.

From released results alone, which everybody may read anyway: nothing withheld can be worked out
from it. A pair is two examinations of a dog that follow each other within ``MOST_MONTHS``, both
accepted, neither corrected or taken back, and both read on as many sides. Reads only.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from itertools import pairwise

from django.db import connection

from registry.queries.public import as_date
from registry.queries.public_states import sql_instant
from registry.science.measuring_error import FEWEST_PAIRS, within_dog_sd

MOST_MONTHS = 24
"""Two examinations further apart than this may differ because the joint has changed. Our choice:
long enough to find pairs, as few owners come back within a year."""

_MOST_DAYS = MOST_MONTHS * 365.25 / 12
_EVER = datetime(9999, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class WithinDog:
    """The within-dog standard deviation of a trait's spoken values, in steps, and how many pairs of
    examinations it comes from; 0 where it is the trait's own setting, published in ``source``."""

    sd_steps: float
    pairs: int
    source: str = ""


# Of a corrected examination only the correction.
_RELEASED = (
    "SELECT e.id, e.dog_id, e.examined_on FROM registry_evaluation e"
    " WHERE e.consent_to_publish AND e.state IN ('accepted', 'replaced') AND e.accepted_at <= %s"
    " AND NOT EXISTS (SELECT 1 FROM registry_evaluation c"
    "  WHERE c.corrects_id = e.id AND c.accepted_at IS NOT NULL)"
)
_SPOKEN = (
    f"WITH released AS ({_RELEASED})"  # noqa: S608 - our own words
    " SELECT r.trait_id, x.dog_id, x.examined_on,"
    " CASE t.better WHEN 'lower' THEN MAX(r.step) ELSE MIN(r.step) END, COUNT(*), x.id,"
    " NULL, NULL, ''"
    " FROM released x"
    " JOIN registry_reading r ON r.evaluation_id = x.id"
    " JOIN registry_trait t ON t.id = r.trait_id AND t.kind = 'measured' AND t.is_counted"
    " WHERE x.dog_id IN (SELECT dog_id FROM released GROUP BY dog_id HAVING COUNT(*) > 1)"
    " GROUP BY r.trait_id, t.better, x.dog_id, x.examined_on, x.id"
    " UNION ALL SELECT t.id, NULL, NULL, NULL, NULL, NULL,"
    " t.within_dog_sd, t.resolution, t.within_dog_source"
    " FROM registry_trait t WHERE t.within_dog_sd IS NOT NULL"
    " ORDER BY 1, 2, 3, 6"
)


def within_dogs(*, at: datetime) -> Mapping[int, WithinDog]:
    """By trait id, from what was accepted by the instant; with too few pairs the trait's setting of
    today, or none. One query."""
    with connection.cursor() as cursor:
        cursor.execute(_SPOKEN, [sql_instant(at)])
        rows = cursor.fetchall()
    known: dict[int, WithinDog] = {}
    pairs: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for trait, *_exam, published, resolution, source in rows:
        if published is not None:
            known[trait] = WithinDog(float(published) / float(resolution), 0, source)
    for former, latter in pairwise(row[:5] for row in rows if row[1] is not None):
        trait, dog, day, step, sides = former
        apart = (as_date(latter[2]) - as_date(day)).days
        is_same = (trait, dog, sides) == (latter[0], latter[1], latter[4])
        if is_same and 0 < apart <= _MOST_DAYS:
            pairs[trait].append((step, latter[3]))
    for trait, found in pairs.items():
        if len(found) >= FEWEST_PAIRS:
            known[trait] = WithinDog(within_dog_sd(found), len(found))
    return known


@lru_cache(maxsize=2)
def within_dogs_of(_head: str) -> Mapping[int, WithinDog]:
    """``within_dogs`` of now, remembered by the ledger's last hash: every change of a result has an
    entry there. Not for use within a deed, whose changes may yet be undone."""
    return within_dogs(at=_EVER)
