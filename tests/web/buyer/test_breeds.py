"""The breeds' pages: today and any past day, the numbers behind, the cells as files."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

from django.test import Client

from registry.models import Breed
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
