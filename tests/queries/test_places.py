"""A dog is compared with the others only, whether the counts hold it or not."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from api.shapes.public import certificate as answer
from registry.models import Breed, Evaluation
from registry.queries.public import certificate_record
from tests.factories import make_accepted, make_club, make_dog

pytestmark = pytest.mark.django_db


def test_a_dog_too_old_to_be_counted_is_compared_with_all_others() -> None:
    club = make_club()
    Breed.objects.update(window_months=12)
    old = timezone.localdate() - timedelta(days=800)
    dog = make_dog(club, born_on=old - timedelta(days=400))
    too_old = make_accepted(club, dog, examined_on=old.isoformat(), left="0.35", right="0.35")
    inside = make_accepted(club, left="0.35", right="0.35")
    make_accepted(club, left="0.35", right="0.35")

    results = {}
    for certificate in (too_old, inside):
        record = certificate_record(certificate.number)
        assert record is not None
        (results[certificate.number],) = answer(record)["results"]

    # Two are counted: both are others to the dog that is not, one is to each of them.
    assert results[too_old.number]["counts_today"] is False
    assert results[too_old.number]["standing_today"]["n"] == 2
    assert results[inside.number]["counts_today"] is True
    assert results[inside.number]["standing_today"]["n"] == 1


@pytest.mark.parametrize(("is_shown", "others"), [(True, 2), (False, 3)])
def test_a_dogs_newer_exam_is_not_among_the_others_unless_it_would_be_told(
    client: Client, settings: Any, is_shown: bool, others: int
) -> None:
    settings.PUBLIC_STATE_SECONDS = 0
    club = make_club()
    dog = make_dog(club)
    old = make_accepted(club, dog, examined_on="2026-05-04", left="0.35", right="0.35")
    new = make_accepted(club, dog, examined_on="2026-08-04", left="0.31", right="0.31")
    for _other in range(2):
        make_accepted(club, left="0.35", right="0.35")
    # It was counted while it was shown, and stays until a group goes with it.
    Evaluation.objects.filter(certificate=new).update(consent_to_publish=is_shown)

    record = certificate_record(old.number)
    assert record is not None
    (result,) = answer(record)["results"]
    page = client.get(f"/C/{old.number}").content.decode()

    assert result["standing_today"]["n"] == others
    assert result["standing_today"]["better"] == others - 2
    assert "A newer exam of this dog counts for this now." in page
    assert f"Too few other tested dogs ({others}) to compare." in page
