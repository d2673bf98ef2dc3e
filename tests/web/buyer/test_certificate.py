"""The certificate's page: six verdicts, their order and prominence, what it weighs and asks."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from registry.desk import consent
from registry.desk.actor import Actor
from registry.models import Certificate
from registry.science.numbers import ALPHABET, parse_number
from registry.wording.cautions import cautions
from tests import factories
from tests.factories import Club, make_revoked


def _page(client: Client, number: str, status: int = 200, **query: str) -> str:
    response = client.get(f"/C/{number}", query)
    assert response.status_code == status
    return response.content.decode()


def _verdict(html: str) -> str:
    after = html.split('class="verdict', 1)[1].split("</p>", 1)[0]
    return after.split("<span>", 1)[1].split("</span>", 1)[0]


class TestVerdict:
    def test_it_is_genuine_and_current(self, client: Client, juno: Certificate) -> None:
        html = _page(client, juno.number)

        assert _verdict(html) == "Genuine and current"
        assert "It does not promise the dog or its puppies will stay healthy." in html

    def test_it_is_replaced_and_leads_to_the_newer(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        newer = factories.make_accepted(club, juno.evaluation.dog, examined_on="2026-10-09")

        html = _page(client, juno.number)

        assert _verdict(html) == "Genuine, replaced by a newer result"
        assert f'href="/C/{newer.number}"' in html

    def test_it_is_revoked_with_day_and_reason_and_shows_no_value(
        self, client: Client, club: Club, juno: Certificate, tested: Callable[[int], None]
    ) -> None:
        tested(20)
        make_revoked(club, juno.evaluation.public_id, reason="The film shows another dog.")

        html = _page(client, juno.number)

        assert _verdict(html).startswith("Revoked on ")
        assert "The film shows another dog." in html
        assert "0.35" not in html

    def test_it_is_registered_and_not_released_without_any_value(
        self, client: Client, juno: Certificate, tested: Callable[[int], None]
    ) -> None:
        tested(20)
        consent.change_consent(
            by=Actor.system(),
            evaluation_id=juno.evaluation.public_id,
            publish=False,
        )

        html = _page(client, juno.number)

        assert _verdict(html) == "Exam registered, result not released"
        assert "0.35" not in html
        assert client.get(f"/C/{juno.number}.pdf").status_code == 404

    def test_a_sound_number_that_was_never_issued_is_not_found(
        self, client: Client, club: Club
    ) -> None:
        html = _page(client, "0000000000", status=404)

        assert _verdict(html) == "Not found"
        assert "Check these letters." in html

    def test_a_slip_is_said_to_be_one(self, client: Client, juno: Certificate) -> None:
        last = ALPHABET[(ALPHABET.index(juno.number[-1]) + 1) % len(ALPHABET)]

        html = _page(client, juno.number[:-1] + last, status=404)

        assert "One letter or digit looks wrong" in html

    def test_it_is_for_another_dog_than_the_one_asked_about(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        other = factories.make_dog(club, name="Rookhope Bran")

        html = _page(client, juno.number, dog=other.public_id)

        assert _verdict(html) == "Number is for a different dog"
        assert "You asked about Rookhope Bran." in html


class TestContent:
    def test_its_parts_come_in_the_order_a_buyer_needs(
        self, client: Client, juno: Certificate, tested: Callable[[int], None]
    ) -> None:
        tested(20)

        html = _page(client, juno.number)

        marks = [
            "Genuine and current</span>",
            "Tarnfold Juno</a>",
            'id="which"',
            'class="lead"',
            "<svg xmlns",
            'class="cautions"',
            'id="family"',
            'id="exam"',
            'id="share"',
        ]
        places = [html.index(mark) for mark in marks]
        assert places == sorted(places)

    def test_every_caution_stands_on_it_unfolded(self, client: Client, juno: Certificate) -> None:
        html = _page(client, juno.number)

        part = html.split('class="cautions"')[1].split("</section>")[0]
        assert part.count("<li>") == len(cautions())
        assert "<details" not in part

    def test_few_tested_dogs_are_not_compared(self, client: Client, juno: Certificate) -> None:
        html = _page(client, juno.number)

        assert "No other tested dogs to compare with." in html
        assert "of 100" not in html
        assert 'class="heap"' not in html

    def test_each_side_has_its_heap(
        self, client: Client, juno: Certificate, tested: Callable[[int], None]
    ) -> None:
        tested(20)

        html = _page(client, juno.number)

        assert html.count('class="heap"') == 2
        assert "Left, 0.31" in html
        assert "Right, 0.35 (this side counts)" in html

    def test_the_word_percentile_stands_in_the_details_alone(
        self, client: Client, juno: Certificate, tested: Callable[[int], None]
    ) -> None:
        tested(20)

        html = _page(client, juno.number)

        before, *folded = html.split("<details>")
        outside = before + "".join(part.split("</details>")[1] for part in folded)
        assert "percentile" in html
        assert "percentile" not in outside

    def test_a_litter_mate_without_result_has_a_state_of_its_own(
        self, client: Client, juno: Certificate
    ) -> None:
        html = _page(client, juno.number)

        litter = html.split('id="family"')[1].split("</section>")[0]
        assert "Tarnfold Moss" in litter
        assert litter.count("not tested or not released") == 3

    def test_a_parents_value_is_shown_only_when_released(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        sire = juno.evaluation.dog.sire
        assert sire is not None
        shown = factories.make_accepted(club, sire, left="0.22", right="0.27")
        assert "Hip laxity 0.27" in _page(client, juno.number)

        consent.change_consent(
            by=Actor.system(), evaluation_id=shown.evaluation.public_id, publish=False
        )

        assert "0.27" not in _page(client, juno.number)

    def test_a_name_cannot_smuggle_markup_in(self, client: Client, club: Club) -> None:
        dog = factories.make_dog(club, name='<b onclick="x">Bran</b>', call_name="<i>B</i>")
        for step in range(20):
            factories.make_accepted(club, left=f"0.{30 + step}", right="0.40")
        certificate = factories.make_accepted(club, dog)

        html = _page(client, certificate.number)

        assert "<b onclick" not in html
        assert "<i>B" not in html

    def test_the_address_stands_in_words(
        self, client: Client, juno: Certificate, settings: Any
    ) -> None:
        settings.SITE_URL = "https://register.example"

        html = _page(client, juno.number)

        assert "must read <strong>register.example</strong>" in html


class TestManners:
    def test_it_sets_no_cookie_and_asks_to_be_checked_each_time(
        self, client: Client, juno: Certificate
    ) -> None:
        response = client.get(f"/C/{juno.number}")

        assert not response.cookies
        assert response["Cache-Control"] == "no-cache"
        assert "Cookie" not in response.get("Vary", "")

    def test_an_unchanged_page_is_not_sent_again(self, client: Client, juno: Certificate) -> None:
        etag = client.get(f"/C/{juno.number}")["ETag"]

        again = client.get(f"/C/{juno.number}", headers={"if-none-match": etag})

        assert again.status_code == 304

    def test_a_revoked_page_is_sent_again(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        etag = client.get(f"/C/{juno.number}")["ETag"]
        make_revoked(club, juno.evaluation.public_id, reason="wrong dog")

        again = client.get(f"/C/{juno.number}", headers={"if-none-match": etag})

        assert again.status_code == 200

    def test_it_asks_at_most_six_times(
        self,
        client: Client,
        juno: Certificate,
        tested: Callable[[int], None],
        django_assert_max_num_queries: Any,
    ) -> None:
        tested(20)

        with django_assert_max_num_queries(6):
            client.get(f"/C/{juno.number}")

    def test_it_weighs_little(
        self, client: Client, juno: Certificate, tested: Callable[[int], None]
    ) -> None:
        tested(30)

        html = _page(client, juno.number)

        assert len(gzip.compress(html.encode())) <= 14 * 1024
        assert "<script" not in html
        assert " style=" not in html

    @pytest.mark.parametrize("spelling", ["small", "dashed", "slash"])
    def test_other_spellings_lead_to_it(
        self, client: Client, juno: Certificate, spelling: str
    ) -> None:
        number = juno.number
        path = {
            "small": f"/c/{number.lower()}",
            "dashed": f"/C/{number[:3]}-{number[3:7]}-{number[7:]}",
            "slash": f"/C/{number}/",
        }[spelling]

        response = client.get(path, follow=True)

        assert response.status_code == 200
        assert response.request["PATH_INFO"] == f"/C/{parse_number(number)}"

    def test_its_sheet_is_the_same_bytes_each_time(
        self, client: Client, juno: Certificate, settings: Any, tmp_path: Any
    ) -> None:
        settings.VAR_DIR = tmp_path / "one"
        first = client.get(f"/C/{juno.number}.pdf").content
        settings.VAR_DIR = tmp_path / "two"

        second = client.get(f"/C/{juno.number}.pdf").content

        assert first.startswith(b"%PDF")
        assert first == second
