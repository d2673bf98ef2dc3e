"""A withheld result changes nothing that a stranger can read: two registries that differ in nothing
but its value answer alike, on every page, file and route that could speak of the dog."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from registry.desk.public_states import settle_all
from registry.models import Certificate, CountedValue, Dog, Evaluation, LedgerEntry, Reading
from registry.web.buyer.budget import BUDGET
from tests.bred import make_bred, make_young
from tests.breeding import TraitColumns, make_run
from tests.factories import Club, make_accepted, make_club

pytestmark = pytest.mark.django_db

TRAIT = "hip-laxity"


@pytest.fixture
def club(monkeypatch: pytest.MonkeyPatch) -> Club:
    """In one instant, so that answers do not differ by when they were given."""
    club = make_club()
    at = timezone.now() + timedelta(seconds=1)
    monkeypatch.setattr(timezone, "now", lambda: at)
    return club


def examined(club: Club, *, is_shown: bool) -> tuple[Certificate, list[Dog]]:
    """A dog with a result, approved as any other, and its sire, dam and a litter mate."""
    bred = make_bred(club, generations=1, litters=4)
    sire, dam = bred.pair()
    one, mate, *_others = make_young(sire, dam, date(2025, 1, 10))
    certificate = make_accepted(club, one, left="0.31", right="0.35", consent_to_publish=is_shown)
    value = dict.fromkeys((sire, dam, mate, one), 0.01)
    reliability = dict.fromkeys(value, 0.5)
    make_run(club.breed, traits={TRAIT: TraitColumns(value=value, reliability=reliability)})
    return certificate, [one, sire, dam, mate]


def addresses(club: Club, certificate: Certificate, dogs: list[Dog]) -> Iterator[str]:
    of_breed = f"/breeds/{club.breed.slug}/"
    of_trait = f"{of_breed}{TRAIT}/"
    one, sire, dam, mate = (dog.public_id for dog in dogs)
    yield from ("/breeds/", of_breed, f"{of_breed}open/", f"{of_breed}complete/")
    yield from (f"{of_breed}complete.csv", of_trait, f"{of_trait}cells.csv")
    yield from (f"{of_trait}cells.json", f"{of_trait}explore/", f"{of_trait}course/")
    yield from (f"{of_trait}course.csv", f"{of_trait}ahead/", "/log/")
    yield from (f"/C/{certificate.number}", f"/find/?q={dogs[0].name}", f"/find/?q={dogs[0].chip}")
    for dog in dogs:
        yield f"/dogs/{dog.public_id}/"
        yield f"/dogs/{dog.public_id}/litter/"
        yield f"/dogs/{dog.public_id}/mates/"
        yield f"/api/v1/dogs/{dog.public_id}/breeding-values"
        yield f"/api/v1/dogs/{dog.public_id}/mates"
    yield f"/dogs/{sire}/mates/{dam}/"
    yield f"/dogs/{one}/mates/{sire}/"
    yield f"/dogs/{mate}/mates/{sire}/"
    yield f"/api/v1/forecasts?sire={sire}&dam={dam}"
    yield f"/api/v1/kinships?one={one}&other={mate}"
    yield f"/api/v1/trends/{club.breed.slug}/{TRAIT}"
    yield f"/api/v1/breeds/{club.breed.slug}/breeding-runs"
    yield f"/api/v1/certificates/{certificate.number}"
    yield f"/api/v1/certificates/{certificate.number}/credential"
    yield f"/api/v1/distributions/{club.breed.slug}/{TRAIT}"
    yield f"/api/v1/distributions/{club.breed.slug}/{TRAIT}?sex={dogs[0].sex}"
    yield "/api/v1/log"
    yield from (f"/api/v1/log/inclusion?entry={entry}" for entry in (1, 2))
    yield "/status/revocation/0"


def read(club: Club, certificate: Certificate, dogs: list[Dog]) -> dict[str, tuple[int, bytes]]:
    client, answers = Client(), {}
    for address in addresses(club, certificate, dogs):
        cache.clear()
        BUDGET.clear()
        found: Any = client.get(address)
        answers[address] = (found.status_code, found.content)
    return answers


def become(evaluation: Evaluation, step: int) -> None:
    """Another value everywhere, as if it had been measured so."""
    Reading.objects.filter(evaluation=evaluation).update(step=step)
    CountedValue.objects.filter(evaluation=evaluation).update(step=step)
    settle_all(at=timezone.now())


def differing(club: Club, *, is_shown: bool) -> tuple[list[str], dict[str, tuple[int, bytes]]]:
    certificate, dogs = examined(club, is_shown=is_shown)
    settle_all(at=timezone.now())
    before = read(club, certificate, dogs)
    become(certificate.evaluation, 97)
    after = read(club, certificate, dogs)
    return [address for address in before if before[address] != after[address]], before


def test_no_answer_depends_on_a_withheld_value(club: Club) -> None:
    found, answers = differing(club, is_shown=False)

    assert found == []
    assert sum(status == 200 for status, _body in answers.values()) > 35


def test_the_logs_leaf_of_a_withheld_result_cannot_be_tried_out(club: Club) -> None:
    """The lines of sending in and approving hold the evaluation's random id, which no stranger is
    told, so that nobody can try all values against their hashes."""
    certificate, dogs = examined(club, is_shown=False)
    secret = certificate.evaluation.public_id

    answers = read(club, certificate, dogs)
    with_values = LedgerEntry.objects.filter(
        action__in=("evaluation.submitted", "evaluation.accepted"), dog=dogs[0].public_id
    )

    assert len(secret) >= 16
    assert len(with_values) == 2
    assert all(secret in entry.body for entry in with_values)
    assert [each for each, (_status, body) in answers.items() if secret.encode() in body] == []


def test_the_same_reader_sees_a_released_value_on_many_pages(club: Club) -> None:
    found, _answers = differing(club, is_shown=True)

    assert len(found) > 5
