"""The breed's course: what it says first, the numbers below, the file, and why there is none."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import Any

import pytest
from django.test import Client

from registry.models import TraitRun
from registry.science.threshold import liability_variances
from tests import factories
from tests.breeding import TraitColumns, make_run
from tests.courses import FIRST, LAST, make_course, stored_trend
from tests.factories import Club, make_dog
from tests.web.buyer.reading import ari, coleman_liau, sentences, words


def path(club: Club, rest: str = "course/", trait: str = "hip-laxity") -> str:
    return f"/breeds/{club.breed.slug}/{trait}/{rest}"


def page(client: Client, club: Club, **where: str) -> str:
    response = client.get(path(club, **where))
    assert response.status_code == 200
    return response.content.decode()


def lead(html: str) -> str:
    found = re.search(r'<p class="lead">(.*?)</p>', html, re.DOTALL)
    assert found
    return found[1]


def table(html: str, ident: str) -> list[list[str]]:
    part = html[html.index(f'id="{ident}-caption"') :].split("</table>", maxsplit=1)[0]
    rows = part.split("<tbody>")[1].split("</tr>")[:-1]
    return [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in rows]


def figure(html: str, ident: str) -> dict[str, Any]:
    found = re.search(rf'<script id="{ident}" type="application/json">(.*?)</script>', html)
    assert found
    drawn: dict[str, Any] = json.loads(found[1])
    return drawn


class TestFirstSentence:
    def test_it_says_how_far_the_genes_moved_and_how_sure_that_is(
        self, client: Client, club: Club
    ) -> None:
        make_course(club)

        # Eight years at 0.005 a year, and at the ends of the interval 0.0025 and 0.0075.
        assert lead(page(client, club)) == (
            "Puppies born in 2024 carry genes for a tighter hip than those born in 2016. "
            "The change is about 0.04. It could be 0.02 to 0.06."
        )

    def test_the_wrong_way_is_said_as_plainly(self, client: Client, club: Club) -> None:
        line = {"per_year": 0.005, "low": 0.0025, "high": 0.0075, "first": FIRST, "last": LAST}
        make_course(club, trend=stored_trend(line={**line, "years": 9}))

        assert "carry genes for a looser hip" in lead(page(client, club))

    def test_an_interval_around_no_change_claims_none(self, client: Client, club: Club) -> None:
        line = {"per_year": -0.001, "low": -0.005, "high": 0.0025, "first": FIRST, "last": LAST}
        make_course(club, trend=stored_trend(line={**line, "years": 9}))

        assert lead(page(client, club)) == (
            "It is not clear that the breed&#x27;s genes moved from 2016 to 2024. "
            "It could be 0.02 looser to 0.04 tighter."
        )

    def test_a_change_smaller_than_the_scale_is_not_written_as_nothing(
        self, client: Client, club: Club
    ) -> None:
        line = {"per_year": -0.0005, "low": -0.0008, "high": -0.0002, "first": FIRST, "last": LAST}
        make_course(club, trend=stored_trend(line={**line, "years": 9}))

        assert "about 0.004. It could be 0.002 to 0.006." in lead(page(client, club))

    def test_too_few_years_say_so(self, client: Client, club: Club) -> None:
        make_course(club, trend=stored_trend(line=None))

        assert lead(page(client, club)).startswith("There are too few birth years")

    def test_of_an_angle_higher_is_better(self, client: Client, club: Club) -> None:
        line = {"per_year": 0.25, "low": 0.1, "high": 0.4, "first": FIRST, "last": LAST}
        trend = stored_trend(line={**line, "years": 9})
        make_course(club, trait="norberg-angle", trend=trend, base=104.0, middle=104.0)

        said = lead(page(client, club, trait="norberg-angle"))

        assert "a better-fitting hip" in said and "2.0°" in said and "0.8° to 3.2°" in said

    def test_grades_are_told_as_shares_of_the_best_one(self, client: Client, club: Club) -> None:
        line = {"per_year": -0.05, "low": -0.08, "high": -0.02, "first": FIRST, "last": LAST}
        trend = stored_trend(line={**line, "years": 9})
        grades = {"code": "grades", "shares": [0.89, 0.07, 0.03, 0.01], "dogs": 400, "mean": 0.0,
                  "spread": 0.1}  # fmt: skip
        variances = liability_variances(0.30, 0.05)
        given: dict[str, Any] = {"trend": trend, "variances": variances, "notes": (grades,)}
        make_course(club, trait="elbow-grade", **given)

        html = page(client, club, trait="elbow-grade")

        # The liability's standard deviation is √(1/0.65 + 0.1) = 1.28; 0.89 of a normal curve lie
        # below 1.227 of them. The last year's mean is -0.028, the first one's 0.372 (0.132 to
        # 0.612) by the line: 1.248, 0.936, 1.124 and 0.748 by the tables.
        assert "about 89 of 100 dogs born in 2024 would have grade 0." in lead(html)
        assert "Of those born in 2016 it was about 83. It could be 77 to 87." in lead(html)
        assert "of a grade" not in html and "Mean result" not in html
        assert "so they are too short" in html and "80 to 97 times" not in html

    def test_of_grades_not_known_to_be_inherited_no_course_is_told(
        self, client: Client, club: Club
    ) -> None:
        grades = {"code": "grades", "shares": [0.89, 0.07, 0.03, 0.01], "dogs": 400, "mean": 0.0,
                  "spread": 0.1}  # fmt: skip
        given: dict[str, Any] = {"variances_from": "prior", "notes": (grades,), "records": 470}
        make_course(club, trait="elbow-grade", **given)

        assert lead(page(client, club, trait="elbow-grade")) == (
            "Elbow grade: the results of 470 dogs do not tell yet how far this is inherited here."
        )

    def test_with_many_unknown_parents_neither_size_nor_line_is_told(
        self, client: Client, club: Club
    ) -> None:
        unknown = {"share": 0.604, "first_year": 2015, "last_year": 2024}
        trend = stored_trend(line=None, effective_size=None, unknown_parents=unknown)
        make_course(club, trend=trend)

        html = page(client, club)
        ahead = client.get(path(club, "ahead/")).content.decode()

        why = "of 100 dogs born from 2015 to 2024, 61 have a parent that nobody wrote down."
        assert lead(html) == f"Where the breed&#x27;s genes go cannot be told: {why}"
        assert f"How fast the breed loses variety cannot be told: {why}" in html
        assert why in ahead and "<form" not in ahead.split("<main")[1].split("</main>")[0]

    def test_with_some_the_line_is_told_and_no_size(self, client: Client, club: Club) -> None:
        unknown = {"share": 0.15, "first_year": 2015, "last_year": 2024}
        make_course(club, trend=stored_trend(effective_size=None, unknown_parents=unknown))

        html = page(client, club)

        assert lead(html).startswith("Puppies born in 2024 carry genes for a tighter hip")
        assert "In trials with invented breeds they were right 80 to 97 times." in html
        why = "loses variety cannot be told: of 100 dogs born from 2015 to 2024, 15 have"
        assert why in html
        assert why in client.get(path(club, "ahead/?dams=3&sires=2&dogs=12")).content.decode()

    def test_of_a_heritability_at_its_bound_no_course_is_told(
        self, client: Client, club: Club
    ) -> None:
        at_bound = {"code": "at-bound", "heritability": None}
        given: dict[str, Any] = {"variances_from": "prior", "notes": (at_bound,), "records": 470}
        make_course(club, **given)

        html = page(client, club)
        ahead = client.get(path(club, "ahead/")).content.decode()

        said = "Hip laxity: the results of"
        assert lead(html).startswith(said)
        assert "taken from published studies" in html
        assert said in ahead and "<form" not in ahead.split("<main")[1].split("</main>")[0]


def told(number: float) -> Any:
    """The run's number to the digits of the file."""
    return pytest.approx(number, abs=0.0005001)


class TestNumbers:
    def test_table_file_figure_and_run_hold_the_same(self, client: Client, club: Club) -> None:
        run = make_course(club)
        stored = TraitRun.objects.get(run=run).trend["years"]
        html = page(client, club)

        rows = table(html, "course")
        sheet = client.get(path(club, "course.csv")).content.decode()
        filed = list(csv.DictReader(io.StringIO(sheet)))
        record, genes, tested = figure(html, "course")["data"]

        assert len(rows) == len(filed) == len(stored) == 10
        for at, year in enumerate(stored[:-1]):
            row, line = rows[at], filed[at]
            assert row[:3] == [str(year["year"]), "40", str(year["tested"])]
            assert float(line["result_mean"]) == told(year["record"]["mean"])
            assert float(line["breeding_value_mean"]) == told(year["value"]["mean"])
            assert float(line["breeding_value_low"]) == told(year["value"]["low"])
            # The base of this run is 0.45.
            by_genes = 0.45 + year["value"]["mean"]
            assert float(line["genes_mean"]) == told(by_genes)
            assert row[4] == f"{year['record']['mean']:.3f}" and row[6] == f"{by_genes:.3f}"
            assert (record["y"][at], genes["y"][at]) == (float(row[4]), float(row[6]))
            assert tested["y"][at] == float(row[3])
            assert float(line["inbreeding_of_100"]) == 100 * year["inbreeding"]

    def test_a_year_with_too_few_dogs_has_no_mean_anywhere(
        self, client: Client, club: Club
    ) -> None:
        make_course(club)
        html = page(client, club)

        assert table(html, "course")[-1][4:] == ["too few", "", "too few", ""]
        assert figure(html, "course")["data"][0]["y"][-1] is None
        assert (
            client.get(path(club, "course.csv")).content.decode().strip().endswith(",,,,,,,,,,0.0")
        )

    def test_the_inbreeding_is_tabled_and_drawn_alike(self, client: Client, club: Club) -> None:
        make_course(club)
        html = page(client, club)

        drawn = figure(html, "inbreeding")["data"][0]["y"]

        rows = table(html, "inbreeding")
        assert [float(row[2]) for row in rows[:-1]] == drawn
        assert rows[-1] == ["2025", "3", "too few"]
        assert drawn[0] == 2.11

    def test_guidance_stands_in_the_details_and_not_in_the_figure(
        self, client: Client, club: Club
    ) -> None:
        make_course(club)

        html = page(client, club)

        assert "shapes" not in figure(html, "course")["layout"]
        assert "annotations" not in figure(html, "course")["layout"]
        details = html.split("What values mean", 1)[1].split("</details>", 1)[0]
        assert [
            f"{side} {point}" in details
            for side, point in (("Below", "0.30"), ("Above", "0.45"), ("Above", "0.70"))
        ] == [True] * 3


class TestVariety:
    def test_the_size_is_a_number_of_dogs_with_its_interval(
        self, client: Client, club: Club
    ) -> None:
        make_course(club)

        html = page(client, club)

        # 1/(2 × 0.0125) = 40; a rise of 0.0125 ± 1.96 × 0.00125 is 33 to 50 dogs.
        assert "as fast as one of about 40 dogs" in html
        assert "It could be 33 to 50 dogs." in html
        assert "at 50 or more" in html

    def test_without_inbreeding_no_size_is_claimed(self, client: Client, club: Club) -> None:
        size = {**stored_trend()["effective_size"], "size": None, "size_error": None, "rate": 0.0}
        make_course(club, trend=stored_trend(effective_size=size))

        assert "no dog born from 2021 to 2024 is inbred" in page(client, club)

    def test_a_short_pedigree_says_so(self, client: Client, club: Club) -> None:
        make_course(club, trend=stored_trend(effective_size=None))

        assert "The pedigree is too short" in page(client, club)


class TestRun:
    def test_it_names_its_run_and_that_it_is_behind(self, client: Client, club: Club) -> None:
        make_course(club)
        before = page(client, club)
        make_dog(club)
        after = page(client, club)

        assert "breeding run 1 of" in before and "came in since" not in before
        assert "1 result or entry came in since." in after

    def test_without_a_run_it_says_so_and_there_is_no_file(
        self, client: Client, club: Club
    ) -> None:
        html = page(client, club)

        assert "There is no breeding run yet" in html
        assert "data-figure" not in html and "explorer.js" not in html
        assert client.get(path(club, "course.csv")).status_code == 404

    def test_too_few_results_say_so(self, client: Client, club: Club) -> None:
        make_dog(club)
        make_run(club.breed, traits={"hip-laxity": TraitColumns(has_values=False)})

        assert "Too few results" in page(client, club)

    def test_published_variances_are_called_so(self, client: Client, club: Club) -> None:
        make_course(club, variances_from="prior", heritability_se=None)

        html = page(client, club)

        assert "About 50 of 100 parts of what sets dogs apart come from their genes." in html
        assert "taken from published studies" in html

    def test_its_own_heritability_has_an_interval(self, client: Client, club: Club) -> None:
        make_course(club)

        # 0.006 of 0.012, with a standard error of 0.08.
        assert "About 50 of 100 parts" in page(client, club)
        assert "It could be 34 to 66." in page(client, club)


def test_the_cautions_and_the_untested_dogs_are_named(client: Client, club: Club) -> None:
    make_course(club)

    html = page(client, club)

    assert "Before you decide" in html
    assert "Of 363 dogs born from 2016 to 2025, 127 were tested." in html


def test_no_dog_is_named_on_it(client: Client, club: Club) -> None:
    certificate = factories.make_accepted(club, consent_to_publish=False)
    make_course(club)

    text = page(client, club) + client.get(path(club, "course.csv")).content.decode()

    assert certificate.evaluation.dog.name not in text


def test_it_reads_easily(client: Client, club: Club) -> None:
    make_course(club)

    found = sentences(page(client, club))

    assert max(len(words(sentence)) for sentence in found) <= 25
    assert ari(found) <= 8
    assert coleman_liau(found) <= 8


def test_an_unknown_breed_or_trait_is_not_found(client: Client, club: Club) -> None:
    assert client.get("/breeds/nothing/hip-laxity/course/").status_code == 404
    assert client.get(path(club, trait="hip-laxity-compression")).status_code == 404
