"""The latest check of each trait of a breed, in one query; and when it is off."""

from __future__ import annotations

import pytest
from pytest_django import DjangoAssertNumQueries

from registry.models import BreedingRun
from registry.queries.forecast_checks import Numbers, forecast_outcomes
from registry.science.forecast_check import Estimate
from tests.breeding import make_run
from tests.factories import make_breed, make_club
from tests.forecast_checks import make_check


@pytest.mark.django_db
def test_it_is_the_latest_of_each_trait_of_the_breed_alone(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    club, other = make_club(), make_breed()
    second, first = make_run(club.breed), make_run(club.breed)
    # The newer run is the one with the greater number, in whatever order rows come.
    BreedingRun.objects.filter(pk=second.pk).update(number=12)
    laxity = make_check(second, puppies=7, litters=3, found={})
    angle = make_check(first, trait="norberg-angle", puppies=50)
    make_check(first, puppies=300)
    make_check(make_run(other), puppies=900)
    BreedingRun.objects.filter(breed=other).update(number=13)

    with django_assert_num_queries(1):
        found = forecast_outcomes(club.breed.pk)

    assert {trait: (each.run, each.puppies) for trait, each in found.items()} == {
        angle.trait_id: (first.number, 50),
        laxity.trait_id: (12, 7),
    }
    assert found[laxity.trait_id].numbers is None
    told = found[angle.trait_id].numbers
    assert told is not None and told.inside == Estimate(0.73, 0.67, 0.79)
    assert told.later is not None and told.later.ratio == Estimate(0.6, 0.4, 0.8)


def _numbers(
    inside: tuple[float, float, float] = (0.8, 0.7, 0.9),
    slope: tuple[float, float, float] | None = (1.0, 0.8, 1.2),
) -> Numbers:
    lean = Estimate(0.0, -0.1, 0.1)
    return Numbers(Estimate(*inside), lean, 0.1, slope and Estimate(*slope), (1,) * 5, None)


@pytest.mark.parametrize(
    ("inside", "is_off"),
    [
        ((0.73, 0.67, 0.79), True),
        ((0.73, 0.67, 0.81), False),
        ((0.88, 0.82, 0.93), True),
        # Sure, and yet 80 of 100.
        ((0.803, 0.801, 0.805), False),
    ],
)
def test_when_a_range_is_off(inside: tuple[float, float, float], is_off: bool) -> None:
    assert _numbers(inside=inside).range_is_off is is_off


@pytest.mark.parametrize(
    ("slope", "is_off"),
    [
        ((0.5, 0.2, 0.75), True),
        ((0.5, -0.2, 1.2), False),
        ((0.85, 0.75, 0.95), False),
        ((1.15, 1.05, 1.25), False),
        ((1.4, 1.1, 1.7), True),
        (None, False),
    ],
)
def test_when_a_slope_is_off(slope: tuple[float, float, float] | None, is_off: bool) -> None:
    assert _numbers(slope=slope).slope_is_off is is_off
