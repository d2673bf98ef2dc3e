"""A pedigree in any order: parents come first, and what cannot be is refused and named."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from registry.science.pedigree import Pedigree, PedigreeLoopError
from tests.science.families import Family, families


@given(families())
def test_parents_stand_before_their_offspring(family: Family) -> None:
    pedigree = family.pedigree

    rank = np.argsort(pedigree.order)
    for dog, parents in enumerate(zip(family.sire, family.dam, strict=True)):
        assert all(rank[parent] < rank[dog] for parent in parents if parent >= 0)
    assert sorted(pedigree.order) == list(range(len(family.sire)))


@given(families())
def test_a_dog_stands_one_level_below_its_lower_parent(family: Family) -> None:
    pedigree = family.pedigree

    for dog, parents in enumerate(zip(family.sire, family.dam, strict=True)):
        above = [pedigree.level[parent] for parent in parents if parent >= 0]
        assert pedigree.level[dog] == (max(above) + 1 if above else 0)


def test_dogs_of_one_level_keep_the_order_they_came_in() -> None:
    # A hundred pups of two founders, who stand last.
    pedigree = Pedigree.of([100] * 100 + [-1, -1], [101] * 100 + [-1, -1])

    assert pedigree.order.tolist() == [100, 101, *range(100)]


def test_no_dogs_are_a_pedigree_too() -> None:
    pedigree = Pedigree.of([], [])

    assert len(pedigree) == 0
    assert pedigree.order.tolist() == []


def test_what_the_caller_does_to_the_rows_later_does_not_change_the_pedigree() -> None:
    sire = np.array([-1, -1, 0])
    pedigree = Pedigree.of(sire, np.array([-1, -1, 1]))

    sire[2] = -1

    assert pedigree.sire.tolist() == [-1, -1, 0]


def test_the_stock_is_the_dogs_with_offspring() -> None:
    # Two founders, their two pups, and the pups of one of these with a third founder.
    pedigree = Pedigree.of([-1, 2, -1, 2, 1, 1, -1], [-1, 0, -1, 0, 6, 6, -1])

    assert pedigree.stock.places.tolist() == [0, 2, 6, 1]
    assert pedigree.stock_number.tolist() == [0, 3, 1, 4, 4, 4, 2, 4]
    assert pedigree.stock.sire.tolist() == [4, 4, 4, 1]
    assert pedigree.stock.dam.tolist() == [4, 4, 4, 0]


@pytest.mark.parametrize(
    ("sire", "dam", "loop"),
    [
        ([1, -1], [-1, 0], {0, 1}),
        ([0, -1], [-1, -1], {0}),
        ([2, 0, 3, 2], [-1, -1, -1, -1], {2, 3}),
        # The dogs above and below the loop 2 → 3 → 4 → 2 are not named.
        ([-1, 0, 3, -1, 2, 4, 5], [-1, -1, 1, 4, -1, 0, 1], {2, 3, 4}),
    ],
)
def test_a_loop_is_refused_and_its_dogs_are_named(
    sire: list[int], dam: list[int], loop: set[int]
) -> None:
    with pytest.raises(PedigreeLoopError) as refused:
        Pedigree.of(sire, dam)

    places = refused.value.places
    assert set(places) == loop
    assert len(places) == len(loop)
    for child, parent in zip(places, [*places[1:], places[0]], strict=True):
        assert parent in (sire[child], dam[child])
    assert ", ".join(str(place) for place in places) in str(refused.value)


@given(families(), st.data())
def test_an_own_descendant_as_a_parent_makes_a_loop(family: Family, data: st.DataObject) -> None:
    parents = [*family.sire, *family.dam]
    bred = [place for place in range(len(family.sire)) if place in parents]
    if not bred:
        return
    ancestor = data.draw(st.sampled_from(bred))
    below = ancestor
    while below in parents:
        offspring = [
            dog for dog in range(len(family.sire)) if below in (family.sire[dog], family.dam[dog])
        ]
        below = data.draw(st.sampled_from(offspring))
    sire = list(family.sire)
    sire[ancestor] = below
    dam = [-1 if dog == ancestor else parent for dog, parent in enumerate(family.dam)]

    with pytest.raises(PedigreeLoopError) as refused:
        Pedigree.of(sire, dam)

    assert ancestor in refused.value.places


@pytest.mark.parametrize(
    ("sire", "dam", "message"),
    [
        ([-1, 2], [-1, 0], "the sire of the dog at place 1 is at place 2; places go from 0 to 1"),
        ([-1, 0], [-1, -2], "the dam of the dog at place 1 is at place -2"),
        ([-1, 0], [-1, 0], "the dog at place 0 is sire and dam both of the dog at place 1"),
        ([-1, 0], [-1], "2 sires and 1 dams"),
        ([-1.0, 0.5], [-1, -1], "the sires' places must be one row of whole numbers"),
        ([-1, 0], [[-1, -1]], "the dams' places must be one row of whole numbers"),
    ],
)
def test_what_is_no_pedigree_is_refused(sire: ArrayLike, dam: ArrayLike, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Pedigree.of(sire, dam)
