"""The breeds' pages: today and any past day, the numbers behind, the cells as files."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from datetime import date

from django.test import Client
from django.utils import timezone

from registry.desk import consent
from registry.desk.actor import Actor
from registry.models import Breed, CountedValue, Dog, Evaluation, PublicState, Trait
from registry.queries.litter_shares import birth_years
from registry.wording import dates
from registry.wording.spreadsheets import harmless
from tests import factories
from tests.factories import Club


def _path(club: Club, rest: str = "") -> str:
    return f"/breeds/{club.breed.slug}/hip-laxity/{rest}"


def test_it_shows_the_heap_the_count_and_the_window(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(21)

    html = client.get(_path(club)).content.decode()

    assert 'class="heap"' in html
    assert "21 tested dogs" in html
    assert "120 months" in html


def test_below_twenty_dogs_it_says_so_and_shows_neither_heap_nor_cells(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(3)

    html = client.get(_path(club)).content.decode()

    assert "Too few tested dogs (3) to compare." in html
    assert 'class="heap"' not in html
    assert client.get(_path(club, "cells.json")).json()["cells"] == []


def test_a_past_day_is_shown_as_it_was(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(21)

    html = client.get(_path(club), {"as_of": "1 May 2024"}).content.decode()

    assert "1 May 2024" in html
    assert "0 tested dogs" in html
    assert "On that day no result was in these counts yet. The first came on " in html
    first = timezone.localdate()
    assert f"{first.day} {first:%B %Y}." in html
    assert "Too few tested dogs" not in html


def test_a_date_that_can_be_read_two_ways_is_refused_in_words(client: Client, club: Club) -> None:
    html = client.get(_path(club), {"as_of": "2/10/2024"}).content.decode()

    assert "<title>Error: " in html
    assert html.count("Write the month as a word: 2 October 2024 or 10 February 2024.") == 2
    assert 'value="2/10/2024"' in html


def test_the_cells_add_up_to_the_dogs_in_both_files(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(22)

    told = client.get(_path(club, "cells.json")).json()
    sheet = client.get(_path(club, "cells.csv")).content.decode()

    rows = list(csv.DictReader(io.StringIO(sheet)))
    assert told["dogs"] == 22
    assert sum(cell["dogs"] for cell in told["cells"]) == 22
    assert sum(int(row["dogs"]) for row in rows) == 22


def test_a_formula_in_a_name_is_made_harmless(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(20)
    Breed.objects.filter(pk=club.breed.pk).update(name="=1+1")

    sheet = client.get(_path(club, "cells.csv")).content.decode()

    assert "\n'=1+1," in sheet.replace("\r", "")


def test_numbers_stay_numbers_in_a_spreadsheet() -> None:
    assert [harmless(text) for text in ("-3.5", "+2", "-2+3", "@x", "plain")] == [
        "-3.5", "+2", "'-2+3", "'@x", "plain"
    ]  # fmt: skip


def test_the_explorer_has_a_table_for_each_figure_and_no_clinic(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(20)

    html = client.get(_path(club, "explore/")).content.decode()

    assert html.count("data-figure=") == 3
    assert html.count("<table>") == 3
    assert club.clinic.name not in html
    last = PublicState.objects.get(breed=club.breed, trait__slug="hip-laxity").at
    assert f"These counts are of {dates.moment(timezone.localtime(last))}." in html


def test_a_registrar_sees_the_clinics_and_nobody_may_keep_the_page(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(20)
    client.force_login(club.registrar.user)

    response = client.get(_path(club, "explore/"))

    assert club.clinic.name in response.content.decode()
    assert response["Cache-Control"] == "private, no-store"


def test_a_nurse_does_not_see_the_clinics(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(20)
    client.force_login(club.nurse.user)

    html = client.get(_path(club, "explore/")).content.decode()

    assert 'data-figure="clinics"' not in html


def test_a_trait_that_is_not_counted_has_no_page(client: Client, club: Club) -> None:
    response = client.get(f"/breeds/{club.breed.slug}/hip-laxity-compression/")

    assert response.status_code == 404


def test_only_its_own_style_hash_is_added_for_plotly(client: Client, club: Club) -> None:
    explorer = client.get(_path(club, "explore/"))["Content-Security-Policy"]
    plain = client.get(_path(club))["Content-Security-Policy"]

    assert "sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=" in explorer
    assert "unsafe" not in explorer
    assert "sha256" not in plain


def test_every_factory_dog_is_counted_with_its_worse_side(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(19)
    factories.make_accepted(club, left="0.10", right="0.90")

    cells = client.get(_path(club, "cells.json")).json()["cells"]

    assert [cell["value"] for cell in cells if cell["value"] in {"0.10", "0.90"}] == ["0.90"]


class TestGrades:
    def path(self, club: Club) -> str:
        return f"/breeds/{club.breed.slug}/elbow-grade/"

    def graded(self, club: Club, best: int, others: int) -> None:
        for at in range(best + others):
            grade = "0" if at < best else "2"
            readings = [
                {"trait": "elbow-grade", "side": side, "value": grade} for side in ("left", "right")
            ]
            dog = factories.make_dog(club, born_on=date(2023, 1, 5))
            factories.make_accepted(club, dog, readings=readings)

    def test_how_many_have_the_best_grade_is_said_instead_of_a_half_between_0_and_0(
        self, client: Client, club: Club
    ) -> None:
        self.graded(club, best=18, others=3)

        html = client.get(self.path(club)).content.decode()

        assert "18 of 21 tested dogs have the best grade, 0." in html
        assert "From best to worst: 0, 1, 2, 3." in html
        assert "between 0 and 0" not in html
        assert "0 to 0" not in html


def _public(
    club: Club, trait: Trait, month: date, *, dogs: int, came_in_group: bool = False
) -> None:
    """So many values of a month in what the public sees, all of one dog of the past."""
    evaluation = (
        Evaluation.objects.first()
        or factories.make_accepted(club, consent_to_publish=False).evaluation
    )
    at = evaluation.submitted_at
    CountedValue.objects.bulk_create(
        CountedValue(
            breed=club.breed,
            trait=trait,
            sex="F",
            dog=evaluation.dog,
            evaluation=evaluation,
            month=month,
            step=40,
            counted_from=at,
            counted_until=at,
            public_from=at,
            came_in_group=came_in_group,
        )
        for _each in range(dogs)
    )


def test_an_explorer_draws_quarters_where_months_are_too_thin(client: Client, club: Club) -> None:
    trait = Trait.objects.get(slug="hip-laxity")
    months = [date(2025, 1 + at, 1) for at in range(12)]
    for month in months:
        _public(club, trait, month, dogs=8)

    html = client.get(_path(club, "explore/")).content.decode()

    assert "By quarter of the exam" in html
    assert "By month of the exam" not in html
    assert ">Q4 2025<" in html
    assert html.count('<th scope="row">Q') == 4


def test_an_explorer_says_why_where_even_quarters_are_too_thin(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(21)
    trait = Trait.objects.get(slug="hip-laxity")
    for year in range(2017, 2024):
        _public(club, trait, date(year, 3, 1), dogs=2)

    html = client.get(_path(club, "explore/")).content.decode()

    assert "By quarter of the exam" not in html
    assert "Months and quarters have too few dogs here, so they are not drawn." in html


class TestExplorerSpeaks:
    def test_it_begins_with_the_first_and_the_last_year(self, client: Client, club: Club) -> None:
        trait = Trait.objects.get(slug="hip-laxity")
        for year in (2019, 2024):
            _public(club, trait, date(year, 3, 1), dogs=20)
        _public(club, trait, date(2025, 3, 1), dogs=19)

        html = client.get(_path(club, "explore/")).content.decode()

        (lead,) = re.findall(r'<p class="lead">(.*?)</p>', html)
        assert lead.startswith("The middle dog of those examined in 2019 had 0.")
        assert "In 2024 it had 0." in lead

    def test_one_year_alone_is_held_against_nothing(
        self, client: Client, club: Club, tested: Callable[[int], None]
    ) -> None:
        tested(20)

        html = client.get(_path(club, "explore/")).content.decode()

        assert "No two years have enough tested dogs to be held against each other." in html

    def test_groups_too_small_have_no_empty_picture(
        self, client: Client, club: Club, tested: Callable[[int], None]
    ) -> None:
        tested(19)

        html = client.get(_path(club, "explore/")).content.decode()

        assert "data-figure" not in html
        assert html.count("No group has 20 tested dogs, so there is no picture.") == 2

    def test_results_in_groups_have_a_row_and_no_place_on_the_line(
        self, client: Client, club: Club
    ) -> None:
        trait = Trait.objects.get(slug="hip-laxity")
        _public(club, trait, date(2024, 3, 1), dogs=20)
        _public(club, trait, date(2024, 4, 1), dogs=20, came_in_group=True)

        html = client.get(_path(club, "explore/")).content.decode()

        drawn = re.search(r'<script id="years" type="application/json">(.*?)</script>', html)
        assert drawn and "In groups" not in drawn[1]
        assert '<th scope="row">In groups</th><td class="n">20</td>' in html


def test_counts_are_written_with_a_comma(client: Client, club: Club) -> None:
    born = date(2020, 1, 1)
    Dog.objects.bulk_create(
        Dog(breed=club.breed, name=f"Dog {at}", sex="F", born_on=born) for at in range(1001)
    )

    html = client.get(f"/breeds/{club.breed.slug}/").content.decode()

    assert "1,001 dogs are in the register" in html


def test_a_past_day_of_a_trait_without_any_result_names_no_first_day(
    client: Client, club: Club
) -> None:
    html = client.get(_path(club), {"as_of": "1 May 2024"}).content.decode()

    assert "Too few tested dogs (0) to compare." in html
    assert "The first came on" not in html


def test_the_interface_says_when_the_first_results_came(
    client: Client, club: Club, tested: Callable[[int], None]
) -> None:
    tested(1)
    address = f"/api/v1/distributions/{club.breed.slug}/hip-laxity"

    past = client.get(address, {"as_of": "2024-05-01"}).json()
    today = client.get(address).json()

    assert past["n"] == 0
    assert past["state_at"] is None
    assert past["first_at"] == today["state_at"]
    assert today["first_at"] is None


def test_the_breed_page_says_how_many_puppies_of_a_year_were_tested(
    client: Client, club: Club, litters: Callable[[int, int], None]
) -> None:
    litters(20, 7)

    html = client.get(f"/breeds/{club.breed.slug}/").content.decode()

    row = html.split('<th scope="row">2023</th>')[1].split("</tr>")[0]
    assert re.findall(r">(\d+)<", row) == ["20", "7", "35"]
    # Their parents have no parents on record, so they are of no litter.
    assert '<th scope="row">2019</th>' not in html


def test_what_is_not_released_was_tested_and_what_was_taken_back_was_not(
    client: Client, club: Club, litters: Callable[[int, int], None]
) -> None:
    litters(20, 4)
    own, other = Evaluation.objects.order_by("pk")[:2]
    consent.change_consent(by=Actor.system(), evaluation_id=own.public_id, publish=False)
    factories.make_revoked(club, other.public_id)

    (year,) = birth_years(club.breed.pk)

    assert (year.year, year.puppies, year.tested) == (2023, 20, 3)
