"""How clinics differ: by name for registrars, as one sentence without a name for everybody."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from registry.models import Certificate
from tests import factories
from tests.breeding import TraitColumns, make_run
from tests.factories import Club

pytestmark = pytest.mark.django_db
SENTENCE = "Clinics differ here."


@pytest.fixture
def club() -> Club:
    return factories.make_club()


@pytest.fixture
def result(club: Club) -> Certificate:
    for step in range(24):
        value = f"0.{30 + step}"
        last = factories.make_accepted(club, left=value, right=value)
    return last


def run(club: Club, effect: float, records: int = 60) -> None:
    clinics = tuple(
        {"clinic": clinic.pk, "records": records, "effect": effect * sign, "se": 0.005}
        for clinic, sign in ((club.clinic, -1), (club.other_clinic, 1))
    )
    make_run(club.breed, traits={"hip-laxity": TraitColumns(clinics=clinics)})


def pages(client: Client, club: Club, result: Certificate) -> tuple[str, str]:
    addresses = (f"/C/{result.number}", f"/breeds/{club.breed.slug}/hip-laxity/")
    certificate, trait = (client.get(address).content.decode() for address in addresses)
    return certificate, trait


def test_clinics_that_move_the_middle_dog_are_told_of_on_both_pages(
    client: Client, club: Club, result: Certificate
) -> None:
    run(club, 0.03)

    for html in pages(client, club, result):
        assert SENTENCE in html
        assert "Of 100 dogs, about 40 or 60 are tighter than the same middle dog, depending" in html
        assert "does not correct for that" in html
        assert club.other_clinic.name not in html


@pytest.mark.parametrize(("effect", "records"), [(0.01, 60), (0.03, 19)])
def test_small_differences_and_clinics_of_few_results_are_not_told_of(
    client: Client, club: Club, result: Certificate, effect: float, records: int
) -> None:
    run(club, effect, records)

    for html in pages(client, club, result):
        assert SENTENCE not in html


def test_a_newer_run_is_the_one_that_counts(
    client: Client, club: Club, result: Certificate
) -> None:
    run(club, 0.03)
    assert all(SENTENCE in html for html in pages(client, club, result))

    run(club, 0.01)

    assert not any(SENTENCE in html for html in pages(client, club, result))


def test_a_past_day_is_not_told_of_todays_clinics(
    client: Client, club: Club, result: Certificate
) -> None:
    run(club, 0.03)
    address = f"/breeds/{club.breed.slug}/hip-laxity/"

    html = client.get(address, {"as_of": "1 May 2024"}).content.decode()

    assert SENTENCE not in html


def test_a_registrar_reads_each_clinic_with_its_interval(
    client: Client, club: Club, result: Certificate
) -> None:
    make_run(
        club.breed,
        traits={
            "hip-laxity": TraitColumns(
                clinics=(
                    {"clinic": club.clinic.pk, "records": 1204, "effect": -0.02, "se": 0.005},
                    {"clinic": club.other_clinic.pk, "records": 8, "effect": 0.01, "se": 0.01},
                )
            )
        },
    )
    client.force_login(club.registrar.user)

    html = client.get(reverse("registrar:clinics")).content.decode()

    rows = {row.split("</th>")[0]: row for row in html.split('<th scope="row">')[1:]}
    own, other = rows[club.clinic.name], rows[club.other_clinic.name]
    # 1.96 standard errors on either side.
    assert "1,204" in own and "−0.020" in own and "−0.030 to −0.010" in own
    assert "differs, tighter" in own
    assert "+0.010" in other and "−0.010 to +0.030" in other and "could be chance" in other


def test_the_queue_leads_there(client: Client, club: Club) -> None:
    client.force_login(club.registrar.user)

    html = client.get(reverse("registrar:queue")).content.decode()

    assert f'href="{reverse("registrar:clinics")}"' in html


def test_nobody_else_reads_them(client: Client, club: Club) -> None:
    address = reverse("registrar:clinics")
    statuses = [client.get(address).status_code]
    for person in (club.nurse, club.secretary):
        client.force_login(person.user)
        statuses.append(client.get(address).status_code)

    assert statuses == [302, 404, 404]
