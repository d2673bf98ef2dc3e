"""Programs announce examinations, list and withdraw them; once for each key."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from registry.models import Announcement
from tests.api.conftest import Callers
from tests.factories import make_accepted, make_dog


def body(callers: Callers, days: int = 0, dog: str = "") -> dict[str, str]:
    day = timezone.localdate() + timedelta(days=days)
    return {"dog": dog or make_dog(callers.club).public_id, "examined_on": day.isoformat()}


def test_a_clinic_announces_and_a_key_does_it_once(callers: Callers) -> None:
    given = body(callers, days=3)

    first, again = (
        callers.clinic.send("announcements", given, Idempotency_Key="once") for _each in range(2)
    )

    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    assert Announcement.objects.count() == 1
    made = first.json()
    assert (made["state"], made["evaluation"]) == ("open", None)
    assert made["examined_on"] == given["examined_on"]


def test_a_day_that_is_none_is_named(callers: Callers) -> None:
    given = body(callers) | {"examined_on": "2026-W40-5"}

    refused = callers.clinic.send("announcements", given)

    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/examined_on"


def test_a_server_time_cannot_be_given(callers: Callers) -> None:
    given = body(callers) | {"announced_at": "2020-01-01T00:00:00Z"}

    refused = callers.clinic.send("announcements", given)

    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/announced_at"
    assert not Announcement.objects.exists()


def test_each_sees_what_it_may(callers: Callers) -> None:
    callers.clinic.send("announcements", body(callers))

    def seen(caller: str) -> tuple[int, int]:
        answer = getattr(callers, caller).get("announcements?state=open")
        return answer.status_code, len(answer.json().get("items", ()))

    assert seen("clinic") == (200, 1)
    assert seen("other_clinic") == (200, 0)
    assert seen("registrar") == (200, 1)
    assert seen("nobody")[0] == 401
    assert callers.registrar.send("announcements", body(callers)).status_code == 403


def test_a_clinic_withdraws_with_a_reason(callers: Callers) -> None:
    made = callers.clinic.send("announcements", body(callers)).json()
    path = f"announcements/{made['id']}/withdrawal"

    assert callers.other_clinic.send(path, {"reason": "not ours"}).status_code == 404
    assert callers.clinic.send(path, {"reason": " "}).status_code == 422
    gone = callers.clinic.send(path, {"reason": "cancelled"})
    twice = callers.clinic.send(path, {"reason": "cancelled"})

    assert (gone.status_code, gone.json()["state"], gone.json()["reason"]) == (
        201, "withdrawn", "cancelled",
    )  # fmt: skip
    assert (twice.status_code, twice.json()["state"]) == (409, "withdrawn")
    listed = callers.clinic.get("announcements?state=withdrawn").json()["items"]
    assert [each["id"] for each in listed] == [made["id"]]


def test_the_certificate_has_the_servers_times(callers: Callers) -> None:
    dog = make_dog(callers.club)
    callers.clinic.send("announcements", body(callers, dog=dog.public_id))
    certificate = make_accepted(callers.club, dog, examined_on=timezone.localdate().isoformat())

    told = callers.nobody.get(f"certificates/{certificate.number}").json()

    assert told["announced_at"][:10] == timezone.now().date().isoformat()
    assert told["announced_at"] < told["submitted_at"] < told["issued_at"]
