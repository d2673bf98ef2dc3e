"""What is wrong with the public states: a packed one that is not the sum of its values, and values
that moved without enough others. For verification; reads only."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db import connection

from registry.models import Sex
from registry.queries.public_states import states_now, summed_state
from registry.science.distribution import Histogram
from registry.science.public_states import FEWEST_TOGETHER

_GROUPS = (
    "SELECT breed_id, trait_id, sex, {moment}, COUNT(*) FROM registry_countedvalue"
    " WHERE {moved} GROUP BY breed_id, trait_id, sex, {moment} HAVING COUNT(*) < %s"
)
_MOVES = (("public_from", "came_in_group"), ("public_until", "left_in_group"))
# Who never agreed has moved with others, or has not moved; and nobody says beforehand when it goes.
_ALONE = """
    SELECT v.breed_id, v.trait_id, v.sex, v.id FROM registry_countedvalue v
    JOIN registry_evaluation e ON e.id = v.evaluation_id
    WHERE NOT e.consent_to_publish AND e.consent_changed_at IS NULL
      AND ((v.public_from IS NOT NULL AND NOT v.came_in_group)
        OR (v.public_until IS NOT NULL AND NOT v.left_in_group))
"""
# No moment lies before the deed that it follows.
_TOO_EARLY = """
    SELECT breed_id, trait_id, sex, id FROM registry_countedvalue
    WHERE public_from < counted_from
"""


def public_faults(*, now: datetime) -> Iterator[str]:
    """Each fault in a sentence; nothing when all is sound."""
    nothing = Histogram.empty()
    for (breed, trait), state in states_now(now=now).items():
        summed = summed_state(breed, trait, now)
        for sex in Sex.values:
            if state.by_sex.get(sex, nothing) != summed[sex]:
                yield (
                    f"the public state of breed {breed}, trait {trait}, sex {sex} is not the sum"
                    " of its values"
                )
    with connection.cursor() as cursor:
        for moment, moved in _MOVES:
            cursor.execute(_GROUPS.format(moment=moment, moved=moved), [FEWEST_TOGETHER])
            for breed, trait, sex, at, dogs in cursor.fetchall():
                yield (
                    f"{dogs} withheld values of breed {breed}, trait {trait}, sex {sex} moved"
                    f" alone at {at}"
                )
        for sql, what in ((_ALONE, "moved alone"), (_TOO_EARLY, "was public before it counted")):
            cursor.execute(sql)
            for breed, trait, sex, pk in cursor.fetchall():
                yield f"value {pk} of breed {breed}, trait {trait}, sex {sex} {what}"
