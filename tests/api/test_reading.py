"""What is read: certificates, distributions, dogs, files; and read again only when changed."""

from __future__ import annotations

import hashlib
from html import unescape
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile

from registry.desk.consent import change_consent
from tests.api.conftest import Callers
from tests.factories import make_accepted, make_body, make_chip, make_dog, make_submitted
from tests.routes import all_routes

JPEG = b"\xff\xd8\xff\xe0 an invented film"


class TestCertificate:
    def test_small_letters_and_groups_are_read(self, callers: Callers) -> None:
        number = make_accepted(callers.club).number
        typed = f"{number[:3]}-{number[3:7]}-{number[7:]}".lower()

        assert callers.nobody.get(f"certificates/{typed}").json()["number"] == number

    def test_it_tells_standing_then_and_now(self, callers: Callers) -> None:
        number = make_accepted(callers.club).number
        make_accepted(callers.club)

        (result,) = callers.nobody.get(f"certificates/{number}").json()["results"]

        # Never the dog itself: nobody else on the day of issue, one other dog today.
        assert result["standing_as_issued"]["n"] == 0
        assert result["standing_today"]["n"] == 1
        # Fewer than twenty dogs are never made into a share.
        assert result["standing_today"]["share"] is None

    def test_what_is_not_released_shows_no_value(self, callers: Callers) -> None:
        certificate = make_accepted(callers.club, consent_to_publish=False)

        read = callers.nobody.get(f"certificates/{certificate.number}")

        assert read.json()["verdict"] == "not-released"
        assert read.json()["results"] == []
        assert "0.35" not in read.content.decode()
        assert callers.nobody.get(f"certificates/{certificate.number}.pdf").status_code == 404

    def test_no_owner_examiner_or_whole_chip_is_in_it(self, callers: Callers) -> None:
        certificate = make_accepted(callers.club)

        text = callers.nobody.get(f"certificates/{certificate.number}").content.decode()

        chip = certificate.evaluation.dog.chip
        assert chip and chip not in text and chip[-6:] in text
        assert "Reedmoor" not in text and "Oakhollow" not in text

    def test_its_sheet_is_a_pdf_and_always_the_same(self, callers: Callers) -> None:
        number = make_accepted(callers.club).number

        first = callers.nobody.get(f"certificates/{number}.pdf", Accept="application/pdf")
        second = callers.nobody.get(f"certificates/{number}.pdf")

        assert first["Content-Type"] == "application/pdf"
        assert first.content.startswith(b"%PDF-")
        assert first.content == second.content

    def test_a_number_never_given_out_is_not_found(self, callers: Callers) -> None:
        # Ten zeros add up, so this is a sound number.
        assert callers.nobody.get("certificates/0000000000").status_code == 404


class TestUnchanged:
    def test_it_is_not_sent_again(self, callers: Callers) -> None:
        certificate = make_accepted(callers.club)
        path = f"certificates/{certificate.number}"
        etag = callers.nobody.get(path)["ETag"]

        same = callers.nobody.get(path, **{"If-None-Match": etag})
        change_consent(
            by=callers.club.secretary.actor,
            evaluation_id=certificate.evaluation.public_id,
            publish=False,
        )
        changed = callers.nobody.get(path, **{"If-None-Match": etag})

        assert (same.status_code, same.content) == (304, b"")
        assert changed.status_code == 200

    def test_a_distribution_keeps_its_mark_until_a_dog_is_counted(self, callers: Callers) -> None:
        make_accepted(callers.club)
        path = f"distributions/{callers.club.breed.slug}/hip-laxity"

        first, second = callers.nobody.get(path)["ETag"], callers.nobody.get(path)["ETag"]
        make_submitted(callers.club)
        third = callers.nobody.get(path)["ETag"]
        make_accepted(callers.club)

        assert first == second == third
        assert callers.nobody.get(path)["ETag"] != first


class TestDistribution:
    def test_it_counts_dogs_released_or_not_and_names_none(self, callers: Callers) -> None:
        for _ in range(15):
            make_accepted(callers.club)
        for _ in range(5):
            hidden = make_accepted(callers.club, consent_to_publish=False).evaluation.dog
        path = f"distributions/{callers.club.breed.slug}/hip-laxity"

        read = callers.nobody.get(path)

        body = read.json()
        # Twenty dogs whose worse side is 0.35: every mean and quantile is 0.35, and no deviation.
        assert body["n"] == 20 and body["cells"] == [{"step": 35, "value": "0.35", "dogs": 20}]
        assert body["mean"] == 0.35 and body["sd"] == 0.0 and body["quantiles"]["p50"] == 0.35
        assert hidden.name not in read.content.decode()
        assert callers.nobody.get(f"{path}?sex=M").json()["n"] == 0
        assert callers.nobody.get(f"{path}?as_of=2000-01-01").json()["n"] == 0

    def test_a_result_that_is_not_released_cannot_be_told_by_two_looks(
        self, callers: Callers
    ) -> None:
        path = f"distributions/{callers.club.breed.slug}/hip-laxity"
        make_accepted(callers.club)
        before = callers.nobody.get(path).json()

        make_accepted(callers.club, consent_to_publish=False)

        assert callers.nobody.get(path).json() == before
        assert before["n"] == 1
        assert before["state_at"] is not None

    def test_few_dogs_have_no_quantiles(self, callers: Callers) -> None:
        make_accepted(callers.club)

        body = callers.nobody.get(f"distributions/{callers.club.breed.slug}/hip-laxity").json()

        assert body["can_compare"] is False
        assert body["quantiles"] is None and body["mean"] is None


class TestDogs:
    def test_a_chip_finds_its_dog_and_its_near_ones(self, callers: Callers) -> None:
        chip = make_chip()
        dog = make_dog(callers.club, chip=chip)
        slip = chip[:-1] + ("0" if chip[-1] != "0" else "1")

        exact = callers.clinic.get(f"dogs?chip={chip}").json()["items"]
        near = callers.clinic.get(f"dogs?near={slip}").json()["items"]

        assert [each["id"] for each in exact] == [dog.public_id]
        assert dog.public_id in [each["id"] for each in near]

    def test_a_name_mistyped_finds_its_dog(self, callers: Callers) -> None:
        dog = make_dog(callers.club, name="Brackenhill Quillon")

        found = callers.clinic.get("dogs?q=Brakenhill Quilon").json()["items"]

        assert found[0]["id"] == dog.public_id

    def test_a_search_by_name_keeps_to_its_limit(self, callers: Callers) -> None:
        for number in range(3):
            make_dog(callers.club, name=f"Brackenhill Quillon {number}")

        found = callers.clinic.get("dogs?q=Brackenhill Quillon&limit=2").json()

        assert len(found["items"]) == 2
        assert found["next"] is None

    def test_a_registrar_puts_facts_right_from_the_version_read(self, callers: Callers) -> None:
        dog = make_dog(callers.club)
        facts = {
            "breed": callers.club.breed.slug, "name": "Tarnfold Wren", "sex": "F",
            "born_on": "2023-01-15", "chip": dog.chip, "reason": "A letter was missing.",
        }  # fmt: skip
        path = f"dogs/{dog.public_id}"

        done = callers.registrar.send(path, {**facts, "version": dog.version}, "PUT")
        stale = callers.registrar.send(path, {**facts, "version": dog.version}, "PUT")
        by_clinic = callers.clinic.send(path, {**facts, "version": dog.version + 1}, "PUT")

        assert done.json()["name"] == "Tarnfold Wren"
        assert (stale.status_code, by_clinic.status_code) == (409, 403)
        history = callers.registrar.get(f"{path}/history").json()
        assert history[0]["action"] == "dog.corrected"
        assert {"field": "name", "from": dog.name, "to": "Tarnfold Wren"} in history[0]["changes"]

    def test_a_dog_that_a_clinic_added_is_confirmed(self, callers: Callers) -> None:
        dog = make_dog(callers.club, by=callers.club.nurse.actor)

        done = callers.registrar.send(f"dogs/{dog.public_id}/confirmation", {})

        assert (done.status_code, done.json()["is_confirmed"]) == (201, True)


class TestEvidence:
    def test_a_form_and_a_bare_body_are_the_same_file(self, callers: Callers) -> None:
        client, headers = callers.clinic.client, callers.clinic.headers
        form = client.post(
            "/api/v1/evidence", {"file": SimpleUploadedFile("a.jpg", JPEG)}, headers=headers
        )
        bare = client.post(
            "/api/v1/evidence?name=a.jpg", JPEG, content_type="image/jpeg", headers=headers
        )

        assert form.status_code == bare.status_code == 201
        assert form.json()["sha256"] == bare.json()["sha256"] == hashlib.sha256(JPEG).hexdigest()
        assert form.json()["name"] == bare.json()["name"] == "a.jpg"

    def test_it_comes_back_as_a_download_that_runs_nothing(self, callers: Callers) -> None:
        sent = callers.clinic.client.post(
            "/api/v1/evidence", JPEG, content_type="image/jpeg", headers=callers.clinic.headers
        ).json()
        body = make_body(make_dog(callers.club), evidence=[sent["id"]])
        callers.clinic.send("evaluations", body)

        read = callers.registrar.get(f"evidence/{sent['id']}/content")

        assert read.content == JPEG
        assert read["Content-Disposition"].startswith("attachment")
        assert read["X-Content-Type-Options"] == "nosniff"
        assert "sandbox" in read["Content-Security-Policy"]

    def test_a_program_is_no_evidence(self, callers: Callers) -> None:
        refused = callers.clinic.client.post(
            "/api/v1/evidence",
            b"MZ\x90\x00 program",
            content_type="application/octet-stream",
            headers=callers.clinic.headers,
        )

        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"] == "/file"

    def test_an_unsent_file_is_taken_back(self, callers: Callers) -> None:
        sent = callers.clinic.client.post(
            "/api/v1/evidence", JPEG, content_type="image/jpeg", headers=callers.clinic.headers
        ).json()

        gone = callers.clinic.send(f"evidence/{sent['id']}", "", "DELETE")

        assert gone.status_code == 204
        assert callers.clinic.get(f"evidence/{sent['id']}").status_code == 404


def test_the_docs_page_shows_every_address_and_calls_nobody(callers: Callers) -> None:
    document = callers.nobody.get("schema").json()

    page = callers.nobody.client.get("/api/v1/docs")

    text = page.content.decode()
    assert page.status_code == 200
    assert document["openapi"].startswith("3.1")
    assert all(path in text for path in document["paths"])
    assert "<script" not in text and "style=" not in text


def test_the_docs_page_shows_what_to_send_and_where(callers: Callers, settings: Any) -> None:
    text = unescape(callers.nobody.client.get("/api/v1/docs").content.decode())

    section = text.partition('id="submitEvaluation"')[2].partition("<h3")[0]
    assert f'"{settings.SITE_URL}/api/v1/evaluations"' in section
    assert '"restraint": "sedation"' in section
    assert "$SITE" not in text


def test_the_document_names_every_address_of_the_address_book(callers: Callers) -> None:
    unlisted = {"api:schema", "api:docs", "api:nothing", "api:nothing-here"}
    routes = [
        route for route in all_routes() if route.namespace == "api" and route.name not in unlisted
    ]

    assert len(callers.nobody.get("schema").json()["paths"]) == len(routes) > 20
