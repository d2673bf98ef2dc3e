"""A dog's row edited behind the desk's back is found and named; honest work gives no alarm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest
from django.core.management import CommandError, call_command

from registry.desk.dog_agreement import check_dogs
from registry.desk.dogs import DogFacts, confirm_dog, correct_dog
from registry.desk.merge import CHIPS, merge_dogs
from registry.models import Dog, DogAlias, LedgerEntry
from tests.factories import Club, make_breed, make_chip, make_club, make_dog

pytestmark = pytest.mark.django_db


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def dog(club: Club) -> Dog:
    """A dog with both parents, a grandparent, and every fact there is."""
    grandfather = make_dog(club, sex="M", born_on=date(2015, 1, 1))
    sire = make_dog(club, sex="M", born_on=date(2018, 1, 1), sire=grandfather.public_id)
    dam = make_dog(club, born_on=date(2018, 1, 1))
    return make_dog(
        club,
        sire=sire.public_id,
        dam=dam.public_id,
        call_name="Juno",
        died_on=date(2026, 1, 1),
        studbook_number="TS 1",
    )


def merged(club: Club, keep: Dog, drop: Dog) -> None:
    merge_dogs(
        by=club.registrar.actor,
        keep=keep.public_id,
        drop=drop.public_id,
        versions=None,
        reason="one dog, entered twice",
        confirmed=[CHIPS],
    )


def found() -> list[tuple[str, str]]:
    return [(damage.field, damage.kind) for damage in check_dogs()]


class TestHonestWork:
    def test_every_deed_leaves_rows_that_agree(self, club: Club, dog: Dog) -> None:
        of_clinic = make_dog(club, by=club.nurse.actor)
        make_dog(club, by=club.nurse.actor)
        confirm_dog(by=club.registrar.actor, dog_id=of_clinic.public_id)
        facts = DogFacts(
            breed=club.breed.slug, name="Tarnfold Jura", sex="F", born_on=date(2023, 2, 1)
        )
        correct_dog(
            by=club.registrar.actor,
            dog_id=dog.public_id,
            version=dog.version,
            facts=replace(facts, chip=make_chip()),
            reason="the litter was entered wrongly",
        )

        assert found() == []
        call_command("verify_records")

    def test_so_do_merges_one_after_the_other(self, club: Club, dog: Dog) -> None:
        assert dog.sire is not None
        first, second = (make_dog(club, sex="M", born_on=date(2018, 1, 1)) for _ in range(2))
        unread = make_dog(club, by=club.nurse.actor, chip="")
        merged(club, unread, make_dog(club))
        merged(club, first, dog.sire)
        merged(club, second, first)

        assert found() == []


class TestEditedRows:
    @pytest.mark.parametrize(
        ("edit", "field"),
        [
            (lambda dog: dog.update(name="Tarnfold Jupiter"), "name"),
            (lambda dog: dog.update(call_name=""), "call_name"),
            (lambda dog: dog.update(sex="M"), "sex"),
            (lambda dog: dog.update(born_on="2023-01-16"), "born_on"),
            (lambda dog: dog.update(died_on=None), "died_on"),
            (lambda dog: dog.update(colour="black"), "colour"),
            (lambda dog: dog.update(chip="276098999999999"), "chip"),
            (lambda dog: dog.update(studbook_number="TS 2"), "studbook_number"),
            (lambda dog: dog.update(sire=None), "sire"),
            (lambda dog: dog.update(dam=Dog.objects.order_by("pk")[1]), "dam"),
            (lambda dog: dog.update(is_confirmed=False), "is_confirmed"),
            (lambda dog: dog.update(breed=make_breed()), "breed"),
        ],
    )
    def test_each_fact_is_named_with_the_entry_that_gave_it(
        self, dog: Dog, edit: Callable[[object], object], field: str
    ) -> None:
        entry = LedgerEntry.objects.get(subject=f"dog:{dog.public_id}")

        edit(Dog.objects.filter(pk=dog.pk))

        (damage,) = check_dogs()
        assert (damage.field, damage.kind, damage.seq) == (field, "edited", entry.seq)
        assert dog.public_id in damage.text

    def test_something_said_where_nothing_was_is_named(self, club: Club) -> None:
        make_dog(club)
        Dog.objects.update(died_on="2026-01-01")

        assert found() == [("died_on", "edited")]

    def test_a_dog_nobody_registered_is_named(self, club: Club) -> None:
        Dog.objects.create(breed=club.breed, name="Planted", sex="F", born_on=date(2023, 1, 1))

        assert found() == [("dog", "added")]

    def test_a_dog_that_is_gone_is_named(self, dog: Dog) -> None:
        dog.delete()

        assert found() == [("dog", "missing")]

    @pytest.mark.parametrize(
        ("edit", "kind"),
        [
            (lambda: DogAlias.objects.update(chip="276098999999999"), "edited"),
            (lambda: DogAlias.objects.update(dog=Dog.objects.latest("pk")), "edited"),
            (
                lambda: DogAlias.objects.create(
                    dog=Dog.objects.latest("pk"), public_id="a" * 16, chip="276098999999998"
                ),
                "added",
            ),
        ],
    )
    def test_another_way_to_a_dog_is_named(
        self, club: Club, edit: Callable[[], object], kind: str
    ) -> None:
        merged(club, make_dog(club), make_dog(club))
        make_dog(club)

        edit()

        assert found() == [("merged entry", kind)]

    def test_a_way_that_is_gone_is_named(self, club: Club) -> None:
        merged(club, make_dog(club), make_dog(club))

        DogAlias.objects.all().delete()

        assert ("merged entry", "missing") in found()

    def test_the_command_fails(self, dog: Dog, capsys: pytest.CaptureFixture[str]) -> None:
        Dog.objects.filter(pk=dog.pk).update(chip="276098999999999")

        with pytest.raises(CommandError):
            call_command("verify_records")

        assert "chip is not what entry" in capsys.readouterr().out
