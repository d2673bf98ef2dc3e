"""Sent results: the list, a returned one corrected, withdrawing, and other clinics' doors."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from registry.desk import decide
from registry.models import Draft, Evaluation, State
from registry.science.numbers import format_number
from tests import factories
from tests.factories import Club
from tests.web.clinic.desk import at, keep, signed_in, text_of, value_of

REASON = "The right value is not that of the film."


@pytest.fixture
def returned(club: Club) -> Evaluation:
    """Returned with the second reading, the right side, marked."""
    evaluation = factories.make_submitted(club)
    decide.return_for_correction(
        by=club.registrar.actor,
        evaluation_id=evaluation.public_id,
        reason=REASON,
        fields=["/readings/1"],
    )
    evaluation.refresh_from_db()
    return evaluation


def page_of(evaluation: Evaluation, more: str = "") -> str:
    return f"/clinic/results/{evaluation.public_id}/{more}"


class TestHome:
    def test_returned_results_come_first_with_the_reason(
        self, club: Club, nurse: Client, returned: Evaluation, draft: Draft
    ) -> None:
        factories.make_submitted(club, factories.make_dog(club, name="Waiting Wren"))
        factories.make_accepted(club, factories.make_dog(club, name="Settled Otto"))

        shown = text_of(nurse.get("/clinic/"))

        order = [REASON, "Not sent yet", "Waiting Wren", "Settled Otto"]
        assert [shown.index(words) for words in order] == sorted(map(shown.index, order))

    def test_another_clinics_results_and_drafts_are_not_in_it(
        self, club: Club, returned: Evaluation, draft: Draft
    ) -> None:
        shown = text_of(signed_in(club.other_nurse).get("/clinic/"))

        assert returned.dog.name not in shown
        assert "Tarnfold Juno" not in shown

    def test_the_number_of_queries_does_not_grow_with_the_list(
        self, club: Club, nurse: Client, django_assert_max_num_queries: object
    ) -> None:
        for _number in range(8):
            factories.make_submitted(club)

        with django_assert_max_num_queries(12):  # type: ignore[operator]
            nurse.get("/clinic/")


class TestReturned:
    def test_the_reason_comes_first_and_the_marked_field_is_named(
        self, nurse: Client, returned: Evaluation
    ) -> None:
        shown = text_of(nurse.get(page_of(returned)))

        assert shown.index(REASON) < shown.index("What you sent")
        assert "To look at: Hip laxity, right" in shown

    def test_correcting_leads_to_the_marked_field(
        self, nurse: Client, returned: Evaluation
    ) -> None:
        response = nurse.post(page_of(returned, "correct/"), follow=True)

        draft = Draft.objects.get()
        assert response.redirect_chain[-1][0] == f"{at('measurements', draft)}?from=check"
        assert REASON in text_of(response)
        page = response.content.decode()
        marked = re.findall(r'id="id_([\w-]+)_helptext"><strong>The club asks', page)
        assert marked == ["hip-laxity-right-value"]

    def test_what_was_sent_is_in_the_boxes(self, nurse: Client, returned: Evaluation) -> None:
        page = nurse.post(page_of(returned, "correct/"), follow=True)

        assert value_of(page, "hip-laxity-left-value") == "0.31"

    def test_one_field_is_corrected_and_sent_in_three_presses(
        self, nurse: Client, returned: Evaluation
    ) -> None:
        nurse.post(page_of(returned, "correct/"))
        draft = Draft.objects.get()
        boxes = {"hip-laxity-left-value": "0.31", "hip-laxity-right-value": "0.39"}
        kept = keep(nurse, draft, "measurements", "?from=check", **boxes)
        assert kept.headers["Location"] == at("check", draft)
        sent = nurse.post(at("check", draft))

        assert sent.headers["Location"] == page_of(returned, "sent/")
        before = returned.reference
        returned.refresh_from_db()
        assert returned.reference == before
        assert returned.state == State.SUBMITTED
        assert returned.readings.get(side="right").value_text == "0.39"

    def test_correcting_twice_goes_on_with_the_same_draft(
        self, nurse: Client, returned: Evaluation
    ) -> None:
        nurse.post(page_of(returned, "correct/"))
        nurse.post(page_of(returned, "correct/"))

        assert Draft.objects.count() == 1

    def test_a_result_that_waits_cannot_be_corrected(self, club: Club, nurse: Client) -> None:
        evaluation = factories.make_submitted(club)

        response = nurse.post(page_of(evaluation, "correct/"), follow=True)

        assert "Only a returned one can be answered." in text_of(response)
        assert not Draft.objects.exists()

    def test_withdrawn_meanwhile_its_draft_is_not_sent(
        self, nurse: Client, returned: Evaluation
    ) -> None:
        nurse.post(page_of(returned, "correct/"))
        draft = Draft.objects.get()
        nurse.post(page_of(returned, "withdraw/"), {"reason": "wrong dog"})

        response = nurse.post(at("check", draft))

        assert response.status_code == 422
        assert "withdrawn" in text_of(response)


class TestResult:
    def test_it_shows_reference_state_answers_and_history(self, club: Club, nurse: Client) -> None:
        evaluation = factories.make_submitted(club)

        shown = text_of(nurse.get(page_of(evaluation)))

        for words in (
            format_number(evaluation.reference),
            "Submitted",
            "Dr. Vera Oakhollow",
            "Hip laxity, left 0.31",
            "Sent to the club",
        ):
            assert words in shown

    def test_an_accepted_one_leads_to_its_certificate(self, club: Club, nurse: Client) -> None:
        certificate = factories.make_accepted(club)

        page = nurse.get(page_of(certificate.evaluation)).content.decode()

        assert f"/C/{certificate.number}" in page

    def test_the_confirmation_of_a_decided_one_leads_to_the_result(
        self, club: Club, nurse: Client
    ) -> None:
        evaluation = factories.make_accepted(club).evaluation

        response = nurse.get(page_of(evaluation, "sent/"))

        assert response.headers["Location"] == page_of(evaluation)


class TestWithdraw:
    def test_it_wants_a_reason(self, club: Club, nurse: Client) -> None:
        evaluation = factories.make_submitted(club)

        response = nurse.post(page_of(evaluation, "withdraw/"), {"reason": " "})

        assert response.status_code == 422
        assert text_of(response).count("Say why the result is withdrawn.") == 2

    def test_with_a_reason_it_is_withdrawn_and_stays_on_record(
        self, club: Club, nurse: Client
    ) -> None:
        evaluation = factories.make_submitted(club)

        response = nurse.post(
            page_of(evaluation, "withdraw/"), {"reason": "Films exchanged."}, follow=True
        )

        shown = text_of(response)
        assert "The result is withdrawn." in shown
        assert "Films exchanged." in shown
        evaluation.refresh_from_db()
        assert evaluation.state == State.WITHDRAWN

    def test_an_accepted_one_cannot_be_withdrawn(self, club: Club, nurse: Client) -> None:
        evaluation = factories.make_accepted(club).evaluation

        response = nurse.post(page_of(evaluation, "withdraw/"), {"reason": "no"}, follow=True)

        assert "cannot be withdrawn any more" in text_of(response)


class TestDoors:
    def test_another_clinics_pages_answer_exactly_like_missing_ones(
        self, club: Club, returned: Evaluation, draft: Draft
    ) -> None:
        other = signed_in(club.other_nurse)
        theirs = [
            *(at(name, draft) for name in ("draft", "examination", "measurements", "owner")),
            *(at(name, draft) for name in ("files", "check", "discard")),
            *(page_of(returned, more) for more in ("", "sent/", "withdraw/", "correct/")),
        ]
        for address in theirs:
            known = draft.public_id if draft.public_id in address else returned.public_id
            for ask in (other.get, other.post):
                one, none = ask(address), ask(address.replace(known, "nothing"))
                # 405 where the page takes no POST at all, whoever asks.
                assert one.status_code == none.status_code, address
                assert one.status_code == 404 or (ask == other.post and one.status_code == 405)
                assert text_of(one) == text_of(none), address
        assert Draft.objects.count() == 1

    @pytest.mark.parametrize("role", ["registrar", "secretary"])
    def test_other_roles_have_no_clinic_room(self, club: Club, role: str) -> None:
        assert signed_in(getattr(club, role)).get("/clinic/").status_code == 404

    def test_after_a_lapsed_session_the_sign_in_leads_back_to_the_page(
        self, club: Club, nurse: Client, draft: Draft
    ) -> None:
        nurse.logout()
        address = at("owner", draft)

        asked = nurse.post(address, {"consent": "yes"})
        assert asked.headers["Location"] == f"/sign-in/?next={address}"
        signed = nurse.post(
            asked.headers["Location"],
            {"login": club.nurse.login, "password": factories.PASSWORD, "next": address},
        )

        assert signed.headers["Location"] == address
        assert nurse.get(address).status_code == 200
