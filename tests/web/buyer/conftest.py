"""A small club with enough tested dogs to compare, shared by the tests of this room."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest

from registry.models import Certificate
from tests import factories
from tests.factories import Club


@pytest.fixture
def club(db: None) -> Club:
    return factories.make_club()


@pytest.fixture
def tested(club: Club) -> Callable[[int], None]:
    """Accept so many more dogs of the breed, from 0.20 upwards."""

    def accept(dogs: int) -> None:
        for step in range(dogs):
            value = f"0.{20 + step:02d}"
            factories.make_accepted(club, left=value, right=value)

    return accept


@pytest.fixture
def juno(club: Club) -> Certificate:
    """The certificate of a dog called Juno, released, with a litter mate that is not tested."""
    dam = factories.make_dog(club, name="Mosedale Wren", born_on=date(2019, 3, 1))
    sire = factories.make_dog(club, name="Fellgate Otto", sex="M", born_on=date(2019, 4, 1))
    dog = factories.make_dog(
        club, name="Tarnfold Juno", call_name="Juno", sire=sire.public_id, dam=dam.public_id
    )
    factories.make_dog(club, name="Tarnfold Moss", sex="M", sire=sire.public_id, dam=dam.public_id)
    return factories.make_accepted(club, dog, left="0.31", right="0.35")


@pytest.fixture
def litters(club: Club) -> Callable[[int, int], None]:
    """Register so many puppies of one pair, born in 2023, and have some of them tested."""

    def register(puppies: int, tested: int) -> None:
        dam = factories.make_dog(club, born_on=date(2019, 3, 1))
        sire = factories.make_dog(club, sex="M", born_on=date(2019, 4, 1))
        for place in range(puppies):
            dog = factories.make_dog(club, sire=sire.public_id, dam=dam.public_id)
            if place < tested:
                factories.make_accepted(club, dog)

    return register
