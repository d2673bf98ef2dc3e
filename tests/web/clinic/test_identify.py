"""Finding the dog: every way a chip is typed, what is shown, and that looking up writes nothing."""

from __future__ import annotations

import pytest
from django.test import Client

from registry.models import Dog, Draft, LedgerEntry
from tests import factories
from tests.factories import Club
from tests.web.clinic.desk import signed_in, started, text_of

NEW = "/clinic/results/new/"


@pytest.mark.parametrize(
    "typed",
    [
        "276090000123456",
        "276 090 000 123 456",
        "276.0900.0012.3456",
        "276-09-0000123456",
        "Chip: 276090000123456",
        "\t276090000123456\r\n",
        "２７６０９００００１２３４５６",
    ],
)
def test_a_chip_is_found_however_it_is_typed(nurse: Client, juno: Dog, typed: str) -> None:
    page = nurse.get(NEW, {"chip": typed})

    assert "Is this the dog in front of you?" in text_of(page)
    assert "Tarnfold Juno" in text_of(page)


def test_what_tells_the_dog_from_another_is_shown(nurse: Client, juno: Dog) -> None:
    shown = text_of(nurse.get(NEW, {"chip": juno.chip or ""}))

    for fact in ("female", "15 January 2023", "liver", "Fellgate Otto × Mosedale Wren"):
        assert fact in shown


def test_a_scanners_enter_looks_up_and_writes_nothing(nurse: Client, juno: Dog) -> None:
    entries = LedgerEntry.objects.count()

    for _scan in range(5):
        assert nurse.get(NEW, {"chip": juno.chip or ""}).status_code == 200

    assert not Draft.objects.exists()
    assert LedgerEntry.objects.count() == entries


def test_looking_up_is_never_a_post(nurse: Client, juno: Dog) -> None:
    assert nurse.post(NEW, {"chip": juno.chip or ""}).status_code == 405


def test_confirming_the_dog_begins_a_draft_for_it(nurse: Client, juno: Dog) -> None:
    response = nurse.post(f"{NEW}start/", {"dog": juno.public_id})

    draft = Draft.objects.get()
    assert draft.dog == juno
    assert response.headers["Location"] == f"/clinic/drafts/{draft.public_id}/examination/"


def test_no_draft_begins_for_a_dog_that_is_not_there(nurse: Client, club: Club) -> None:
    assert nurse.post(f"{NEW}start/", {"dog": "nothing\x00"}).status_code == 404
    assert not Draft.objects.exists()


def test_after_a_sign_in_in_between_the_question_comes_again(nurse: Client) -> None:
    assert nurse.get(f"{NEW}start/").headers["Location"] == NEW


@pytest.mark.parametrize("slip", ["276090000123457", "276090000124356"])
def test_a_slip_is_attached_to_no_dog_but_the_near_one_is_offered(
    nurse: Client, juno: Dog, slip: str
) -> None:
    shown = text_of(nurse.get(NEW, {"chip": slip}))

    assert "No dog has the chip" in shown
    assert "Is this the dog in front of you?" not in shown
    assert "Tarnfold Juno" in shown
    assert "Register this dog" in shown


def test_the_near_dog_still_has_to_be_confirmed(nurse: Client, juno: Dog) -> None:
    shown = text_of(nurse.get(NEW, {"dog": juno.public_id}))

    assert "Is this the dog in front of you?" in shown


@pytest.mark.parametrize("typed", ["tarnfold juno", "Juno Tarnfold", "ts 4711"])
def test_a_dog_is_found_by_name_or_studbook_number(nurse: Client, juno: Dog, typed: str) -> None:
    page = nurse.get(NEW, {"chip": typed})

    assert f"?dog={juno.public_id}" in page.content.decode()
    assert "Fellgate Otto × Mosedale Wren" in text_of(page)


def test_nothing_found_says_so_and_how_to_go_on(nurse: Client, juno: Dog) -> None:
    shown = text_of(nurse.get(NEW, {"chip": "Qwxyzz"}))

    assert "0 results for “Qwxyzz”" in shown
    assert "Register a dog the club does not know" in shown


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("27609000012345", "This has 14"),
        ("2760900001234567", "This has 16"),
        ("123090000123456", "No country or manufacturer"),
        ("2.7609E+14", "rounded"),
    ],
)
def test_what_is_no_chip_is_said_with_how_to_fix_it(
    nurse: Client, juno: Dog, typed: str, words: str
) -> None:
    page = nurse.get(NEW, {"chip": typed})

    assert page.status_code == 422
    assert words in text_of(page)
    assert f'value="{typed}"' in page.content.decode()
    assert "<title>Error: " in page.content.decode()


def test_an_unsent_result_for_the_dog_is_pointed_out(club: Club, nurse: Client, juno: Dog) -> None:
    mine = started(club.nurse, juno)
    theirs = started(club.other_nurse, juno)

    shown = nurse.get(NEW, {"chip": juno.chip or ""}).content.decode()

    assert mine.public_id in shown
    assert theirs.public_id not in shown


def test_the_wrong_dog_can_be_exchanged_and_the_answers_stay(
    club: Club, nurse: Client, draft: Draft
) -> None:
    other = factories.make_dog(club, name="Tarnfold Moss")
    draft.answers = {**draft.answers, "examiner": "Dr. Vera Oakhollow"}
    draft.save()

    asked = nurse.get(NEW, {"chip": other.chip or "", "draft": draft.public_id})
    nurse.post(f"{NEW}start/", {"dog": other.public_id, "draft": draft.public_id})

    assert "Is this the dog in front of you?" in text_of(asked)
    draft.refresh_from_db()
    assert draft.dog == other
    assert draft.answers["dog"] == {"id": other.public_id}
    assert draft.answers["examiner"] == "Dr. Vera Oakhollow"


def test_another_clinics_draft_gets_no_dog(club: Club, juno: Dog, draft: Draft) -> None:
    other = signed_in(club.other_nurse)

    assert other.get(NEW, {"draft": draft.public_id}).status_code == 404
    data = {"dog": juno.public_id, "draft": draft.public_id}
    assert other.post(f"{NEW}start/", data).status_code == 404


def test_a_look_up_of_nothing_says_what_to_type(nurse: Client) -> None:
    response = nurse.get(f"{NEW}?chip=")

    assert response.status_code == 422
    assert text_of(response).count("Scan the chip, or type its digits, a studbook") == 2
