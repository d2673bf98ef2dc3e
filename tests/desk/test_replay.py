"""One key, one deed: the same request gets the same answer, another request is refused."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from registry.desk import replay
from registry.desk.errors import Invalid, KeyReused
from registry.desk.replay import Answer, forget_old_keys, once
from registry.models import Breed, ReplayKey

pytestmark = pytest.mark.django_db


class Deed:
    """Adds a breed, and counts how often it was done."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self) -> Answer:
        self.times += 1
        name = f"Fell Pointer {Breed.objects.count()}"
        Breed.objects.create(name=name, slug=name.lower().replace(" ", "-"))
        return Answer(201, {"name": name, "list": [1, None, "ü"]})


def ask(deed: Deed, *, scope: str = "token:a", key: str = "k", body: str = "b") -> Answer:
    return once(scope=scope, key=key, route="POST breeds", body_hash=body, deed=deed)


def test_the_same_request_gets_the_same_answer_and_is_done_once() -> None:
    deed = Deed()

    first, second = ask(deed), ask(deed)

    assert (first.status, first.body) == (second.status, second.body)
    assert (first.is_replay, second.is_replay) == (False, True)
    assert deed.times == Breed.objects.count() == 1


def test_another_body_under_the_key_is_refused() -> None:
    deed = Deed()
    ask(deed)

    with pytest.raises(KeyReused, match="Use a new key"):
        ask(deed, body="other")

    assert deed.times == 1


def test_another_route_under_the_key_is_refused() -> None:
    deed = Deed()
    ask(deed)

    with pytest.raises(KeyReused):
        once(scope="token:a", key="k", route="POST dogs", body_hash="b", deed=deed)

    assert deed.times == 1


def test_another_caller_may_use_the_same_key() -> None:
    deed = Deed()

    ask(deed)
    other = ask(deed, scope="token:b")

    assert not other.is_replay
    assert deed.times == 2


def test_a_refused_deed_leaves_its_key_free() -> None:
    def refused() -> Answer:
        Breed.objects.create(name="Harbour Spitz", slug="harbour-spitz")
        raise Invalid.one("/name", "no")

    with pytest.raises(Invalid):
        once(scope="token:a", key="k", route="POST breeds", body_hash="b", deed=refused)

    assert not ReplayKey.objects.exists()
    assert not Breed.objects.exists()
    assert not ask(Deed(), body="corrected").is_replay


def test_an_integrity_error_of_the_deed_is_not_taken_for_a_replay() -> None:
    def clash() -> Answer:
        for _ in range(2):
            Breed.objects.create(name="Harbour Spitz", slug="harbour-spitz")
        return Answer(201, {})

    with pytest.raises(IntegrityError), transaction.atomic():
        once(scope="token:a", key="k", route="POST breeds", body_hash="b", deed=clash)

    assert not ReplayKey.objects.exists()


def test_a_key_is_kept_for_thirty_days_and_then_forgotten() -> None:
    deed = Deed()
    ask(deed)
    now = timezone.now()

    ReplayKey.objects.update(created_at=now - timedelta(days=29, hours=23))
    assert forget_old_keys() == 0
    assert ask(deed).is_replay

    ReplayKey.objects.update(created_at=now - timedelta(days=30, minutes=1))
    assert forget_old_keys() == 1
    assert not ask(deed).is_replay


def test_keys_are_kept_for_thirty_days() -> None:
    assert timedelta(days=30) == replay.KEPT_FOR
