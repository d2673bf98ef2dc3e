"""The look ahead: gain and cost alike, the breed's own numbers first, slips answered in words."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from registry.models import Trait
from tests.courses import make_course, stored_trend
from tests.factories import Club
from tests.web.buyer.reading import ari, coleman_liau, sentences, words
from tests.web.buyer.test_course import figure, table

PLAN = {"chosen": "best", "dams": "50", "sires": "10", "dogs": "200", "generations": "4"}


def page(client: Client, club: Club, query: dict[str, str] | None = None) -> str:
    response = client.get(f"/breeds/{club.breed.slug}/hip-laxity/ahead/", query or {})
    assert response.status_code == 200
    return response.content.decode()


def leads(html: str) -> list[str]:
    return re.findall(r'<p class="lead">(.*?)</p>', html, re.DOTALL)


def given(html: str) -> dict[str, str]:
    """What the form's boxes hold."""
    boxes = re.findall(r"<input[^>]*>", html)
    return {
        name[1]: value[1]
        for box in boxes
        if ('type="radio"' not in box or "checked" in box)
        and (name := re.search(r'name="(\w+)"', box))
        and (value := re.search(r'value="(.*?)"', box))
    }


def chosen(html: str) -> str:
    """Which way of choosing parents is ticked."""
    boxes = re.findall(r'<input[^>]*name="chosen"[^>]*>', html)
    (ticked,) = [box for box in boxes if "checked" in box]
    value = re.search(r'value="(\w+)"', ticked)
    assert value
    return value[1]


class TestAnswer:
    def test_the_cost_stands_as_large_as_the_gain(self, client: Client, club: Club) -> None:
        make_course(club)

        gain, cost = leads(page(client, club, PLAN))

        assert "After 4 generations" in gain and "of 100 dogs would be tighter" in gain
        # Puppies of 2024 have 3.71 of 100; 50 bitches and 10 males of 100 each are kept, and
        # 1/(8 x 10) + 1/(8 x 50) is 1.5 of 100 a generation (Wright 1931).
        assert "from 3.7 of 100 among the youngest puppies to 9.4, or higher." in cost
        assert "50 bitches and 10 males would have puppies" in cost

    def test_one_generation_moves_the_mean_as_the_breeders_equation_says(
        self, client: Client, club: Club
    ) -> None:
        make_course(club)

        rows = table(page(client, club, {**PLAN, "generations": "1"}), "ahead")

        # Today: 0.45 + 0.0123 - 0.04 = 0.4223. Intensities 1.745 (10 of 100) and 0.792 (50 of 100)
        # are Falconer & Mackay's, within 0.02. Of the additive 0.006 and 0.012 in all, inbreeding
        # leaves a little less: h2 0.49 and an sd of 0.108.
        assert rows[0][:2] == ["today", "0.42"]
        assert float(rows[1][1]) == pytest.approx(0.4223 - 1.268 * 0.49 * 0.108, abs=0.006)

    def test_table_and_figure_hold_the_same(self, client: Client, club: Club) -> None:
        make_course(club)
        html = page(client, club, PLAN)

        high, mean, low, middle, inbreeding = figure(html, "ahead")["data"]
        rows = table(html, "ahead")

        assert len(rows) == 5
        assert [float(row[1]) for row in rows] == mean["y"]
        assert [row[2] for row in rows] == [
            f"{one:.2f} to {other:.2f}" for one, other in zip(low["y"], high["y"], strict=True)
        ]
        assert [float(row[4]) for row in rows] == inbreeding["y"]
        assert set(middle["y"]) == {0.44}

    def test_fewer_parents_gain_more_and_cost_more(self, client: Client, club: Club) -> None:
        make_course(club)

        wide = table(page(client, club, {**PLAN, "sires": "50"}), "ahead")[-1]
        narrow = table(page(client, club, {**PLAN, "sires": "5"}), "ahead")[-1]

        assert float(narrow[1]) < float(wide[1])
        assert float(narrow[4]) > float(wide[4])

    def test_keeping_all_changes_nothing_but_inbreeding(self, client: Client, club: Club) -> None:
        make_course(club)

        rows = table(page(client, club, {**PLAN, "dams": "100", "sires": "100"}), "ahead")

        assert {row[1] for row in rows} == {"0.42"}
        assert float(rows[-1][4]) > float(rows[0][4])

    def test_beyond_the_scale_it_warns(self, client: Client, club: Club) -> None:
        Trait.objects.filter(slug="hip-laxity").update(lowest="0.38")
        make_course(club)

        assert "The scale of this trait ends at 0.38. From generation 1 on" in page(
            client, club, PLAN
        )

    def test_what_it_takes_for_granted_is_listed(self, client: Client, club: Club) -> None:
        make_course(club)

        html = page(client, club, PLAN)

        for said in (
            "not a promise",
            "by their own result alone",
            "Harm to health by inbreeding is not in this sum.",
            "A popular sire makes the breed narrower than this.",
            "Before you decide",
        ):
            assert said in html


class TestForm:
    def test_it_begins_with_the_breeds_own_numbers(self, client: Client, club: Club) -> None:
        make_course(club)

        html = page(client, club)

        # Three dams and two sires of the twelve dogs of 2024; too few to tell how they are chosen.
        assert given(html) == {"dams": "3", "sires": "2", "dogs": "12", "generations": "1"} | {
            "chosen": chosen(html)
        }
        assert chosen(html) == "chance" and "As today" not in html
        assert "have 3 dams and 2 sires" in html
        assert len(leads(html)) == 2

    def test_at_first_it_promises_nothing_that_nobody_does(
        self, client: Client, club: Club
    ) -> None:
        make_course(club)

        rows = table(page(client, club), "ahead")

        assert rows[0][1] == rows[1][1]
        assert "the mean stays at 0.42" in page(client, club)

    def test_it_begins_with_the_choice_that_the_parents_of_today_show(
        self, client: Client, club: Club
    ) -> None:
        # 20 sires and 20 dams of 2018, whose year has a mean of 0.0023; each lies 0.02 below it.
        make_course(club, of_each=20, parents_value=0.0023 - 0.02)
        html = page(client, club)

        rows = table(html, "ahead")

        assert chosen(html) == "today"
        assert "If parents are chosen as today, the mean goes from 0.42 to 0.40." in leads(html)[0]
        assert float(rows[0][1]) - float(rows[1][1]) == pytest.approx(0.02, abs=0.006)

    def test_where_the_course_is_not_clear_nothing_is_taken_from_it(
        self, client: Client, club: Club
    ) -> None:
        line = stored_trend()["line"] | {"low": -0.01, "high": 0.001}
        make_course(club, of_each=20, parents_value=0.0023 - 0.02, trend=stored_trend(line=line))

        html = page(client, club)

        assert chosen(html) == "chance"
        assert "How parents are chosen today cannot be told from the results." in html

    def test_inbreeding_rises_as_fast_as_it_does_today(self, client: Client, club: Club) -> None:
        # 1/(8 x 20) + 1/(8 x 20) is 1.25 of 100, and the breed's own rate is 2.5.
        size = stored_trend()["effective_size"] | {"rate": 0.025}
        make_course(club, of_each=20, trend=stored_trend(effective_size=size))

        rows = table(page(client, club), "ahead")

        now = float(rows[0][4])
        assert float(rows[1][4]) == pytest.approx(now + 2.5 * (1 - now / 100), abs=0.01)

    @pytest.mark.parametrize(
        ("name", "value", "words_of_it"),
        [
            ("dams", "0", "Enter a whole number from 1 to 50,000."),
            ("dams", "101", "Half of the 200 dogs are of this sex: enter 100 or fewer."),
            ("sires", "101", "Half of the 200 dogs are of this sex: enter 100 or fewer."),
            ("sires", "many", "Enter a whole number from 1 to 50,000."),
            ("dogs", "9", "Enter a whole number from 10 to 100,000."),
            ("dogs", "9" * 400, "Enter a whole number from 10 to 100,000."),
            ("dogs", "٣٠", "Enter a whole number from 10 to 100,000."),
            ("generations", "13", "Enter a whole number from 1 to 12."),
            ("generations", "1.5", "Enter a whole number from 1 to 12."),
            ("dams", "", "Fill in “Bitches that have puppies”."),
        ],
    )
    def test_a_slip_is_answered_in_words_and_kept(
        self, client: Client, club: Club, name: str, value: str, words_of_it: str
    ) -> None:
        make_course(club)

        html = page(client, club, {**PLAN, name: value})

        assert "<title>Error: " in html
        assert html.count(words_of_it) == 2
        assert given(html).get(name, "") == value
        assert leads(html) == [] and "data-figure" not in html

    def test_what_has_no_end_in_the_address_is_not_asked_of_the_sum(
        self, client: Client, club: Club
    ) -> None:
        make_course(club)

        html = page(client, club, {"dogs": "100,000", "strange": "<b>"})

        assert len(leads(html)) == 2 and "strange" not in html

    def test_the_smallest_plan_is_answered(self, client: Client, club: Club) -> None:
        make_course(club)

        cost = leads(
            page(client, club, {"dams": "1", "sires": "1", "dogs": "10", "generations": "12"})
        )[1]

        assert "1 bitch and 1 male would have" in cost


class TestNothingToBeginWith:
    def test_without_a_run_there_is_no_form(self, client: Client, club: Club) -> None:
        html = page(client, club)

        assert "There is no breeding run yet" in html and "<form" not in html

    def test_without_a_year_that_has_a_mean_there_is_none(self, client: Client, club: Club) -> None:
        make_course(club, trend=stored_trend(years=[], line=None))

        assert "Too few results" in page(client, club)


def test_it_reads_easily(client: Client, club: Club) -> None:
    make_course(club)

    found = sentences(page(client, club, PLAN))

    assert max(len(words(sentence)) for sentence in found) <= 25
    assert ari(found) <= 8
    assert coleman_liau(found) <= 8
