"""One pair, and pairs side by side: the forecast, what speaks against it, and wrong pairs."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from html import unescape

import pytest
from django.test import Client
from django.utils import timezone

from registry.models import Dog, DogAlias
from tests.breeding import make_run
from tests.factories import Club, make_accepted, make_breed, make_dog
from tests.forecast_checks import make_check
from tests.web.breeder.conftest import Cast


def pair(client: Client, one: Dog, other: Dog, *, query: str = "", status: int = 200) -> str:
    response = client.get(f"/dogs/{one.public_id}/mates/{other.public_id}/{query}")
    assert response.status_code == status
    return unescape(response.content.decode())


def side_by_side(client: Client, dog: Dog, *mates: Dog, query: str = "", status: int = 200) -> str:
    chosen = "&".join(f"mate={mate.public_id}" for mate in mates)
    response = client.get(f"/dogs/{dog.public_id}/pairs/?trait=hip-laxity&{chosen}{query}")
    assert response.status_code == status
    return unescape(response.content.decode())


class TestTheForecast:
    def test_the_sentence_comes_first_then_the_fifty_circles(
        self, client: Client, cast: Cast
    ) -> None:
        html = pair(client, cast.juno, cast.otto)

        # Mean 0.40, variance ¼(0.0030 + 0.0023) + 0.0030 + 0.0010 + 0.0050 = 0.0103; the breed's
        # middle, 0.44, lies 0.394 standard deviations above: 65.3 of 100 below it.
        sentence = (
            "Of 100 puppies from this pair, about 65 are expected tighter than the breed's middle "
            "dog today."
        )
        assert 0 < html.index(f'<p class="lead">{sentence}') < html.index("<svg xmlns")
        first_chart = html.split("<svg xmlns")[1].split("</svg>")[0]
        heaps = re.findall(r'<g class="heap-(?:better|worse)".*?</g>', first_chart)
        assert sum(each.count("<circle cx") for each in heaps) >= 50

    def test_it_tells_both_measured_traits_and_the_asked_one_first(
        self, client: Client, cast: Cast
    ) -> None:
        html = pair(client, cast.juno, cast.otto, query="?trait=norberg-angle")

        assert 0 < html.index('id="norberg-angle"') < html.index('id="hip-laxity"')
        assert html.count("<svg xmlns") == 2

    def test_it_tells_how_sure_it_is_and_of_what_it_is_made(
        self, client: Client, cast: Cast
    ) -> None:
        html = pair(client, cast.juno, cast.otto)

        assert "About 80 of 100 are expected between 0." in html
        assert "What these parents hand on is fairly well known." in html
        assert (
            '<th scope="row">Breeding value of Mosedale Otto</th><td class="n">-0.09</td>' in html
        )
        assert '<th scope="row">Heritability</th><td class="n">0.50 ± 0.08</td>' in html

    def test_the_puppies_of_the_table_are_a_hundred(self, client: Client, cast: Cast) -> None:
        html = pair(client, cast.juno, cast.otto)

        table = html.split("Of 100 puppies by value:")[1].split("</table>")[0]
        assert sum(int(each) for each in re.findall(r'<td class="n">(\d+)</td>', table)) == 100

    def test_it_tells_how_closely_they_are_related(self, client: Client, cast: Cast) -> None:
        html = pair(client, cast.juno, cast.half)

        assert "The puppies' expected inbreeding is 12.5 of 100." in html
        assert "as much as from a half brother and a half sister" in html

    def test_it_tells_both_parents_own_results(self, client: Client, cast: Cast) -> None:
        html = pair(client, cast.juno, cast.rook)

        assert "Hip laxity 0.45" in html
        assert "mean of both sides" not in html
        assert "not tested or not released" in html

    def test_it_says_from_which_run_and_the_cautions(self, client: Client, cast: Cast) -> None:
        make_accepted(cast.club, cast.rook)

        html = pair(client, cast.juno, cast.otto)

        assert "breeding run 1 of " in html
        assert "1 result or entry came in since. The next run includes it." in html
        assert "This is a forecast and not a promise." in html
        assert "percentile" not in html.lower()

    def test_it_is_the_same_from_both_sides(self, client: Client, cast: Cast) -> None:
        his, hers = pair(client, cast.otto, cast.juno), pair(client, cast.juno, cast.otto)

        assert his.split('<p class="lead">')[1] == hers.split('<p class="lead">')[1]


class TestWhatIsWithheld:
    def test_no_forecast_is_made_with_a_private_result(self, client: Client, cast: Cast) -> None:
        make_accepted(cast.club, cast.rook, left="0.71", right="0.77", consent_to_publish=False)

        html = pair(client, cast.juno, cast.rook)

        assert "The owner has not released the result." in html
        assert "0.7" not in html
        # The other trait was not looked at, so it may be told; so may the kinship.
        assert html.count("<svg xmlns") == 1
        assert "The puppies' expected inbreeding is 0 of 100." in html

    def test_side_by_side_neither(self, client: Client, cast: Cast) -> None:
        make_accepted(cast.club, cast.rook, left="0.71", right="0.77", consent_to_publish=False)

        html = side_by_side(client, cast.juno, cast.rook, cast.otto)

        assert html.count("<svg xmlns") == 1
        assert "0.7" not in re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL)


class TestWhatSpeaksAgainstAPair:
    def test_close_kin(self, client: Client, cast: Cast) -> None:
        sire = cast.juno.sire
        assert sire is not None

        assert "are parent and offspring." in pair(client, cast.juno, sire)
        assert "share a parent." in pair(client, cast.juno, cast.half)
        assert "Close relatives" not in pair(client, cast.juno, cast.otto)

    def test_a_sire_that_is_dead_or_may_be(self, client: Client, club: Club) -> None:
        juno = make_dog(club)
        dead = make_dog(club, sex="M", name="Old Ash", died_on=date(2025, 2, 1))
        old = make_dog(club, sex="M", born_on=date(2008, 2, 1))
        make_run(club.breed)

        html = pair(client, juno, dead)

        assert "Old Ash died on 1 February 2025. A litter needs stored semen." in html
        assert "are expected" in html
        assert "born more than 15 years ago" in pair(client, juno, old)

    def test_a_young_and_an_old_dog(self, client: Client, club: Club) -> None:
        pup = make_dog(club, name="Tiny", born_on=date(2026, 8, 1))
        old = make_dog(club, sex="M", name="Grandsire", born_on=date(2014, 2, 1))
        make_run(club.breed)

        html = pair(client, pup, old)

        assert "Tiny is younger than 18 months." in html
        assert "Grandsire may be too old for breeding." in html


class TestAWrongPair:
    def test_the_same_dog(self, client: Client, cast: Cast) -> None:
        html = pair(client, cast.juno, cast.juno, status=422)

        assert "This is the same dog twice" in html

    def test_the_same_sex(self, client: Client, cast: Cast) -> None:
        html = pair(client, cast.juno, cast.wren, status=422)

        assert "Both dogs have the same sex" in html
        assert "<svg xmlns" not in html

    def test_another_breed(self, client: Client, cast: Cast) -> None:
        stranger = make_dog(replace(cast.club, breed=make_breed()), sex="M")

        assert "The dogs are of two breeds" in pair(client, cast.juno, stranger, status=422)

    def test_a_dead_dam(self, client: Client, cast: Cast) -> None:
        dead = make_dog(cast.club, name="Mosedale Ivy", died_on=date(2025, 2, 1))

        html = pair(client, cast.otto, dead, status=422)

        assert "Mosedale Ivy has died, so there will be no more litters." in html

    def test_a_dog_that_came_after_the_run_is_no_fault_of_the_reader(
        self, client: Client, cast: Cast
    ) -> None:
        late = make_dog(cast.club, sex="M", name="Late Comer")

        assert "Late Comer came into the register after" in pair(client, cast.juno, late)

    def test_a_merged_dog_is_the_one_it_was_merged_into(self, client: Client, cast: Cast) -> None:
        DogAlias.objects.create(dog=cast.otto, public_id="oldentryofotto00")

        html = client.get(f"/dogs/{cast.juno.public_id}/mates/oldentryofotto00/").content.decode()

        assert "Tarnfold Juno and Mosedale Otto" in html


class TestSideBySide:
    def test_two_to_four_pairs_stand_on_one_scale(self, client: Client, cast: Cast) -> None:
        html = side_by_side(client, cast.juno, cast.otto, cast.rook, cast.half)

        assert html.count('<section aria-labelledby="pair-') == 3
        axes = re.findall(r'<g class="axis" text-anchor="middle".*?</g>', html)
        assert len(axes) == 3
        assert len(set(axes)) == 1
        assert 'class="pairs of-3"' in html

    def test_they_keep_the_order_in_which_they_were_chosen(
        self, client: Client, cast: Cast
    ) -> None:
        html = side_by_side(client, cast.juno, cast.rook, cast.otto)

        assert 0 < html.index(">Brackenhow Rook</a>") < html.index(">Mosedale Otto</a>")

    def test_litters_too_close_to_tell_apart_are_said_so(self, client: Client, cast: Cast) -> None:
        html = side_by_side(client, cast.juno, cast.rook, cast.half)

        assert "These litters are too close to tell apart." in html

    def test_litters_that_can_be_told_apart_are_not(self, client: Client, cast: Cast) -> None:
        html = side_by_side(client, cast.juno, cast.otto, cast.half)

        assert "too close" not in html.split('class="pairs')[0]

    def test_five_are_too_many_and_can_be_unticked(self, client: Client, cast: Cast) -> None:
        more = [make_dog(cast.club, sex="M", name=f"Male {at}") for at in range(3)]

        html = side_by_side(
            client, cast.juno, cast.otto, cast.rook, *more, query="&inbreeding=25", status=422
        )

        assert "You ticked 5 mates. Untick some, so that four or fewer are left." in html
        assert html.count('type="checkbox"') == 5
        assert html.count(" checked>") == 4
        assert '<input type="hidden" name="inbreeding" value="25">' in html
        assert "<title>Error: " in html

    def test_none_is_said_with_a_way_back_to_the_list(self, client: Client, cast: Cast) -> None:
        html = side_by_side(client, cast.juno, query="inbreeding=25", status=422)

        assert "Tick one to four mates in the list first." in html
        assert f"/dogs/{cast.juno.public_id}/mates/?trait=hip-laxity&inbreeding=25" in html

    def test_a_wrong_one_among_them_says_so_in_its_column(self, client: Client, cast: Cast) -> None:
        html = side_by_side(client, cast.juno, cast.otto, cast.wren)

        assert "Both dogs have the same sex" in html
        assert html.count("<svg xmlns") == 1

    @pytest.mark.parametrize("mate", ["nosuchdog", "\x00", "a" * 300])
    def test_an_unknown_one_is_left_out(self, client: Client, cast: Cast, mate: str) -> None:
        path = f"/dogs/{cast.juno.public_id}/pairs/"

        response = client.get(path, {"mate": [cast.otto.public_id, mate]})

        assert response.content.decode().count('<section aria-labelledby="pair-') == 1

    def test_before_the_first_run_each_says_so(self, client: Client, club: Club) -> None:
        juno, otto = make_dog(club), make_dog(club, sex="M")

        assert "There is no breeding run yet" in side_by_side(client, juno, otto)


class TestEarlierForecasts:
    RANGE = "So far, 73 of 100 of this breed's tested puppies came out inside such a range, not 80."
    SLOPE = "So far, this breed's litters differed less than was forecast."

    def test_what_did_not_turn_out_as_said_stands_by_that_trait_alone(
        self, client: Client, cast: Cast
    ) -> None:
        make_check(cast.run)

        html = pair(client, cast.juno, cast.otto)

        laxity, angle = html.split('id="hip-laxity"')[1].split('id="norberg-angle"')
        assert f"{self.RANGE} Old forecasts" in laxity
        assert self.SLOPE in laxity
        assert "So far" not in angle

    @pytest.mark.parametrize("found", [None, {}])
    def test_what_did_or_is_not_known_is_not_told(
        self, client: Client, cast: Cast, found: dict[str, object] | None
    ) -> None:
        if found is None:
            make_check(cast.run, inside=[0.79, 0.74, 0.84], slope=[0.9, 0.6, 1.2])
        else:
            make_check(cast.run, found=found)

        assert "So far" not in pair(client, cast.juno, cast.otto)

    def test_nothing_is_said_where_there_is_no_forecast(self, client: Client, cast: Cast) -> None:
        make_check(cast.run)
        make_accepted(cast.club, cast.rook, consent_to_publish=False)

        assert "So far" not in pair(client, cast.juno, cast.rook)


def test_where_few_puppies_were_tested_pair_and_list_say_so(client: Client, cast: Cast) -> None:
    this_year = timezone.localdate().year
    mates = f"/dogs/{cast.juno.public_id}/mates/"
    pages = (mates, f"{mates}{cast.otto.public_id}/")
    assert not any("were tested." in client.get(page).content.decode() for page in pages)
    for _ in range(20):
        make_dog(
            cast.club,
            born_on=date(this_year - 2, 3, 4),
            sire=cast.otto.public_id,
            dam=cast.wren.public_id,
        )

    for page in pages:
        html = client.get(page).content.decode()
        assert (
            f"Of 100 puppies born {this_year - 5} to {this_year - 1}, none were tested. If owners"
            " kept back the worse ones, puppies turn out worse than forecast." in html
        )
