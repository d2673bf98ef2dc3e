"""A registrar with nothing but a keyboard: approves, returns, approves together, revokes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page

from registry.models import Certificate, Evaluation, State
from tests import factories
from tests.browser import DESK, OpenPage
from tests.factories import Club, Person
from tests.journeys.conftest import Look, look_in_both_lights
from tests.keyboard import Keyboard

pytestmark = pytest.mark.django_db(transaction=True)

SignIn = Callable[[Page, Person], None]


def make_waiting(club: Club, *names: str) -> list[Evaluation]:
    """Results that wait, the first sent first."""
    return [factories.make_submitted(club, factories.make_dog(club, name=name)) for name in names]


def state_of(evaluation: Evaluation) -> str:
    return str(Evaluation.objects.get(pk=evaluation.pk).state)


def test_a_queue_is_worked_through_by_keyboard(
    page: Page, look: Look, sign_in: SignIn, club: Club
) -> None:
    first, second, third, fourth = make_waiting(
        club, "Tarnfold Ada", "Tarnfold Birk", "Tarnfold Clover", "Tarnfold Dart"
    )
    keys = Keyboard(page)
    sign_in(page, club.registrar)
    look(page)

    # Open the oldest and approve it: two keys and two Enters.
    keys.press("j")
    keys.enter(f"**/results/{first.public_id}/")
    look(page)
    keys.press("a")
    assert state_of(first) == State.SUBMITTED
    keys.enter(f"**/results/{second.public_id}/")
    assert state_of(first) == State.ACCEPTED
    number = Certificate.objects.get().number
    assert page.get_by_text(f"The certificate has the number {number}").is_visible()
    assert page.get_by_role("heading", level=1).inner_text() == "Tarnfold Birk"

    # Return the next with a reason and a marked field.
    keys.press("r")
    page.keyboard.type("Measure the right side again.")
    keys.to("input[type=checkbox][value='/readings/1']")
    keys.press("Space")
    keys.to("button")
    keys.enter(f"**/results/{third.public_id}/")
    second.refresh_from_db()
    assert second.state == State.RETURNED
    assert second.reason == "Measure the right side again."
    assert second.fields_to_fix == ["/readings/1"]

    # Approve the other two together, after one more look at them.
    keys.to(".back")
    keys.enter("**/registrar/")
    keys.press("j", "x", "j", "x")
    keys.to(".actions button")
    keys.enter("**/approve/")
    assert page.get_by_role("heading", level=1).inner_text() == "Approve these results?"
    assert state_of(third) == state_of(fourth) == State.SUBMITTED
    look(page)
    keys.to("main form button")
    keys.enter("**/approve/done/")
    assert page.get_by_text("2 approved, 0 left in the queue.").is_visible()
    look(page)
    assert state_of(third) == state_of(fourth) == State.ACCEPTED


def test_the_second_of_two_registrars_is_told_who_was_first(
    page: Page, open_page: OpenPage, sign_in: SignIn, live_server: Any, club: Club
) -> None:
    (waiting,) = make_waiting(club, "Tarnfold Ada")
    there = f"{live_server.url}/registrar/results/{waiting.public_id}/"
    with open_page(viewport=DESK, refusals=[409]) as other:
        for each, person in ((page, club.registrar), (other, club.second_registrar)):
            sign_in(each, person)
            each.goto(there)

        Keyboard(page).press("a")
        Keyboard(page).enter("**/registrar/")
        Keyboard(other).press("a")
        Keyboard(other).enter("**/approve/")

        told = other.get_by_text(club.registrar.user.full_name)
        assert told.first.is_visible()
        assert other.get_by_text("Not done").is_visible()
    assert Certificate.objects.count() == 1


def test_two_registrars_revoke_and_it_says_so_to_everybody_at_once(
    page: Page, look: Look, sign_in: SignIn, live_server: Any, club: Club
) -> None:
    certificate = factories.make_accepted(club, factories.make_dog(club, name="Tarnfold Ada"))
    keys = Keyboard(page)
    sign_in(page, club.registrar)
    page.goto(f"{live_server.url}/registrar/results/{certificate.evaluation.public_id}/")

    keys.to("a[href$='/revoke/']")
    keys.enter("**/revoke/")
    look(page)
    keys.fill("textarea", "The film shows another dog.")
    keys.to("main form button")
    keys.enter(f"**/results/{certificate.evaluation.public_id}/")
    assert page.get_by_text("Another registrar has to confirm it.").first.is_visible()
    look(page)

    page.context.clear_cookies()
    sign_in(page, club.second_registrar)
    page.goto(f"{live_server.url}/registrar/")
    look(page)
    keys.to("a[href$='/revoke/']")
    keys.enter("**/revoke/")
    assert page.locator("textarea").input_value() == "The film shows another dog."
    keys.to("main form button")
    keys.enter(f"**/results/{certificate.evaluation.public_id}/")
    page.goto(f"{live_server.url}/C/{certificate.number}")

    assert page.locator(".verdict").inner_text().strip().startswith("Revoked on ")
    assert page.get_by_text("The film shows another dog.").first.is_visible()


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_axe_finds_nothing_on_any_kind_of_registrars_page(
    open_page: OpenPage, look: Look, sign_in: SignIn, live_server: Any, club: Club, width: int
) -> None:
    certificate = factories.make_accepted(club, factories.make_dog(club, name="Tarnfold Ada"))
    accepted = f"results/{certificate.evaluation.public_id}/"
    odd, plain = (
        factories.make_submitted(club, left="0.20", right="0.90"),
        factories.make_submitted(club, factories.make_dog(club, by=club.nurse.actor)),
    )
    dog = f"dogs/{plain.dog.public_id}/"
    paths = ["", "?flag=any&state=accepted", f"results/{odd.public_id}/", accepted]
    paths += [f"results/{plain.public_id}/", f"{accepted}revoke/", f"{accepted}replace/"]
    with open_page(viewport={"width": width, "height": 800}) as page:
        sign_in(page, club.registrar)
        for path in [*paths, dog, f"{dog}correct/"]:
            page.goto(f"{live_server.url}/registrar/{path}")
            look_in_both_lights(page, look)
