"""The command asks for breeding runs, or computes them and says what was found."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from registry.models import BreedingRun, Dog, RunState
from tests.bred import make_bred
from tests.factories import Club, make_breed, make_club, make_dog

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


def said(*arguments: str) -> str:
    """What the command writes."""
    out = StringIO()
    call_command("breeding", *arguments, stdout=out)
    return out.getvalue()


def test_it_asks_for_a_run_of_every_breed(club: Club) -> None:
    other = make_breed()

    text = said()

    assert f"{club.breed.name}: run 1 waits for the worker." in text
    assert f"{other.name}: run 1 waits for the worker." in text
    assert BreedingRun.objects.count() == 2


def test_it_asks_for_one_breeds_alone(club: Club) -> None:
    make_breed()

    said("--breed", club.breed.slug)

    assert [run.breed for run in BreedingRun.objects.all()] == [club.breed]


def test_it_computes_at_once_and_says_what_it_found(club: Club) -> None:
    make_bred(club, generations=2, litters=5, elbow=12)

    text = said("--breed", club.breed.slug, "--now")

    first, *traits = text.splitlines()
    assert first.startswith(f"{club.breed.name}: run 1, 84 dogs, ")
    by_trait = dict(line.strip().split(": ", 1) for line in traits)
    assert by_trait["hip-laxity"].startswith(
        "heritability 0.53 from published figures, 60 records, reliabilities exact, "
    )
    assert by_trait["elbow-grade"] == "12 records, no breeding values (too-few-records)"


def test_an_unknown_breed_is_refused_with_the_known_ones(club: Club) -> None:
    with pytest.raises(CommandError, match=f"no-such.*{club.breed.slug}"):
        said("--breed", "no-such")


def test_a_run_that_fails_ends_the_command_with_an_error(club: Club) -> None:
    dog = make_dog(club, sex="M")
    Dog.objects.filter(pk=dog.pk).update(sire=dog)

    with pytest.raises(CommandError, match=club.breed.slug):
        said("--now")

    assert BreedingRun.objects.get().state == RunState.FAILED
