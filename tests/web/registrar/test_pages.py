"""The registrar's pages: what they show, what they do, and who does not get to see them."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from registry.desk import decide, evidence, people, submit
from registry.models import Dog, Evaluation, Role, SecondLook, State
from tests.factories import (
    Club,
    Person,
    make_accepted,
    make_body,
    make_club,
    make_dog,
    make_submitted,
)

pytestmark = pytest.mark.django_db
QUEUE = "/registrar/"


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def page(club: Club) -> Client:
    return signed_in(club.registrar)


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person.user)
    return client


def at(name: str, evaluation: Evaluation) -> str:
    return reverse(f"registrar:{name}", args=[evaluation.public_id])


def text(client: Client, address: str, **data: object) -> str:
    response = client.post(address, data) if data else client.get(address)
    return response.content.decode()


class TestQueue:
    def test_it_lists_what_waits_oldest_first(self, club: Club, page: Client) -> None:
        older = make_submitted(club, make_dog(club, name="Elder Bramble"))
        make_submitted(club, make_dog(club, name="Younger Bramble"))
        make_accepted(club, make_dog(club, name="Settled Bramble"))

        shown = text(page, QUEUE)

        assert shown.index("Elder Bramble") < shown.index("Younger Bramble")
        assert "Settled Bramble" not in shown
        assert older.reference in shown

    def test_flags_stand_in_words(self, club: Club, page: Client) -> None:
        make_submitted(club, left="0.20", right="0.90")

        assert "sides differ" in text(page, QUEUE)

    def test_a_filter_covers_the_whole_list_and_says_how_many(
        self, club: Club, page: Client
    ) -> None:
        make_submitted(club, make_dog(club, name="Plain Heather"))
        make_submitted(club, make_dog(club, name="Odd Heather"), left="0.20", right="0.90")

        shown = text(page, QUEUE + "?flag=sides_differ")

        assert "Odd Heather" in shown
        assert "Plain Heather" not in shown
        assert "1 of 2" in shown
        assert "Remove filter:" in shown

    @pytest.mark.parametrize("query", ["?page=nan", "?flag=<b>", "?q=%00'", "?clinic=x&page=99"])
    def test_a_strange_address_is_answered(self, club: Club, page: Client, query: str) -> None:
        make_submitted(club)

        assert page.get(QUEUE + query).status_code == 200

    def test_the_text_filter_finds_a_reference_as_it_is_printed(
        self, club: Club, page: Client
    ) -> None:
        found = make_submitted(club, make_dog(club, name="Wanted Heather"))
        reference = f"{found.reference[:4]}-{found.reference[4:]}".lower()

        assert "Wanted Heather" in text(page, f"{QUEUE}?q={reference}")

    def test_the_number_of_queries_does_not_grow_with_the_list(
        self, club: Club, page: Client, django_assert_max_num_queries: object
    ) -> None:
        for _number in range(12):
            make_submitted(club)

        with django_assert_max_num_queries(18):  # type: ignore[operator]
            page.get(QUEUE)


class TestTogether:
    def test_nothing_chosen_is_an_error_that_says_what_to_do(
        self, club: Club, page: Client
    ) -> None:
        make_submitted(club)

        response = page.post(reverse("registrar:approve-together"))

        assert response.status_code == 422
        assert "tick the box" in response.content.decode()
        assert "<title>Error: " in response.content.decode()

    def test_each_is_shown_once_more_and_then_approved(self, club: Club, page: Client) -> None:
        one, two = make_submitted(club), make_submitted(club)
        chosen = [one.public_id, two.public_id]

        asked = page.post(reverse("registrar:approve-together"), {"chosen": chosen})
        done = page.post(reverse("registrar:approved-together"), {"chosen": chosen})

        assert one.dog.name in asked.content.decode()
        assert "2 approved, 0 left" in done.content.decode()
        assert set(Evaluation.objects.values_list("state", flat=True)) == {State.ACCEPTED}

    def test_a_flagged_one_slipped_in_is_left_and_named(self, club: Club, page: Client) -> None:
        flagged = make_submitted(club, left="0.20", right="0.90")

        done = text(page, reverse("registrar:approved-together"), chosen=[flagged.public_id])

        assert "0 approved, 1 left" in done
        assert flagged.dog.name in done
        flagged.refresh_from_db()
        assert flagged.state == State.SUBMITTED

    @pytest.mark.parametrize("deed", ["approve-together", "approved-together"])
    def test_its_addresses_opened_anew_lead_to_the_queue(self, page: Client, deed: str) -> None:
        assert page.get(reverse(f"registrar:{deed}")).headers["Location"] == QUEUE


class TestResult:
    def test_form_evidence_history_and_relatives_are_on_one_page(
        self, club: Club, page: Client
    ) -> None:
        sire = make_dog(club, name="Sire Alder", sex="M", born_on=date(2019, 1, 1))
        dam = make_dog(club, name="Dam Alder", born_on=date(2019, 2, 2))
        dog = make_dog(club, name="Young Alder", sire=sire.public_id, dam=dam.public_id)
        make_dog(club, name="Mate Alder", sire=sire.public_id, dam=dam.public_id)
        make_accepted(club, sire, left="0.41", right="0.41", examined_on="2020-06-01")
        make_accepted(club, dog, left="0.51", right="0.52", examined_on="2024-06-01")
        film = evidence.attach(by=club.nurse.actor, chunks=[b"%PDF-1.7 film"], name="film.pdf")
        waits = make_submitted(club, dog, evidence=[film.public_id])

        shown = text(page, at("result", waits))

        for expected in ("film.pdf", "left 0.51", "Sire Alder", "left 0.41", "Mate Alder"):
            assert expected in shown
        assert shown.count("not tested") >= 2

    def test_approving_issues_the_certificate_and_leads_to_the_next(
        self, club: Club, page: Client
    ) -> None:
        first, second = make_submitted(club), make_submitted(club)

        response = page.post(at("approve", first))

        first.refresh_from_db()
        assert first.state == State.ACCEPTED
        assert response.url == at("result", second)  # type: ignore[attr-defined]

    def test_a_stop_asks_for_a_reason_and_keeps_what_was_typed(
        self, club: Club, page: Client
    ) -> None:
        puppy = make_dog(club, born_on=date(2026, 9, 1))
        waits = make_submitted(club, puppy)

        refused = page.post(at("approve", waits), {"reason": " "})
        page.post(at("approve", waits), {"reason": "The birth date is a slip; papers seen."})

        assert refused.status_code == 422
        assert "Say why you accept" in refused.content.decode()
        waits.refresh_from_db()
        assert waits.state == State.SUBMITTED

    def test_over_a_stop_a_second_registrar_has_to_approve(
        self, club: Club, page: Client, client: Client
    ) -> None:
        waits = make_submitted(club, make_dog(club, born_on=date(2026, 9, 1)))
        page.post(at("approve", waits), {"reason": "The birth date is a slip; papers seen."})
        client.force_login(club.second_registrar.user)

        queue = client.get(reverse("registrar:queue")).content.decode()
        shown = client.get(at("result", waits)).content.decode()
        client.post(at("approve", waits), {"reason": "I saw the papers, too."})

        for html in (queue, shown):
            assert f"{club.registrar.user} wishes to approve this" in html
            assert "The birth date is a slip; papers seen." in html
        waits.refresh_from_db()
        assert waits.state == State.ACCEPTED

    def test_a_return_wants_a_reason_and_marks_fields(self, club: Club, page: Client) -> None:
        waits = make_submitted(club)

        empty = page.post(at("return", waits), {"reason": ""})
        page.post(
            at("return", waits),
            {"reason": "The film shows another value.", "fields_to_fix": ["/readings/0"]},
        )

        assert empty.status_code == 422
        assert "Give the reason" in empty.content.decode()
        waits.refresh_from_db()
        assert (waits.state, waits.fields_to_fix) == (State.RETURNED, ["/readings/0"])

    @pytest.mark.parametrize("deed", ["approve", "return", "decline"])
    def test_the_address_of_a_deed_opened_anew_leads_to_the_result(
        self, club: Club, page: Client, deed: str
    ) -> None:
        waiting = make_submitted(club)

        opened = page.get(at(deed, waiting))

        waiting.refresh_from_db()
        assert opened.headers["Location"] == at("result", waiting)
        assert waiting.state == State.SUBMITTED

    def test_the_age_that_day_is_counted_by_the_calendar(self, club: Club, page: Client) -> None:
        dog = make_dog(club, born_on=date(2018, 10, 3))
        waiting = make_submitted(club, dog, examined_on="2026-10-02")

        assert "7 years and 11 months" in text(page, at("result", waiting))

    def test_the_second_registrar_reads_who_was_first(self, club: Club, page: Client) -> None:
        waits = make_submitted(club)
        decide.accept(by=club.second_registrar.actor, evaluation_id=waits.public_id)

        late = page.post(at("decline", waits), {"reason": "Unreadable film."})

        assert late.status_code == 409
        assert f"{club.second_registrar.user} was first" in late.content.decode()

    def test_the_own_clinics_result_has_no_decision_to_make(self, club: Club, page: Client) -> None:
        people.appoint(
            by=club.secretary.actor,
            user_id=club.registrar.user.pk,
            role=Role.CLINIC,
            clinic_id=club.clinic.public_id,
        )
        waits = make_submitted(club)

        shown = text(page, at("result", waits))
        refused = page.post(at("approve", waits))

        assert "Not for you to decide" in shown
        assert at("approve", waits) not in shown
        assert refused.status_code == 409
        waits.refresh_from_db()
        assert waits.state == State.SUBMITTED


class TestLater:
    def test_a_revocation_says_what_it_does_and_wants_a_reason(
        self, club: Club, page: Client
    ) -> None:
        evaluation = make_accepted(club).evaluation

        empty = page.post(at("revoke", evaluation), {"reason": ""})
        page.post(at("revoke", evaluation), {"reason": "Films of another dog."})

        assert empty.status_code == 422
        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED

    def test_a_second_registrar_reads_the_wish_and_revokes(
        self, club: Club, page: Client, client: Client
    ) -> None:
        evaluation = make_accepted(club).evaluation
        page.post(at("revoke", evaluation), {"reason": "Films of another dog."})
        client.force_login(club.second_registrar.user)

        asked = client.get(at("revoke", evaluation))
        client.post(at("revoke", evaluation), {"reason": "The films show another dog."})

        assert "wished it first" in asked.content.decode()
        assert asked.context["form"]["reason"].value() == "Films of another dog."
        evaluation.refresh_from_db()
        assert evaluation.state == State.REVOKED
        assert evaluation.reason == "The films show another dog."

    def test_a_wish_can_be_left_aside_with_a_reason(
        self, club: Club, page: Client, client: Client
    ) -> None:
        evaluation = make_accepted(club).evaluation
        page.post(at("revoke", evaluation), {"reason": "Films of another dog."})
        client.force_login(club.second_registrar.user)
        there = reverse("registrar:leave", args=[SecondLook.objects.get().public_id])

        empty = client.post(there, {"reason": ""})
        client.post(there, {"reason": "The chip is on the film."})

        assert empty.status_code == 422
        evaluation.refresh_from_db()
        assert evaluation.state == State.ACCEPTED
        assert client.get(there).status_code == 404

    def test_a_replacement_starts_from_what_stands(self, club: Club, page: Client) -> None:
        evaluation = make_accepted(club, left="0.31", right="0.35").evaluation
        form = page.get(at("replace", evaluation)).context["form"]
        data = {field.html_name: field.value() for field in form}
        data |= {"examined_on": "2 October 2026", "reason": "Misread on the left."}
        data["readings-0-value"] = "0,44"

        response = page.post(at("replace", evaluation), data)

        assert response.status_code == 302
        evaluation.refresh_from_db()
        new = evaluation.corrected_by
        assert evaluation.state == State.REPLACED
        assert sorted(new.readings.values_list("side", "step")) == [("left", 44), ("right", 35)]

    def test_a_wrong_value_is_named_at_its_field(self, club: Club, page: Client) -> None:
        evaluation = make_accepted(club).evaluation
        form = page.get(at("replace", evaluation)).context["form"]
        data = {field.html_name: field.value() for field in form}
        data |= {"examined_on": "2 October 2026", "reason": "x", "readings-0-value": "tight"}

        response = page.post(at("replace", evaluation), data)

        assert response.status_code == 422
        assert "readings-0-value" in response.context["form"].errors


class TestDogs:
    def test_a_dog_that_a_clinic_added_is_confirmed(self, club: Club, page: Client) -> None:
        dog = make_dog(club, by=club.nurse.actor)

        page.post(reverse("registrar:confirm-dog", args=[dog.public_id]))

        assert Dog.objects.get(pk=dog.pk).is_confirmed

    def test_the_address_of_confirming_opened_anew_leads_to_the_dog(
        self, club: Club, page: Client
    ) -> None:
        dog = make_dog(club, by=club.nurse.actor)

        opened = page.get(reverse("registrar:confirm-dog", args=[dog.public_id]))

        dog.refresh_from_db()
        assert opened.headers["Location"] == reverse("registrar:dog", args=[dog.public_id])
        assert not dog.is_confirmed

    def test_a_correction_made_meanwhile_is_shown_beside_what_was_typed(
        self, club: Club, page: Client
    ) -> None:
        dog = make_dog(club, colour="brown")
        address = reverse("registrar:correct-dog", args=[dog.public_id])
        form = page.get(address).context["form"]
        data = {field.html_name: field.value() or "" for field in form}
        data |= {"born_on": "15 January 2023", "reason": "seen", "colour": "black"}
        other = signed_in(club.second_registrar)
        other.post(address, {**data, "colour": "liver"})

        late = page.post(address, data)

        shown = late.content.decode()
        assert late.status_code == 409
        assert "liver" in shown
        assert 'value="black"' in shown
        assert Dog.objects.get(pk=dog.pk).colour == "liver"


class TestFiles:
    def test_a_film_is_served_so_that_it_cannot_act(self, club: Club, page: Client) -> None:
        film = evidence.attach(by=club.nurse.actor, chunks=[b"%PDF-1.7 film"], name='a"b.pdf')
        submit.submit(
            by=club.nurse.actor, body=make_body(make_dog(club), evidence=[film.public_id])
        )

        response = page.get(reverse("registrar:evidence", args=[film.public_id]))

        assert response["X-Content-Type-Options"] == "nosniff"
        assert "sandbox" in response["Content-Security-Policy"]
        assert response["Content-Disposition"].startswith("attachment")
        response.close()

    def test_a_file_of_a_draft_is_not_the_registrars(self, club: Club, page: Client) -> None:
        film = evidence.attach(by=club.nurse.actor, chunks=[b"%PDF-1.7 film"], name="a.pdf")

        response = page.get(reverse("registrar:evidence", args=[film.public_id]))

        assert response.status_code == 404
