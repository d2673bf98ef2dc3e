"""The owner's private link: what it shows, who decides, and that it keeps to itself."""

from __future__ import annotations

import pytest
from django.test import Client

from registry.desk.mail import owner_token
from registry.models import Certificate, Evaluation, LedgerEntry
from tests import factories
from tests.factories import Club, make_revoked


@pytest.fixture
def withheld(club: Club) -> Certificate:
    return factories.make_accepted(club, consent_to_publish=False, left="0.31", right="0.35")


def _path(evaluation: Evaluation) -> str:
    return f"/owner/{owner_token(evaluation)}/"


def test_it_shows_the_result_that_is_not_released(client: Client, withheld: Certificate) -> None:
    html = client.get(_path(withheld.evaluation)).content.decode()

    assert "Left 0.31, right 0.35" in html
    assert "Only you, the clinic and the club may see it." in html


def test_the_owner_gives_consent_and_takes_it_back(client: Client, withheld: Certificate) -> None:
    path = _path(withheld.evaluation)

    client.post(path, {"publish": "yes"})
    shown = client.get(f"/C/{withheld.number}").content.decode()
    client.post(path, {"publish": "no"})
    hidden = client.get(f"/C/{withheld.number}").content.decode()

    assert "Genuine and current" in shown
    assert "result not released" in hidden
    assert LedgerEntry.objects.filter(action="evaluation.consent").count() == 2


def test_any_other_answer_changes_nothing(client: Client, withheld: Certificate) -> None:
    client.post(_path(withheld.evaluation), {"publish": "maybe"})

    withheld.evaluation.refresh_from_db()
    assert withheld.evaluation.consent_to_publish is False


def test_a_token_that_was_changed_is_like_none(client: Client, withheld: Certificate) -> None:
    token = owner_token(withheld.evaluation)

    response = client.get(f"/owner/{token[:-1]}{'A' if token[-1] != 'A' else 'B'}/")

    assert response.status_code == 404


def test_a_link_cut_short_says_what_to_do(client: Client, withheld: Certificate) -> None:
    answer = client.get(f"/owner/{owner_token(withheld.evaluation)[:-4]}/")

    told = answer.content.decode()
    assert answer.status_code == 404
    assert "A part of it may be missing." in told
    assert "The club can send it to you again." in told


def test_it_keeps_its_address_to_itself(client: Client, withheld: Certificate) -> None:
    response = client.get(_path(withheld.evaluation))

    assert response["Referrer-Policy"] == "no-referrer"
    assert response["Cache-Control"] == "private, no-store"
    assert "noindex" in response["X-Robots-Tag"]
    assert not response.cookies


def test_the_owner_has_the_sheet(client: Client, withheld: Certificate) -> None:
    response = client.get(_path(withheld.evaluation) + "certificate.pdf")

    assert response.content.startswith(b"%PDF")
    assert response["Referrer-Policy"] == "no-referrer"


def test_a_result_that_waits_has_nothing_to_decide(client: Client, club: Club) -> None:
    evaluation = factories.make_submitted(club)

    html = client.get(_path(evaluation)).content.decode()

    assert "The club is looking at it" in html
    assert "<form" not in html


def test_a_revoked_result_shows_no_value(client: Client, club: Club, withheld: Certificate) -> None:
    make_revoked(club, withheld.evaluation.public_id, reason="wrong dog")

    html = client.get(_path(withheld.evaluation)).content.decode()

    assert "Taken back by the club" in html
    assert "0.35" not in html


def test_no_owners_name_is_on_any_public_page(client: Client, club: Club) -> None:
    certificate = factories.make_accepted(club)
    dog = certificate.evaluation.dog

    pages = [
        client.get(path).content.decode()
        for path in (f"/C/{certificate.number}", f"/dogs/{dog.public_id}/")
    ]

    assert certificate.evaluation.owner is not None
    assert all("Reedmoor" not in page and "Oakhollow" not in page for page in pages)


def test_the_ledger_says_who_decided_without_a_name(client: Client, withheld: Certificate) -> None:
    client.post(_path(withheld.evaluation), {"publish": "yes"})

    entry = LedgerEntry.objects.get(action="evaluation.consent")
    assert "Reedmoor" not in entry.body
