"""A certificate held against a dog or a chip: no answer tells more of a chip than the last six
digits that every page shows, and none hides that a certificate was taken back."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from registry.desk import consent
from registry.desk.actor import Actor
from registry.models import Certificate
from registry.web.buyer import budget, views
from registry.web.buyer.budget import Budget
from tests.factories import Club, make_accepted, make_dog, make_revoked


def chip_of(certificate: Certificate) -> str:
    assert certificate.evaluation.dog.chip
    return certificate.evaluation.dog.chip


def verdict(html: str) -> str:
    after = html.split('class="verdict', 1)[1].split("</p>", 1)[0]
    return after.split("<span>", 1)[1].split("</span>", 1)[0]


def compare(client: Client, certificate: Certificate, typed: str, status: int = 200) -> str:
    response = client.post(f"/C/{certificate.number}", {"chip": typed})
    assert response.status_code == status
    return response.content.decode()


def other_digit(digit: str) -> str:
    return str((int(digit) + 1) % 10)


class TestAChip:
    @pytest.mark.parametrize("digits", [6, 15])
    def test_it_matches(self, client: Client, juno: Certificate, digits: int) -> None:
        html = compare(client, juno, chip_of(juno)[-digits:])

        assert verdict(html) == "Genuine and current"
        assert "<strong>It matches</strong>" in html
        assert "You typed" in html

    @pytest.mark.parametrize("digits", [6, 15])
    def test_it_does_not_match(self, client: Client, juno: Certificate, digits: int) -> None:
        chip = chip_of(juno)

        html = compare(client, juno, (chip[:-1] + other_digit(chip[-1]))[-digits:])

        assert verdict(html) == "Number is for a different dog"
        assert "<strong>It does not match</strong>" in html
        assert f"This chip ends in {chip[-6:]}." in html

    def test_one_of_the_digits_that_no_page_shows_is_as_wrong(
        self, client: Client, juno: Certificate
    ) -> None:
        chip = chip_of(juno)

        html = compare(client, juno, chip[:8] + other_digit(chip[8]) + chip[9:])

        assert verdict(html) == "Number is for a different dog"
        assert "as this chip does. The others differ." in html

    def test_spaces_and_words_of_a_reader_do_not_matter(
        self, client: Client, juno: Certificate
    ) -> None:
        chip = chip_of(juno)

        assert "It matches" in compare(client, juno, f"Chip {chip[:3]} {chip[3:9]} {chip[9:]}")

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ("", "Enter the 15 digits"),
            ("8", "You typed 1."),
            ("12345", "You typed 5."),
            ("1234567", "You typed 7."),
            ("12345678901234", "You typed 14."),
            ("1234567890123456", "You typed 16."),
            ("12345X", "This has “X” in it."),
            ("9E+14", "A spreadsheet has rounded"),
        ],
    )
    def test_anything_else_is_a_mistake_at_the_field(
        self, client: Client, juno: Certificate, typed: str, said: str
    ) -> None:
        html = compare(client, juno, typed, status=422)

        assert said in html.split('id="chip-error"')[1].split("</span> ")[1].split("</span>")[0]
        assert 'aria-invalid="true"' in html
        assert f'value="{typed}"' in html
        assert verdict(html) == "Genuine and current"
        assert "It matches" not in html

    def test_an_address_tells_nothing(self, client: Client, juno: Certificate) -> None:
        plain = client.get(f"/C/{juno.number}").content

        for typed in (chip_of(juno), chip_of(juno)[-6:], chip_of(juno)[-1], "000001"):
            assert client.get(f"/C/{juno.number}", {"chip": typed}).content == plain

    def test_nothing_of_it_is_kept_and_no_cookie_set(
        self, client: Client, juno: Certificate
    ) -> None:
        response = client.post(f"/C/{juno.number}", {"chip": chip_of(juno)})

        assert "no-store" in response.headers["Cache-Control"]
        assert not response.cookies
        assert chip_of(juno) not in response.content.decode()

    def test_a_form_of_another_site_needs_no_token(self, juno: Certificate) -> None:
        strict = Client(enforce_csrf_checks=True)

        assert strict.post(f"/C/{juno.number}", {"chip": "123456"}).status_code == 200

    def test_of_a_number_that_is_not_there_it_leads_to_the_page_that_says_so(
        self, client: Client, club: Club
    ) -> None:
        response = client.post("/C/0000000000", {"chip": "123456"})

        assert response.headers["Location"] == "/C/0000000000"


class TestAnOracle:
    """Whoever asks, by whatever way, learns of the nine hidden digits nothing short of them all."""

    @pytest.mark.parametrize("path", ["/find/", "/breeding/"])
    def test_no_search_answers_to_a_part_but_the_last_six(
        self, client: Client, juno: Certificate, path: str
    ) -> None:
        chip = chip_of(juno)

        found = {
            (start, end)
            for start in range(15)
            for end in range(start + 1, 16)
            if "Tarnfold Juno" in client.get(path, {"q": chip[start:end]}).content.decode()
        }

        # All fifteen lead straight to the dog.
        assert found == {(9, 15)}
        assert client.get(path, {"q": chip}).status_code == 302

    def test_no_comparison_answers_to_another_part(self, client: Client, juno: Certificate) -> None:
        chip = chip_of(juno)
        answers = {
            client.post(f"/C/{juno.number}", {"chip": chip[start:end]}).status_code
            for start in range(15)
            for end in range(start + 1, 16)
            if end - start not in (6, 15)
        }

        assert answers == {422}

    def test_each_comparison_is_counted(
        self, client: Client, juno: Certificate, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(budget, "BUDGET", Budget(3))

        answers = [
            client.post(f"/C/{juno.number}", {"chip": f"00000{digit}"}).status_code
            for digit in range(3)
        ]

        assert answers == [200, 200, 429]
        assert client.get(f"/C/{juno.number}").status_code == 200

    def test_whole_numbers_that_end_alike_are_counted_for_all_networks_together(
        self, juno: Certificate, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(budget, "CHIP_BUDGET", Budget(3))
        end = chip_of(juno)[-6:]

        def ask(number: int) -> list[int]:
            client, chip = Client(REMOTE_ADDR=f"198.51.100.{number}"), f"27609800{number}{end}"
            return [
                client.post(f"/C/{juno.number}", {"chip": chip}).status_code,
                client.get("/find/", {"q": chip}).status_code,
                client.get("/breeding/", {"q": chip}).status_code,
            ]

        assert [*ask(1), *ask(2)] == [200, 200, 429, 429, 429, 429]
        assert Client().post(f"/C/{juno.number}", {"chip": end}).status_code == 200

    def test_asking_drives_no_kept_page_out(self, client: Client, juno: Certificate) -> None:
        views._kept_markup.cache_clear()
        other = juno.evaluation.dog.sire
        assert other is not None

        client.post(f"/C/{juno.number}", {"chip": "123456"})
        client.get(f"/C/{juno.number}", {"dog": other.public_id})

        assert views._kept_markup.cache_info().currsize == 0


@pytest.fixture
def revoked(club: Club, juno: Certificate, tested: Callable[[int], None]) -> Certificate:
    make_revoked(club, juno.evaluation.public_id, reason="The film shows another dog.")
    return juno


class TestNothingHidesARevocation:
    @pytest.mark.parametrize("typed", ["000001", "276098000000001"])
    def test_no_wrong_chip(self, client: Client, revoked: Certificate, typed: str) -> None:
        html = compare(client, revoked, typed)

        assert verdict(html).startswith("Revoked on ")
        assert html.split("<title>")[1].startswith("Revoked on ")
        assert "<strong>It does not match</strong>" in html

    def test_no_wrong_dog(self, client: Client, club: Club, revoked: Certificate) -> None:
        other = make_dog(club, name="Rookhope Bran")

        html = client.get(f"/C/{revoked.number}", {"dog": other.public_id}).content.decode()

        assert verdict(html).startswith("Revoked on ")
        assert "<strong>Number is for a different dog</strong>" in html
        assert "You asked about Rookhope Bran." in html

    def test_no_slip_of_the_keyboard(self, client: Client, revoked: Certificate) -> None:
        assert verdict(compare(client, revoked, "12x", status=422)).startswith("Revoked on ")

    def test_nor_that_a_newer_one_holds(
        self, client: Client, club: Club, juno: Certificate
    ) -> None:
        newer = make_accepted(club, juno.evaluation.dog, examined_on="2026-10-09")

        html = compare(client, juno, "000001")

        assert verdict(html) == "Genuine, replaced by a newer result"
        assert f'href="/C/{newer.number}"' in html

    def test_of_an_unreleased_one_a_wrong_chip_is_said_first(
        self, client: Client, juno: Certificate
    ) -> None:
        consent.change_consent(
            by=Actor.system(), evaluation_id=juno.evaluation.public_id, publish=False
        )

        assert verdict(compare(client, juno, "000001")) == "Number is for a different dog"
