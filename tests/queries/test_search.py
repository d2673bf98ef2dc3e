"""A dog is found by its name as people type it, and nothing that is typed is an error."""

from __future__ import annotations

import random
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.desk.naming import index_all
from registry.models import Dog
from registry.queries.search import find_by_chip, find_dogs, near_chips
from tests.factories import Club, make_club, make_dog

pytestmark = pytest.mark.django_db

KENNELS = [
    first + last
    for first in ("Tarn", "Heather", "Bracken", "Sallow", "Ostrow", "Müllen", "Skarre", "Issel")
    for last in ("fold", "quay", "brook", "moor", "thwaite", "holm", "stead", "rigg")
]
NAMES = [
    f"{first} {second}"
    for first in ("Late", "Velvet", "Crisp", "Windy", "Glad", "Ashen", "Quiet", "Deep", "O'Roving")
    for second in ("Falcon", "Clover", "Pebble", "Kettle", "Orchard", "Whisper", "Gale", "Ticket")
]


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.mark.parametrize(
    "typed",
    [
        "Mullenquell Zizka",
        "žižka",
        "ZIZKA OF MÜLLENQUELL",
        "zizka müllenquell",
        "Mulenquell Zizka",
        "Müllenquell Žikza",
        "Mlulenquell Zizkaa",
    ],
)
def test_accents_order_and_slips_do_not_matter(club: Club, typed: str) -> None:
    wanted = make_dog(club, name="Müllenquell Žižka")
    make_dog(club, name="Mallowbeck Zephyr")

    assert find_dogs(typed)[0].public_id == wanted.public_id


def test_an_apostrophe_may_be_there_or_not(club: Club) -> None:
    wanted = make_dog(club, name="O’Merrisk Deep Lock")

    for typed in ("OMerrisk", "o'merrisk deep lock", "O Merrisk Deep Lock"):
        assert find_dogs(typed)[0].public_id == wanted.public_id


def test_a_renamed_dog_is_found_by_its_new_name_only(club: Club) -> None:
    dog = make_dog(club, name="Tarnfold Juniper")
    Dog.objects.filter(pk=dog.pk).update(name="Ostrowquay Gale")
    index_all()

    assert find_dogs("Ostrowquay Gale")[0].public_id == dog.public_id
    assert find_dogs("Tarnfold Juniper") == []


def test_two_letters_find_names_that_begin_so(club: Club) -> None:
    wanted = make_dog(club, name="Xy of Tarnfold")

    assert [found.public_id for found in find_dogs("xy")] == [wanted.public_id]


def test_chips_are_found_exactly_and_their_neighbours_offered(club: Club) -> None:
    dog = make_dog(club, chip="276098100000012")

    found = find_by_chip("276 098 100 000 012")

    assert found is not None
    assert found.public_id == dog.public_id
    assert find_by_chip("276098100000021") is None
    assert [near.public_id for near in near_chips("276098100000021")] == [dog.public_id]
    assert [near.public_id for near in near_chips("276098100000013")] == [dog.public_id]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(text=st.text(max_size=60))
def test_nothing_that_is_typed_is_an_error(text: str) -> None:
    find_dogs(text)


@pytest.mark.parametrize(
    "text",
    ["\x00", '"', "NEAR(a b)", "* OR *", "a" * 10_000, "%", "_", "😀😀😀", "'; DROP TABLE x"],
)
def test_no_operator_of_an_index_is_obeyed(club: Club, text: str) -> None:
    make_dog(club)

    find_dogs(text)


def test_the_right_dog_is_in_the_top_five_for_95_of_100_corrupted_names(club: Club) -> None:
    chance = random.Random(7)
    pairs = [(kennel, name) for kennel in KENNELS for name in NAMES]
    chosen = chance.sample(pairs, 2_000)
    Dog.objects.bulk_create(
        Dog(breed=club.breed, name=f"{kennel} {name}", sex="F", born_on=date(2020, 1, 1))
        for kennel, name in chosen
    )
    index_all()
    ids = dict(Dog.objects.values_list("name", "public_id"))

    asked = chance.sample(chosen, 200)
    right = 0
    for kennel, name in asked:
        whole = f"{name} of {kennel}" if chance.random() < 0.3 else f"{kennel} {name}"
        found = find_dogs(corrupted(whole, chance), 5)
        right += ids[f"{kennel} {name}"] in [dog.public_id for dog in found]

    assert right >= 190


def corrupted(text: str, chance: random.Random) -> str:
    """The text with one slip of the hand, or two: substitution, deletion, insertion, swap."""
    for _slip in range(chance.choice((1, 1, 2))):
        place = chance.randrange(1, len(text) - 1)
        letter = chance.choice("abcdefghijklmnopqrstuvwxyz")
        text = chance.choice(
            (
                text[:place] + letter + text[place + 1 :],
                text[:place] + text[place + 1 :],
                text[:place] + letter + text[place:],
                text[:place] + text[place + 1] + text[place] + text[place + 2 :],
            )
        )
    return text
