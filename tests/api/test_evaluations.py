"""A clinic's software does what its people do on the pages."""

from __future__ import annotations

from typing import Any

import pytest

from registry.desk import decide
from registry.models import Evaluation
from tests.api.conftest import Caller, Callers
from tests.factories import (
    make_accepted,
    make_body,
    make_chip,
    make_dog,
    make_submitted,
    make_token,
)


class TestSend:
    def test_from_the_docs_to_a_result_takes_five_requests(self, callers: Callers) -> None:
        chip = make_chip()
        me = callers.clinic.get("me")
        dog = callers.clinic.send(
            "dogs",
            {
                "breed": callers.club.breed.slug,
                "name": "Tarnfold Pim",
                "sex": "M",
                "born_on": "2025-01-15",
                "chip": chip,
            },
        )
        body = make_body(make_dog(callers.club))
        body["dog"] = {"chip": chip}
        sent = callers.clinic.send("evaluations", body)
        accepted = callers.registrar.send(
            f"evaluations/{sent.json()['id']}/decision", {"decision": "accept"}
        )
        read = callers.nobody.get(f"certificates/{accepted.json()['certificate']}")

        assert [each.status_code for each in (me, dog, sent, accepted, read)] == [
            200, 201, 201, 200, 200,
        ]  # fmt: skip
        assert read.json()["verdict"] == "genuine"
        assert read.json()["results"][0]["speaks"] == "0.35"
        assert sent.json()["flags"][0]["code"] == "dog_unconfirmed"

    def test_every_fault_is_pointed_at(self, callers: Callers) -> None:
        body = make_body(make_dog(callers.club))
        body["examined_on"] = "yesterday"
        body["readings"][1]["side"] = "top"

        refused = callers.clinic.send("evaluations", body)

        assert refused.status_code == 422
        assert refused["Content-Type"] == "application/problem+json"
        pointers = [fault["pointer"] for fault in refused.json()["errors"]]
        assert pointers == ["/examined_on", "/readings/1/side"]

    def test_a_registrar_does_not_send(self, callers: Callers) -> None:
        assert callers.registrar.send("evaluations", {}).status_code == 403

    def test_an_index_is_computed_from_radius_and_displacement(self, callers: Callers) -> None:
        body = make_body(make_dog(callers.club))
        body["readings"] = [
            {
                "trait": "hip-laxity",
                "side": "left",
                "head_radius_mm": "10.0",
                "displacement_mm": "3.5",
            }
        ]

        sent = callers.clinic.send("evaluations", body)

        # A displacement of 3.5 mm at a head of 10 mm is 0.35 by the index's definition.
        assert sent.json()["readings"][0]["value"] == "0.35"


class TestReturned:
    def test_it_names_the_fields_and_is_answered(self, callers: Callers) -> None:
        evaluation = make_submitted(callers.club)
        path = f"evaluations/{evaluation.public_id}"
        callers.registrar.send(
            f"{path}/decision",
            {"decision": "return", "reason": "Sides?", "fields": ["/readings/0/value"]},
        )
        returned = callers.clinic.get(path).json()
        answers = callers.clinic.get(f"{path}/answers").json()
        answers["readings"][0]["value"] = "0.33"

        again = callers.clinic.send(f"{path}/answers", answers, "PUT")

        assert returned["state"] == "returned"
        assert returned["fields_to_fix"] == ["/readings/0/value"]
        assert again.json()["state"] == "submitted"
        assert again.json()["reference"] == evaluation.reference
        assert again.json()["readings"][0]["value"] == "0.33"

    def test_what_is_accepted_cannot_be_answered(self, callers: Callers) -> None:
        evaluation = make_accepted(callers.club).evaluation

        refused = callers.clinic.send(
            f"evaluations/{evaluation.public_id}/answers", make_body(evaluation.dog), "PUT"
        )

        assert refused.status_code == 409
        assert refused.json()["state"] == "accepted"


class TestList:
    def test_cursors_lead_through_all_without_doubling(self, callers: Callers) -> None:
        dog = make_dog(callers.club)
        ids = [make_submitted(callers.club, dog).public_id for _ in range(5)]
        seen: list[str] = []
        query = "evaluations?limit=2&state=submitted"

        page = callers.clinic.get(query).json()
        while True:
            seen += [item["id"] for item in page["items"]]
            if page["next"] is None:
                break
            page = callers.clinic.get(f"{query}&cursor={page['next']}").json()

        assert seen == ids[::-1]

    def test_it_holds_nothing_of_another_clinic(self, callers: Callers) -> None:
        make_submitted(callers.club)

        assert callers.other_clinic.get("evaluations").json() == {"items": [], "next": None}


def test_a_clinic_withdraws_with_a_reason(callers: Callers) -> None:
    evaluation = make_submitted(callers.club)
    path = f"evaluations/{evaluation.public_id}"

    without = callers.clinic.send(f"{path}/withdrawal", {"reason": " "})
    done = callers.clinic.send(f"{path}/withdrawal", {"reason": "Wrong dog."})

    assert without.status_code == 422
    assert done.json()["state"] == "withdrawn"
    actions = [entry["action"] for entry in callers.clinic.get(f"{path}/history").json()]
    assert actions == ["evaluation.withdrawn", "evaluation.submitted"]


class TestDecide:
    def test_the_second_registrar_is_told_who_was_first(self, callers: Callers) -> None:
        evaluation = make_submitted(callers.club)
        decide.decline(
            by=callers.club.second_registrar.actor,
            evaluation_id=evaluation.public_id,
            reason="Blurred.",
        )

        late = callers.registrar.send(
            f"evaluations/{evaluation.public_id}/decision", {"decision": "accept"}
        )

        assert late.status_code == 409
        assert late.json()["state"] == "declined"
        assert late.json()["who"] == callers.club.second_registrar.user.full_name
        assert late.json()["since"].endswith("Z")

    def test_a_decision_needs_its_reason(self, callers: Callers) -> None:
        evaluation = make_submitted(callers.club)

        refused = callers.registrar.send(
            f"evaluations/{evaluation.public_id}/decision", {"decision": "decline"}
        )

        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"] == "/reason"
        assert Evaluation.objects.get().state == "submitted"

    def test_many_are_accepted_and_flagged_ones_are_left(self, callers: Callers) -> None:
        clean = make_submitted(callers.club)
        flagged = make_submitted(callers.club, conditions={"restraint": "none", "chip_read": False})

        done = callers.registrar.send(
            "acceptances", {"evaluations": [clean.public_id, flagged.public_id]}
        )

        outcomes = done.json()["outcomes"]
        assert outcomes[0]["certificate"] and not outcomes[1]["certificate"]
        assert outcomes[1]["why_left"]

    def test_the_queue_says_flags_in_words(self, callers: Callers) -> None:
        make_submitted(callers.club, conditions={"restraint": "none", "chip_read": False})

        queue = callers.registrar.get("queue?flag=any").json()

        assert queue["matching"] == 1
        sentence = queue["items"][0]["evaluation"]["flags"][0]["sentence"]
        assert sentence == "The chip was not read at the examination."

    def test_a_flag_about_another_result_tells_the_clinic_in_a_sentence_without_naming_it(
        self, callers: Callers
    ) -> None:
        dog = make_dog(callers.club)
        first = make_submitted(callers.club, dog)
        second = make_submitted(callers.club, dog)

        (flag,) = callers.clinic.get(f"evaluations/{second.public_id}").json()["flags"]

        assert flag["code"] == "possible_duplicate"
        assert flag["sentence"] == (
            "The club has another result of this dog from about that day, or with the same values."
        )
        assert first.reference not in str(flag)

    def test_a_revoked_certificate_says_so_at_once(self, callers: Callers) -> None:
        certificate = make_accepted(callers.club)
        path = f"evaluations/{certificate.evaluation.public_id}/revocation"

        wished = callers.registrar.send(path, {"reason": "Another dog's films."})
        second = Caller(make_token(callers.club.second_registrar, by=callers.club.secretary.actor))
        done = second.send(path, {"reason": "Another dog's films."})
        read = callers.nobody.get(f"certificates/{certificate.number}").json()

        assert (wished.json()["state"], wished.json()["waits_for_second"]) == ("accepted", True)
        assert (done.json()["state"], done.json()["waits_for_second"]) == ("revoked", False)
        assert read["verdict"] == "revoked"
        assert read["results"] == []

    def test_a_replacement_gives_a_new_certificate(self, callers: Callers) -> None:
        certificate = make_accepted(callers.club)

        done = callers.registrar.send(
            f"evaluations/{certificate.evaluation.public_id}/replacement",
            {
                "reason": "A slip of the pen.",
                "readings": [{"trait": "hip-laxity", "side": "left", "value": "0.44"}],
            },
        )
        old = callers.nobody.get(f"certificates/{certificate.number}").json()

        assert done.status_code == 201
        assert old["verdict"] == "replaced"
        assert old["newer"] == done.json()["certificate"]


@pytest.mark.parametrize(("path", "most"), [("queue", 13), ("evaluations", 9)])
def test_a_longer_list_asks_no_more_of_the_database(
    path: str, most: int, callers: Callers, django_assert_max_num_queries: Any
) -> None:
    for _ in range(6):
        make_submitted(callers.club, conditions={"restraint": "none", "chip_read": False})

    with django_assert_max_num_queries(most):
        answer = callers.registrar.get(path)

    assert len(answer.json()["items"]) == 6
