"""How far two exams of a dog differ comes from released pairs or a publication, for every face."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from api.shapes.public import certificate as answer
from registry.desk import consent
from registry.desk.actor import Actor
from registry.desk.catalogue import save_trait
from registry.desk.errors import Invalid
from registry.models import Certificate, Dog, Evaluation, Trait
from registry.queries import within_dogs as module
from registry.queries.breed_counts import BreedCounts, breed_counts
from registry.queries.public import certificate_record
from registry.queries.within_dogs import WithinDog, within_dogs
from registry.telling.papers import certificate_paper
from tests.factories import Club, make_accepted, make_club, make_dog, make_revoked

pytestmark = pytest.mark.django_db

FIRST = date(2025, 3, 3)
EVER = datetime(2100, 1, 1, tzinfo=UTC)


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture(autouse=True)
def two_are_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "FEWEST_PAIRS", 2)


def _twice(
    club: Club, first: str, second: str, *, start: date = FIRST, days: int = 200, **members: Any
) -> tuple[Certificate, Certificate]:
    """A dog examined twice; the worse side is the one given."""
    dog: Dog = make_dog(club)
    later = start + timedelta(days=days)
    return (
        make_accepted(club, dog, examined_on=start.isoformat(), left="0.20", right=first),
        make_accepted(
            club, dog, examined_on=later.isoformat(), right=second, left="0.20", **members
        ),
    )


def _laxity(*, at: datetime = EVER) -> WithinDog | None:
    return within_dogs(at=at).get(Trait.objects.get(slug="hip-laxity").pk)


def test_the_worse_sides_of_two_exams_are_compared(club: Club) -> None:
    _twice(club, "0.40", "0.43")
    _twice(club, "0.40", "0.36")

    # Differences of 3 and 4 steps: the root of (9 + 16) / 4.
    assert _laxity() == WithinDog(2.5, 2)


def test_two_dogs_are_never_a_pair(club: Club) -> None:
    # The second dog is examined for the first time after the first dog's last time.
    _twice(club, "0.40", "0.43")
    _twice(club, "0.60", "0.56", start=FIRST + timedelta(days=300))

    assert _laxity() == WithinDog(2.5, 2)


def test_too_few_pairs_say_nothing(club: Club) -> None:
    _twice(club, "0.40", "0.43")

    assert _laxity() is None


def _withheld(club: Club) -> None:
    _twice(club, "0.40", "0.60", consent_to_publish=False)


def _revoked(club: Club) -> None:
    _first, second = _twice(club, "0.40", "0.60")
    make_revoked(club, second.evaluation.public_id)


def _corrected(club: Club) -> None:
    first, second = _twice(club, "0.40", "0.60")
    Evaluation.objects.filter(pk=second.evaluation_id).update(corrects=first.evaluation_id)


def _years_apart(club: Club) -> None:
    _twice(club, "0.40", "0.60", days=732)


def _one_side(club: Club) -> None:
    _first, second = _twice(club, "0.40", "0.60")
    second.evaluation.readings.filter(side="left").delete()


def test_what_is_no_released_pair_is_left_out(club: Club) -> None:
    _twice(club, "0.40", "0.43")
    _twice(club, "0.40", "0.36")

    for other in (_withheld, _revoked, _corrected, _years_apart, _one_side):
        other(club)
        assert _laxity() == WithinDog(2.5, 2), other.__name__


def test_as_of_a_day_later_exams_are_not_known(club: Club) -> None:
    _twice(club, "0.40", "0.43")
    _twice(club, "0.40", "0.36")

    assert _laxity(at=timezone.now() - timedelta(days=1)) is None


def _publish(slug: str, deviation: str | None, source: str) -> None:
    facts = {"within_dog_sd": deviation and Decimal(deviation), "within_dog_source": source}
    save_trait(by=Actor.system(), slug=slug, facts=facts)


def test_what_was_published_stands_in_until_there_are_pairs_enough(club: Club) -> None:
    _publish("hip-laxity", "0.02", "Fell (2020)")
    _twice(club, "0.40", "0.43")
    before = _laxity()
    _twice(club, "0.40", "0.36")

    assert before == WithinDog(2.0, 0, "Fell (2020)")
    assert _laxity() == WithinDog(2.5, 2)


@pytest.mark.parametrize(
    ("slug", "deviation", "source", "at"),
    [
        ("hip-laxity", "0.02", "", "/within_dog_source"),
        ("hip-laxity", None, "Fell (2020)", "/within_dog_sd"),
        ("hip-laxity", "0", "Fell (2020)", "/within_dog_sd"),
        ("elbow-grade", "0.5", "Fell (2020)", "/within_dog_sd"),
    ],
)
def test_a_deviation_is_of_a_number_and_has_a_source(
    club: Club, slug: str, deviation: str | None, source: str, at: str
) -> None:
    with pytest.raises(Invalid) as refused:
        _publish(slug, deviation, source)

    assert [problem.pointer for problem in refused.value.problems] == [at]


def test_a_withdrawn_consent_shows_at_once(club: Club) -> None:
    pair = _twice(club, "0.40", "0.43")
    _twice(club, "0.40", "0.36")
    known = _read(club).within

    consent.change_consent(
        by=club.registrar.actor, evaluation_id=pair[0].evaluation.public_id, publish=False
    )

    assert list(known.values()) == [WithinDog(2.5, 2)]
    assert _read(club).within == {}


def _read(club: Club) -> BreedCounts:
    return breed_counts(club.breed.pk, window_months=120, now=timezone.now(), with_within=True)


def test_interface_page_and_paper_say_the_same(club: Club, client: Client) -> None:
    # 22 dogs, two of them examined twice.
    _twice(club, "0.40", "0.43")
    _twice(club, "0.40", "0.36")
    for step in range(19):
        make_accepted(club, left="0.20", right=f"0.{30 + step}")
    last = make_accepted(club, left="0.20", right="0.40")
    record = certificate_record(last.number)
    assert record is not None

    (result,) = answer(record)["results"]
    page = client.get(f"/C/{last.number}").content.decode()
    paper = certificate_paper(record)

    # 2.5 steps: up to 6.93 steps either way, outwards 7, so from 0.33 to 0.47. Of the 21 others
    # 0.30, 0.31 and 0.32 are below 0.33, all but 0.47 and 0.48 below 0.47.
    second = result["standing_today"]["second_exam"]
    assert second["low"] == pytest.approx(3 / 21)
    assert second["high"] == pytest.approx(19 / 21)
    assert second["within_dog_sd"] == pytest.approx(0.025)
    assert second["source"].startswith("2 repeat exams in this register")
    said = "A second exam of the same dog could give 3 to 19 of 21 tighter."
    assert said in page
    assert "standard deviation within a dog 0.025, from 2 repeat exams" in page
    assert said in " ".join(paper.meaning)
