"""The list of candidate mates: what it says, its filters, wrong input, what is withheld."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.test import Client

from registry.desk import consent
from registry.desk.actor import Actor
from registry.models import Dog
from tests.breeding import TraitColumns, make_run
from tests.factories import Club, make_accepted, make_dog
from tests.web.breeder.conftest import Cast


def page(client: Client, dog: Dog, query: str = "", status: int = 200) -> str:
    response = client.get(f"/dogs/{dog.public_id}/mates/{query}")
    assert response.status_code == status
    return unescape(response.content.decode())


def names(html: str) -> list[str]:
    return re.findall(r"<h3><a[^>]*>([^<]+)</a>", html)


def row_of(html: str, name: str) -> str:
    """The text of one candidate."""
    (row,) = [each for each in html.split("<li>") if f">{name}</a></h3>" in each]
    return " ".join(re.sub(r"<[^>]+>", " ", row).split())


class TestTheList:
    def test_it_begins_with_the_best_litter_and_leaves_close_kin_out(
        self, client: Client, cast: Cast
    ) -> None:
        html = page(client, cast.juno)

        assert names(html) == ["Mosedale Otto", "Brackenhow Rook"]
        # Juno's sire and half brother are males of the breed too.
        assert "2 of 4" in html

    def test_it_has_no_numbers_of_places(self, client: Client, cast: Cast) -> None:
        html = page(client, cast.juno)

        assert "<ol" not in html.split('class="mates"')[1].split("</form>")[0]

    def test_a_row_tells_the_litter_the_own_result_and_how_sure(
        self, client: Client, cast: Cast
    ) -> None:
        row = row_of(page(client, cast.juno), "Mosedale Otto")

        assert "born 2021" in row
        assert "Of 100 puppies, about 65 tighter than the breed's middle dog." in row
        # The base and half of what both parents' values add up to: 0.45 - 0.05.
        assert "The middle puppy: 0.40." in row
        assert "Own result 0.33" in row
        assert "a tighter hip than the breed's average dog; well known" in row
        assert "Puppies' inbreeding 0 of 100" in row

    def test_a_dog_without_a_result_is_said_so(self, client: Client, cast: Cast) -> None:
        row = row_of(page(client, cast.juno), "Brackenhow Rook")

        assert "Own result not tested or not released" in row
        # How well it is known is no news where nothing could be told.
        assert "Hands on too close to the breed's average dog to tell" in row
        assert "known" not in row

    def test_a_borrowed_heritability_is_named(self, client: Client, club: Club) -> None:
        juno = make_dog(club)
        make_dog(club, sex="M")
        columns = TraitColumns(variances_from="prior", heritability_se=None, records=59)
        make_run(club.breed, traits={"hip-laxity": columns})

        html = page(client, juno)

        assert "This breed has too few results (59 dogs)" in html
        assert "taken from published studies" in html

    def test_candidates_that_cannot_be_told_apart_are_said_so(
        self, client: Client, club: Club
    ) -> None:
        juno = make_dog(club)
        males = [make_dog(club, sex="M", name=f"Male {at}") for at in range(3)]
        values = {males[0]: -0.3, males[1]: -0.29, males[2]: 0.1}
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value=values)})

        html = page(client, juno)

        assert "1 other can hardly be told from the first." in html
        assert "Beside the first" not in row_of(html, "Male 0")
        assert "Beside the first too close to tell" in row_of(html, "Male 1")
        assert "Beside the first about 0.20 looser" in row_of(html, "Male 2")

    def test_it_says_from_which_run_it_speaks(self, client: Client, cast: Cast) -> None:
        html = page(client, cast.juno)

        assert "breeding run 1 of " in html
        assert f"made with {cast.run.dogs} dogs." in html
        assert "came in since" not in html

    def test_it_says_what_came_in_since(self, client: Client, cast: Cast) -> None:
        for _result in range(2):
            make_accepted(cast.club, cast.rook, examined_on=f"2026-10-0{_result + 1}")

        html = page(client, cast.juno)

        assert "2 results or entries came in since. The next run includes them." in html

    def test_the_cautions_of_a_forecast_are_open(self, client: Client, cast: Cast) -> None:
        html = page(client, cast.juno)

        assert "This is a forecast and not a promise." in html
        assert "<details" not in html
        assert "percentile" not in html.lower()

    def test_it_goes_on_from_page_to_page_with_its_filters(
        self, client: Client, club: Club
    ) -> None:
        juno = make_dog(club)
        males = [make_dog(club, sex="M", name=f"Male {at:02d}") for at in range(27)]
        values = {dog: at / 100 for at, dog in enumerate(males)}
        make_run(club.breed, traits={"hip-laxity": TraitColumns(value=values)})

        first = page(client, juno, "?inbreeding=50")
        (following,) = re.findall(r'rel="next" href="([^"]+)"', first)

        assert len(names(first)) == 25
        assert names(page(client, juno, following)) == ["Male 25", "Male 26"]
        assert "inbreeding=50" in following

    @pytest.mark.parametrize("number", ["0", "-3", "99", "x", "9" * 40, "²"])
    def test_a_page_that_is_not_there_is_the_nearest_one(
        self, client: Client, cast: Cast, number: str
    ) -> None:
        assert len(names(page(client, cast.juno, f"?page={number}"))) == 2


class TestTheFilters:
    def test_the_usual_limits_can_be_seen_and_taken_off(self, client: Client, cast: Cast) -> None:
        html = page(client, cast.juno)
        links = {
            text.strip(): href
            for href, text in re.findall(
                r'<a href="([^"]+)"><svg.*?</svg><span class="hidden">[^<]*</span>([^<]+)</a>', html
            )
        }

        assert list(links) == [
            "inbreeding up to 6.25 of 100", "1.5 years or older", "10 years or younger"
        ]  # fmt: skip
        freed = page(client, cast.juno, links["inbreeding up to 6.25 of 100"])
        assert names(freed) == [
            "Mosedale Otto", "Brackenhow Rook", "Fellgate Ash", "Fellgate Half"
        ]  # fmt: skip
        assert "inbreeding up to" not in freed

    def test_without_any_the_whole_list_is_there(self, client: Client, cast: Cast) -> None:
        html = page(client, cast.juno, "?inbreeding=&youngest=&oldest=")

        assert "All 4" in html
        assert len(names(html)) == 4

    @pytest.mark.parametrize(
        ("query", "expected"),
        [
            ("?tested=yes", ["Mosedale Otto"]),
            ("?middle=yes", ["Mosedale Otto"]),
            ("?name=rook", ["Brackenhow Rook"]),
            ("?youngest=5", ["Mosedale Otto"]),
            ("?oldest=5", ["Brackenhow Rook"]),
            ("?inbreeding=12,5", ["Mosedale Otto", "Brackenhow Rook", "Fellgate Half"]),
        ],
    )
    def test_each_narrows_the_list(
        self, client: Client, cast: Cast, query: str, expected: list[str]
    ) -> None:
        html = page(client, cast.juno, query)

        assert names(html) == expected
        assert f"{len(expected)} of 4" in html

    def test_the_trait_that_was_chosen_ranks(self, client: Client, cast: Cast) -> None:
        html = page(client, cast.juno, "?trait=norberg-angle")

        assert "the mates whose puppies are expected better-fitting" in html
        assert "The middle puppy: 104.0°" in row_of(html, "Mosedale Otto")

    def test_nobody_left_is_said_so_with_a_way_back(self, client: Client, cast: Cast) -> None:
        html = page(client, cast.juno, "?name=nobody")

        assert "Nobody matches. Remove a filter to see more." in html
        assert "0 of 4" in html
        assert "Remove all filters" in html

    @pytest.mark.parametrize(
        ("query", "message"),
        [
            ("?inbreeding=lots", "“lots” is not a number. Use digits only, for example 12.5."),
            ("?inbreeding=101", "Enter a number from 0 to 100, for example 6.25."),
            ("?youngest=-1", "Enter an age in years from 0 to 30, for example 1.5."),
            ("?youngest=5&oldest=3", "Enter 5 or more, or lower the age in the field before."),
            ("?trait=temper", "Choose one of the traits in the list."),
        ],
    )
    def test_what_was_typed_wrong_is_said_twice_and_stays(
        self, client: Client, cast: Cast, query: str, message: str
    ) -> None:
        html = page(client, cast.juno, query)

        assert "<title>Error: " in html
        assert html.count(message) == 2
        assert names(html) == []
        if "lots" in query:
            assert 'value="lots"' in html

    def test_the_filters_stay_on_the_way_to_the_pairs(self, client: Client, cast: Cast) -> None:
        html = page(client, cast.juno, "?inbreeding=25&name=o")

        form = html.split(f' action="/dogs/{cast.juno.public_id}/pairs/">')[1]
        assert '<input type="hidden" name="inbreeding" value="25">' in form
        assert '<input type="hidden" name="name" value="o">' in form


class TestWhatIsWithheld:
    def test_a_candidate_whose_result_is_private_is_only_counted(
        self, client: Client, cast: Cast
    ) -> None:
        make_accepted(cast.club, cast.rook, left="0.71", right="0.77", consent_to_publish=False)

        html = page(client, cast.juno)

        assert names(html) == ["Mosedale Otto"]
        assert "1 dog is not in the list, as its owner keeps the result private." in html
        assert "Rook" not in html
        assert "0.7" not in html

    def test_a_dog_whose_own_result_is_private_has_no_list(
        self, client: Client, cast: Cast
    ) -> None:
        evaluation = cast.juno.evaluations.get()
        consent.change_consent(by=Actor.system(), evaluation_id=evaluation.public_id, publish=False)

        html = page(client, cast.juno)

        assert "The owner has not released the result" in html
        assert names(html) == []
        assert "0.43" not in html


class TestWithoutAList:
    def test_before_the_first_run(self, client: Client, club: Club) -> None:
        html = page(client, make_dog(club))

        assert "There is no breeding run yet" in html

    def test_when_the_run_had_too_few_results(self, client: Client, club: Club) -> None:
        dog = make_dog(club)
        few = TraitColumns(has_values=False, records=3, notes=({"code": "too-few-records"},))
        make_run(club.breed, traits={"hip-laxity": few})

        html = page(client, dog)

        assert "Too few results" in html
        assert "breeding run 1 of " in html

    def test_for_a_dog_that_came_after_the_run(self, client: Client, cast: Cast) -> None:
        late = make_dog(cast.club, name="Late Comer")

        html = page(client, late)

        assert "Late Comer came into the register after the last run." in html

    def test_an_unknown_dog_is_not_found(self, client: Client, db: None) -> None:
        for path in ("mates/", "litter/", "pairs/", "mates/nosuchdog/"):
            assert client.get(f"/dogs/nosuchdog/{path}").status_code == 404
