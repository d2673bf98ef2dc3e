"""What came of a breed's forecasts: sentence first, and the numbers that the interface has."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from django.test import Client

from registry.models import Trait
from tests.breeding import make_run
from tests.factories import Club
from tests.forecast_checks import FOUND, make_check
from tests.web.buyer.reading import ari, coleman_liau, sentences, words


def page(client: Client, club: Club) -> str:
    html = unescape(client.get(f"/breeds/{club.breed.slug}/").content.decode())
    return html.replace("\u00a0", " ")


def interface(client: Client, club: Club) -> Any:
    response = client.get(f"/api/v1/breeds/{club.breed.slug}/forecast-outcomes")
    assert response.status_code == 200
    return response.json()


def cells(html: str, ident: str) -> list[str]:
    """The numbers of the first line of a table."""
    table = html.split(f'<caption id="{ident}">')[1].split("</tr>")[1]
    return re.findall(r'<td class="n">(.*?)</td>', table)


def section(html: str) -> str:
    found = html.partition('<section aria-labelledby="outcomes">')[2].partition("</section>")
    return found[0]


class TestNumbers:
    def test_the_sentence_comes_first_then_the_table(self, client: Client, club: Club) -> None:
        make_check(make_run(club.breed))

        html = section(page(client, club))

        lead = (
            "412 puppies were forecast early and have been tested since. Of 100, 73 came out "
            "inside their range. It should hold 80. So the ranges were too narrow. Old forecasts, "
            "made from fewer results, count in this too. Forecasts were too hopeful: on the "
            "whole, puppies came out looser by 0.012. Forecasts told better litters from worse "
            "ones, but made too much of it."
        )
        assert 0 < html.index(lead) < html.index("<table>")
        assert "Compared by breeding run 1 of" in html
        assert cells(html, "outcomes-n") == [
            "91",
            "412",
            "73 (67 to 79)",
            "+0.012 (+0.004 to +0.020)",
            "0.50 (0.20 to 0.75)",
        ]
        assert "in groups of five or more" in html
        assert "Those that were not tested may differ." in html

    @pytest.mark.parametrize(
        ("trait", "of_100"),
        [
            ("hip-laxity", ["14.6", "15", "17", "21.8", "31.6"]),
            # A high angle is a good one.
            ("norberg-angle", ["31.6", "21.8", "17", "15", "14.6"]),
        ],
    )
    def test_the_best_fifth_stands_first(
        self, client: Client, club: Club, trait: str, of_100: list[str]
    ) -> None:
        make_check(make_run(club.breed), trait=trait)

        assert cells(page(client, club), "outcomes-f") == of_100

    def test_page_and_interface_say_the_same(self, client: Client, club: Club) -> None:
        make_check(make_run(club.breed))

        html, told = page(client, club), interface(client, club)

        laxity, angle, *grades = told["traits"]
        for trait in told["traits"]:
            assert " ".join(trait["sentences"]) in html
        for sentence in told["compared"]:
            assert sentence in html
        assert (laxity["run"], laxity["puppies"], laxity["litters"]) == (1, 412, 91)
        numbers = laxity["numbers"]
        for name in ("inside", "lean", "slope"):
            assert list(numbers[name].values()) == FOUND[name]
        assert numbers["fifths"] == FOUND["parts"]
        assert numbers["later"]["ratio"] == {"value": 0.6, "low": 0.4, "high": 0.8}
        assert angle["numbers"] is None and angle["run"] is None
        assert all(each["numbers"] is None for each in grades)

    def test_what_an_older_run_compared_says_so(self, client: Client, club: Club) -> None:
        make_check(make_run(club.breed), trait="norberg-angle")
        make_check(make_run(club.breed))

        html = section(page(client, club))

        assert html.count("Compared by breeding run 1 of") == 1
        assert '<p class="soft">Compared by breeding run 2 of' in html


class TestNoNumbers:
    def test_too_few_are_said_as_such(self, client: Client, club: Club) -> None:
        make_check(make_run(club.breed), puppies=1, litters=1, found={})

        html = section(page(client, club))

        assert "Too few to tell yet: 1 puppy with a forecast and a result, of 1 litter." in html
        assert cells(html, "outcomes-n") == ["1", "1", "–", "–", "–"]
        assert "outcomes-f" not in html
        assert interface(client, club)["traits"][0]["numbers"] is None

    def test_without_a_run_there_is_no_table(self, client: Client, club: Club) -> None:
        html = section(page(client, club))

        assert "No puppy with a forecast has been tested yet." in html
        assert "<table" not in html and "Compared by" not in html

    def test_grades_say_that_they_are_not_compared(self, client: Client, club: Club) -> None:
        html = section(page(client, club))

        graded = [trait for trait in Trait.objects.filter(is_counted=True) if trait.is_graded]
        assert html.count("Grades are not compared yet.") == len(graded) > 0

    def test_forecasts_that_were_all_alike_have_no_slope(self, client: Client, club: Club) -> None:
        make_check(make_run(club.breed), slope=None, later=None)

        html = section(page(client, club))

        assert cells(html, "outcomes-n")[-1] == "–"
        assert "better litters" not in html
        assert interface(client, club)["traits"][0]["numbers"]["slope"] is None


@pytest.mark.parametrize(
    "path", ["/breeds/no-such-breed/", "/api/v1/breeds/none/forecast-outcomes"]
)
def test_a_wrong_breed_is_not_found(client: Client, club: Club, path: str) -> None:
    assert client.get(path).status_code == 404


def test_the_page_reads_easily_with_numbers(client: Client, club: Club) -> None:
    make_check(make_run(club.breed))
    html = page(client, club)

    whole = sentences(html)
    folded = html.partition("<details>")[2].partition("</details>")[0]
    open_part = sentences(html.replace(folded, ""))

    assert max(len(words(sentence)) for sentence in whole) <= 20
    assert ari(open_part) <= 6
    assert coleman_liau(open_part) <= 6
