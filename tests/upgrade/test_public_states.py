"""Counts of a former version become public states in which no withheld value moves by itself."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.upgrade.scene import old_registry

pytestmark = pytest.mark.django_db(transaction=True)

# Some hundred results of three years, from one that there is: most withheld, some shown once, some
# overtaken or taken back.
_LIVED = """
import random, secrets; from datetime import timedelta
import django; django.setup()
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone
BEFORE = [("registry", "0014_clinics_in_runs")]
MigrationExecutor(connection).migrate(BEFORE)
apps = MigrationExecutor(connection).loader.project_state(BEFORE).apps
CountedValue = apps.get_model("registry", "CountedValue")
first = CountedValue.objects.select_related("dog", "evaluation").first()
dog, evaluation, chance, now = first.dog, first.evaluation, random.Random(5), timezone.now()
for number in range(10_000, 10_400):
    # Keys of our own: a database that was put back counts its own from the beginning.
    dog.pk, dog.public_id, dog.chip = number, secrets.token_hex(8), None
    dog.sex = chance.choice("FFM")
    dog.save(force_insert=True)
    begun = now - timedelta(days=chance.uniform(1, 1000))
    evaluation.pk, evaluation.dog = number, dog
    evaluation.public_id, evaluation.reference = secrets.token_hex(8), secrets.token_hex(5)
    evaluation.consent_to_publish = chance.random() < 0.3
    evaluation.consent_changed_at = now if chance.random() < 0.1 else None
    evaluation.save(force_insert=True)
    ended = begun + timedelta(days=chance.uniform(1, 1000))
    CountedValue.objects.create(
        id=number, breed_id=first.breed_id, trait_id=first.trait_id, sex=dog.sex, dog=dog,
        evaluation=evaluation, month=begun.date().replace(day=1), step=chance.randrange(20, 90),
        counted_from=begun, counted_until=ended if ended < now else None,
    )
call_command("migrate", verbosity=0)
"""
_TOLD = """
import json; from collections import Counter
import django; django.setup()
from django.utils import timezone
from registry.models import CountedValue
from registry.queries.public_faults import public_faults
withheld = CountedValue.objects.filter(
    evaluation__consent_to_publish=False, evaluation__consent_changed_at=None
)
blocks = Counter(
    withheld.exclude(public_from=None)
    .values_list("trait", "sex", "public_from", "public_until").iterator()
)
print(json.dumps({
    "faults": list(public_faults(now=timezone.now())),
    "blocks": sorted(blocks.values()),
    "gone": sum(dogs for block, dogs in blocks.items() if block[3]),
}))
"""


def test_withheld_values_of_before_move_in_fives_or_not_at_all(tmp_path: Path) -> None:
    with old_registry(tmp_path / "var", "0009_erased_owners") as old:
        code, said = old.run("-c", _LIVED)
        assert code == 0, said
        code, said = old.run("-c", _TOLD)
        assert code == 0, said
        told = json.loads(said.splitlines()[-1])

    assert told["faults"] == []
    assert sum(told["blocks"]) > 200
    assert told["gone"] >= 5
    assert min(told["blocks"]) >= 5
