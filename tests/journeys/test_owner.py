"""An owner with nothing but the link from the mail: reads the result, then lets all read it."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from registry.desk.mail import owner_token
from tests import factories
from tests.factories import Club
from tests.journeys.club import make_strangers
from tests.journeys.conftest import Look, look_in_both_lights

pytestmark = pytest.mark.django_db(transaction=True)


def test_the_owner_reads_an_unreleased_result_and_releases_it(
    phone: Page, look: Look, live_server: Any, club: Club
) -> None:
    make_strangers(club)
    dog = factories.make_dog(club, name="Tarnfold Juno", call_name="Juno")
    certificate = factories.make_accepted(
        club, dog, left="0.31", right="0.35", consent_to_publish=False
    )
    public = f"{live_server.url}/C/{certificate.number}"
    phone.goto(public)
    assert phone.get_by_text("Exam registered, result not released").is_visible()
    assert phone.get_by_text("0.35").count() == 0

    phone.goto(f"{live_server.url}/owner/{owner_token(certificate.evaluation)}/")
    assert phone.get_by_text("Right, 0.35").first.is_visible()
    look_in_both_lights(phone, look)
    phone.get_by_role("button", name="Show this result to everyone").click()
    phone.get_by_text("Everyone may see it.").wait_for()
    look(phone)

    phone.goto(public)
    assert phone.get_by_text("Genuine and current").is_visible()
    assert phone.get_by_text("Right, 0.35").first.is_visible()
    assert phone.get_by_text("Reedmoor").count() == 0
    assert phone.context.cookies() == []
