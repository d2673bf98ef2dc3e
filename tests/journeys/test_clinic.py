"""A clinic's nurse: scans, confirms the dog, answers, sends; and puts right what comes back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import FilePayload, Page

from registry.desk import decide
from registry.models import Draft, Evaluation, State
from registry.science.numbers import format_number
from tests import factories
from tests.browser import DESK, OpenPage
from tests.factories import Club, Person
from tests.journeys.club import CHIP

pytestmark = pytest.mark.django_db(transaction=True)

FILM: FilePayload = {"name": "hips.png", "mimeType": "image/png", "buffer": b"\x89PNG\r\n\x1a\nx"}


@pytest.mark.parametrize("has_script", [True, False], ids=["script", "no script"])
def test_a_result_is_scanned_sent_returned_put_right_and_sent_again(
    open_page: OpenPage,
    sign_in: Callable[[Page, Person], None],
    live_server: Any,
    club: Club,
    has_script: bool,
) -> None:
    dog = factories.make_dog(club, name="Tarnfold Juno", chip=CHIP)
    with open_page(viewport=DESK, java_script_enabled=has_script) as page:
        sign_in(page, club.nurse)
        page.get_by_role("link", name="New result").first.click()

        # A scanner types fifteen digits and Enter, which only looks up.
        page.get_by_label("Chip number, studbook number or name").focus()
        page.keyboard.type(CHIP, delay=5)
        page.keyboard.press("Enter")
        page.get_by_role("heading", name="Is this the dog in front of you?").wait_for()
        assert not Draft.objects.exists()
        page.get_by_role("button", name="Yes, this is the dog").click()

        _answer(page)
        page.get_by_role("heading", name="Check your answers").wait_for()
        assert page.get_by_text("hips.png").is_visible()
        page.get_by_role("button", name="Send result to the club").click()
        page.get_by_role("heading", name="Sent to the club").wait_for()
        evaluation = Evaluation.objects.get()
        assert (evaluation.dog, evaluation.state) == (dog, State.SUBMITTED)
        assert page.get_by_text(format_number(evaluation.reference)).is_visible()

        decide.return_for_correction(
            by=club.registrar.actor,
            evaluation_id=evaluation.public_id,
            reason="Measure the right side again.",
            fields=["/readings/1"],
        )
        page.goto(f"{live_server.url}/clinic/")
        assert page.get_by_text("Measure the right side again.").is_visible()
        page.get_by_role("link", name="Tarnfold Juno").first.click()
        assert page.get_by_text("To look at: ").is_visible()
        page.get_by_role("button", name="Correct this result").click()
        right = page.locator("#id_hip-laxity-right-value")
        assert right.input_value() == "0.35"
        right.fill("0,36")
        page.get_by_role("button", name="Keep and go on").click()
        page.goto(_draft_page(live_server.url, "check"))
        page.get_by_role("button", name="Send result to the club").click()
        page.get_by_role("heading", name="Sent to the club").wait_for()

    evaluation.refresh_from_db()
    assert evaluation.state == State.SUBMITTED
    assert [each.value_text for each in evaluation.readings.all()] == ["0.31", "0.36"]
    assert evaluation.evidence.count() == 1


def test_what_was_kept_is_still_there_after_a_new_start_of_the_browser(
    open_page: OpenPage, sign_in: Callable[[Page, Person], None], live_server: Any, club: Club
) -> None:
    factories.make_dog(club, name="Tarnfold Juno", chip=CHIP)
    with open_page(viewport=DESK) as page:
        sign_in(page, club.nurse)
        page.goto(f"{live_server.url}/clinic/results/new/?chip={CHIP}")
        page.get_by_role("button", name="Yes, this is the dog").click()
        _examine(page)
        page.get_by_role("heading", name="Measurements").wait_for()

    with open_page(viewport=DESK) as page:
        sign_in(page, club.nurse)
        page.get_by_role("link", name="Tarnfold Juno").first.click()
        assert page.get_by_text("Completed").first.is_visible()
        page.goto(_draft_page(live_server.url, "examination"))
        page.reload()
        assert page.get_by_label("Day of the examination").input_value() == "2 October 2026"
        assert page.get_by_label("Weight").input_value().replace(",", ".") == "18.5"
        assert page.get_by_label("By sedation").is_checked()


def _answer(page: Page) -> None:
    """Every section, each with its own button to go on."""
    _examine(page)
    page.locator("#id_hip-laxity-left-value").fill("0,31")
    page.locator("#id_hip-laxity-right-value").fill("0,35")
    page.get_by_role("button", name="Keep and go on").click()
    page.locator("#id_full_name").fill("Olga Reedmoor")
    page.locator("#id_email").fill("olga@owner.example")
    page.locator("[name=consent][value=yes]").check()
    page.get_by_role("button", name="Keep and go on").click()
    page.locator("#file").set_input_files(FILM)
    page.get_by_role("button", name="Keep and go on").click()


def _examine(page: Page) -> None:
    page.get_by_label("Day of the examination").fill("2 October 2026")
    page.get_by_label("Veterinarian who examined the dog").fill("Dr. Vera Oakhollow")
    page.get_by_label("By sedation").check()
    page.locator("#id_weight_kg").fill("18,5")
    page.locator("[name=chip_read][value=yes]").check()
    page.get_by_role("button", name="Keep and go on").click()


def _draft_page(url: str, section: str) -> str:
    draft = Draft.objects.filter(sent_as__isnull=True).latest("updated_at")
    return f"{url}/clinic/drafts/{draft.public_id}/{section}/"
