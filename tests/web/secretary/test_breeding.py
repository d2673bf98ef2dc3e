"""The secretary sees each breed's latest run and what failed, and asks for a new one."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.models import BreedingRun, LedgerEntry, RunState
from registry.queries.breeding import latest_run
from tests.breeding import TraitColumns, make_run
from tests.courses import make_course
from tests.factories import Club, Person, make_club, make_dog

pytestmark = pytest.mark.django_db
AT = "/secretary/breeding/"


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def page(club: Club) -> Client:
    return signed_in(club.secretary)


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person.user)
    return client


def read(client: Client) -> str:
    response = client.get(AT)
    assert response.status_code == 200
    return response.content.decode()


def test_it_opens_for_the_secretary_alone(club: Club, page: Client) -> None:
    assert page.get(AT).status_code == 200
    assert signed_in(club.registrar).get(AT).status_code == 404
    assert Client().get(AT).status_code == 302


def test_a_breed_without_a_run_says_so(page: Client) -> None:
    assert "No run yet" in read(page)


def test_the_latest_run_is_told_in_plain_words(club: Club, page: Client) -> None:
    make_course(club, records=312)

    html = read(page)

    assert "Up to date" in html and "breeding run 1 of" in html
    assert "312 results. Heritability 0.50 ± 0.08." in html
    assert "About 50 of 100 parts of what sets dogs apart come from their genes." in html


def test_a_trait_with_too_few_results_is_listed_too(club: Club, page: Client) -> None:
    make_dog(club)
    make_run(club.breed, traits={"elbow-grade": TraitColumns(has_values=False, records=7)})

    assert "No breeding values, from 7 results." in read(page)


def test_what_came_in_since_makes_it_behind(club: Club, page: Client) -> None:
    make_course(club)
    make_dog(club)

    html = read(page)

    assert "Behind" in html and "1 result or entry came in since." in html


def test_the_button_asks_for_a_run_once(club: Club, page: Client, settings: Any) -> None:
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    make_course(club)

    first = page.post(f"{AT}{club.breed.slug}/run/", follow=True)
    page.post(f"{AT}{club.breed.slug}/run/")

    assert "Run 2 of" in first.content.decode()
    waiting = BreedingRun.objects.get(state=RunState.WAITING)
    assert waiting.number == 2
    assert LedgerEntry.objects.filter(action="breeding.asked").count() == 1
    assert "Run 2 has waited since" in read(page) and "Compute anew" not in read(page)


def test_the_run_asked_for_is_computed_and_told(club: Club, page: Client) -> None:
    make_course(club)

    page.post(f"{AT}{club.breed.slug}/run/")

    assert "breeding run 2 of" in read(page)
    assert latest_run(club.breed.pk) is not None


def test_a_run_that_failed_says_why_and_the_one_before_still_speaks(
    club: Club, page: Client
) -> None:
    make_course(club)
    now = timezone.now()
    BreedingRun.objects.create(
        breed=club.breed, number=2, state=RunState.FAILED, asked_at=now, finished_at=now,
        error="Tarnfold Juno is her own ancestor.",
    )  # fmt: skip

    html = read(page)

    assert "Run 2 failed on" in html and "Tarnfold Juno is her own ancestor." in html
    assert "breeding run 1 of" in html and "Compute anew" in html


def test_a_run_under_way_is_not_asked_for_again(club: Club, page: Client) -> None:
    now = timezone.now()
    BreedingRun.objects.create(
        breed=club.breed, number=1, state=RunState.RUNNING, asked_at=now, started_at=now
    )

    assert "Run 1 has been under way since" in read(page)
    assert "Compute anew" not in read(page)


def test_an_unknown_breed_is_not_found_and_nobody_else_may_ask(club: Club, page: Client) -> None:
    assert page.post(f"{AT}nothing/run/").status_code == 404
    assert signed_in(club.registrar).post(f"{AT}{club.breed.slug}/run/").status_code == 404
    assert page.get(f"{AT}{club.breed.slug}/run/").status_code == 405
    assert not BreedingRun.objects.exists()
    assert reverse("secretary:breeding") == AT
