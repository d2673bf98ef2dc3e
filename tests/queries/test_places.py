"""A dog is compared with the others only, whether the counts hold it or not."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from api.shapes.public import certificate as answer
from registry.models import Breed
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
