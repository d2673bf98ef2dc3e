"""Films and papers: one or many, each fault in words, nothing of another clinic's."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client, override_settings

from registry.desk import evidence
from registry.models import Draft, Evidence
from tests import factories
from tests.factories import Club
from tests.web.clinic.desk import EXAMINATION, at, fill, film, keep, signed_in, text_of, upload


def test_several_files_are_attached_at_once_and_listed(nurse: Client, draft: Draft) -> None:
    nurse.post(at("files", draft), {"file": [film("left.png", b"l"), film("right.png", b"r")]})

    shown = text_of(nurse.get(at("files", draft)))
    assert "left.png" in shown
    assert "right.png" in shown
    assert "Completed" in text_of(nurse.get(at("draft", draft)))


def test_one_film_and_going_on_is_one_press(nurse: Client, draft: Draft) -> None:
    fill(nurse, draft)

    response = nurse.post(at("files", draft), {"file": film(), "go-on": "yes"})

    assert response.headers["Location"] == at("check", draft)
    assert draft.evidence.count() == 1


def test_going_on_without_a_file_is_allowed(nurse: Client, draft: Draft) -> None:
    assert nurse.post(at("files", draft), {"go-on": "yes"}).status_code == 302


def test_adding_nothing_says_what_to_do(nurse: Client, draft: Draft) -> None:
    response = nurse.post(at("files", draft))

    assert response.status_code == 422
    assert text_of(response).count("Choose a file first.") == 2
    assert "<title>Error: " in response.content.decode()


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.png", b"", "empty.png: The file is empty."),
        ("words.txt", b"just words", "words.txt: Send a JPEG, PNG, PDF or DICOM file"),
        ("page.png", b"<html><script>", "page.png: Send a JPEG, PNG, PDF or DICOM file"),
    ],
)
def test_a_refused_file_is_named_with_its_fault(
    nurse: Client, draft: Draft, name: str, content: bytes, words: str
) -> None:
    response = nurse.post(at("files", draft), {"file": upload(name, content)})

    assert response.status_code == 422
    assert words in text_of(response)
    assert not Evidence.objects.exists()


@override_settings(EVIDENCE_MAX_BYTES=2**20)
def test_a_file_that_is_too_large_is_refused_with_the_limit(nurse: Client, draft: Draft) -> None:
    response = nurse.post(at("files", draft), {"file": film("big.png", b"x" * 2**20)})

    assert "big.png: The file is larger than 1 MB." in text_of(response)


def test_a_refused_file_does_not_lose_the_others(nurse: Client, draft: Draft) -> None:
    bad = upload("words.png", b"no picture at all")

    response = nurse.post(at("files", draft), {"file": [film("good.png"), bad]})

    assert response.status_code == 422
    assert draft.evidence.get().original_name == "good.png"


def test_the_same_file_twice_is_named(nurse: Client, draft: Draft) -> None:
    twins = [film("one.png"), film("two.png")]
    response = nurse.post(at("files", draft), {"file": twins, "go-on": "yes"})

    assert response.headers["Location"] == at("files", draft)
    assert "the same file as one.png" in text_of(nurse.get(at("files", draft)))


def test_a_file_of_another_result_is_warned_about(club: Club, nurse: Client, draft: Draft) -> None:
    earlier = evidence.attach(by=club.nurse.actor, chunks=[film().read()], name="hips.png")
    factories.make_submitted(club, evidence=[earlier.public_id])
    keep(nurse, draft, "examination", **EXAMINATION)

    nurse.post(at("files", draft), {"file": film()})

    assert "One of the files is attached to" in text_of(nurse.get(at("files", draft)))


def test_the_film_marker_is_called_to_mind(nurse: Client, draft: Draft) -> None:
    assert "marker for left or right" in text_of(nurse.get(at("files", draft)))


def test_a_file_is_removed_from_the_list_and_the_disk(nurse: Client, draft: Draft) -> None:
    nurse.post(at("files", draft), {"file": film()})
    item = draft.evidence.get()
    path = Path(settings.EVIDENCE_ROOT) / item.stored_name
    assert path.exists()

    response = nurse.post(f"{at('files', draft)}{item.public_id}/remove/")

    assert response.headers["Location"] == at("files", draft)
    assert not draft.evidence.exists()


def test_a_download_cannot_act_in_the_browser(nurse: Client, draft: Draft) -> None:
    nurse.post(at("files", draft), {"file": film("häft.png")})
    item = draft.evidence.get()

    response = nurse.get(f"/clinic/files/{item.public_id}/")

    assert b"".join(response.streaming_content) == film().read()  # type: ignore[attr-defined]
    assert response.headers["Content-Disposition"].startswith("attachment")
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in response.headers["Content-Security-Policy"]
    response.close()


def test_another_clinics_file_is_as_missing_as_none(
    club: Club, nurse: Client, draft: Draft
) -> None:
    nurse.post(at("files", draft), {"file": film()})
    item = draft.evidence.get()
    other = signed_in(club.other_nurse)

    assert other.get(f"/clinic/files/{item.public_id}/").status_code == 404
    assert other.get("/clinic/files/nothing/").status_code == 404
    assert other.post(f"{at('files', draft)}{item.public_id}/remove/").status_code == 404
    assert draft.evidence.exists()


def test_a_file_of_another_draft_cannot_be_removed_through_this_one(
    club: Club, nurse: Client, draft: Draft
) -> None:
    loose = evidence.attach(by=club.nurse.actor, chunks=[film().read()], name="hips.png")

    response = nurse.post(f"{at('files', draft)}{loose.public_id}/remove/")

    assert response.status_code == 404
    assert Evidence.objects.filter(pk=loose.pk).exists()
