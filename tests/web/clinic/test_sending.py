"""The last look, sending once and twice, and the page that says what happens next."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from django.test import Client

from registry.models import Draft, Evaluation, State
from registry.science.numbers import format_number
from tests import factories
from tests.factories import Club
from tests.web.clinic.desk import (
    EXAMINATION,
    MEASUREMENTS,
    OWNER,
    at,
    fill,
    film,
    keep,
    text_of,
)


def test_every_answer_is_shown_and_what_is_missing_says_so(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)
    nurse.post(at("files", draft), {"file": film()})
    keep(nurse, draft, "owner", full_name="Olga Reedmoor", consent="no")

    shown = text_of(nurse.get(at("check", draft)))

    for words in (
        "Tarnfold Juno",
        "276 090 000 123 456",
        "2 October 2026",
        "3 years, 8 months old",
        "Dr. Vera Oakhollow",
        "By sedation",
        "Hip laxity, left 0.31",
        "Hip laxity, right 0.35",
        "Olga Reedmoor",
        "Mail address Not provided",
        "Owner agrees to publish no",
        "hips.png",
    ):
        assert words in shown


def test_what_sending_means_stands_above_the_button(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)

    shown = text_of(nurse.get(at("check", draft)))

    meaning = shown.index("Once it is accepted you cannot change it any more.")
    assert meaning < shown.index("Send result to the club")


def test_a_changed_answer_leads_straight_back_to_the_last_look(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)
    page = nurse.get(at("check", draft)).content.decode()
    assert f"{at('owner', draft)}?from=check#id_full_name" in page

    response = keep(nurse, draft, "owner", "?from=check", **{**OWNER, "full_name": "Ola Moor"})

    assert response.headers["Location"] == at("check", draft)
    assert "Ola Moor" in text_of(nurse.get(at("check", draft)))


def test_the_change_links_say_what_they_change(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)

    assert "Change veterinarian" in text_of(nurse.get(at("check", draft)))


def test_a_draft_that_is_not_finished_cannot_be_sent(nurse: Client, draft: Draft) -> None:
    assert "Send result to the club" not in text_of(nurse.get(at("check", draft)))

    response = nurse.post(at("check", draft))

    assert response.status_code == 422
    assert "There is a problem" in text_of(response)
    assert not Evaluation.objects.exists()


def test_sending_gives_a_reference_and_says_what_happens_next_and_when(
    nurse: Client, draft: Draft, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(nurse, draft)
    # A Wednesday: four to six working days later are a Tuesday and a Thursday.
    sent_at = datetime(2036, 10, 8, 9, 0, tzinfo=UTC)
    monkeypatch.setattr("registry.clock.now", lambda: sent_at)

    response = nurse.post(at("check", draft), follow=True)

    evaluation = Evaluation.objects.get()
    shown = text_of(response)
    assert evaluation.state == State.SUBMITTED
    assert format_number(evaluation.reference) in shown
    assert "between 14 October 2036 and 16 October 2036" in shown
    assert "Next dog" in shown


def test_the_confirmation_survives_a_reload(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)
    address = nurse.post(at("check", draft)).headers["Location"]

    first, second = nurse.get(address), nurse.get(address)

    assert text_of(first) == text_of(second)


def test_sent_twice_it_is_one_result_with_one_reference(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)

    first = nurse.post(at("check", draft))
    second = nurse.post(at("check", draft))

    assert first.headers["Location"] == second.headers["Location"]
    assert Evaluation.objects.count() == 1


def test_going_back_after_sending_leads_to_the_result(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)
    nurse.post(at("check", draft))
    evaluation = Evaluation.objects.get()

    for page in ("draft", "examination", "measurements", "owner", "files", "check", "discard"):
        response = nurse.get(at(page, draft))
        assert response.headers["Location"] == f"/clinic/results/{evaluation.public_id}/"
    for page in ("owner", "files"):
        late = nurse.post(at(page, draft), OWNER, follow=True)
        assert "what you filled in now is not part of it" in text_of(late)
    late = nurse.post(at("owner", draft), OWNER)
    assert late.headers["Location"] == f"/clinic/results/{evaluation.public_id}/"


def test_what_is_unusual_is_named_before_sending(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)
    boxes = {"hip-laxity-left-value": "0.20", "hip-laxity-right-value": "0.90"}
    keep(nurse, draft, "measurements", **boxes)

    shown = text_of(nurse.get(at("check", draft)))

    assert "The registrar will look at this" in shown
    assert "left 0.20 and right 0.90 differ" in shown


def test_a_known_dog_needs_at_most_six_pages(club: Club, nurse: Client) -> None:
    """Each address that is shown until the result is sent."""
    dog = factories.make_dog(club)
    begun = nurse.post("/clinic/results/new/start/", {"dog": dog.public_id})
    draft = Draft.objects.get()
    visited = ["/clinic/results/new/", begun.headers["Location"]]
    for section in ("examination", "measurements", "owner", "files"):
        assert visited[-1] == at(section, draft)
        visited.append(_answer(nurse, draft, section).headers["Location"])

    assert visited[-1] == at("check", draft)
    assert len(visited) == 6


def _answer(nurse: Client, draft: Draft, section: str) -> Any:
    if section == "files":
        return nurse.post(at("files", draft), {"file": film(), "go-on": "yes"})
    boxes = {"examination": EXAMINATION, "measurements": MEASUREMENTS, "owner": OWNER}
    return keep(nurse, draft, section, **boxes[section])
