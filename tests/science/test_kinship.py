"""Kinships and the relationship matrix against the tabular method, pair by pair."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.inbreeding import inbreeding
from registry.science.kinship import kinship, kinship_with, relationship, relationship_inverse
from registry.science.pedigree import Pedigree
from tests.bench import plain
from tests.bench.pedigrees import made_up
from tests.science.families import Family, families


@given(families(), st.data())
def test_one_dog_against_all_is_half_the_tabular_relationship(
    family: Family, data: st.DataObject
) -> None:
    pedigree = family.pedigree
    n = len(pedigree)
    dog = data.draw(st.integers(0, n - 1))

    found = kinship_with(pedigree, inbreeding(pedigree), dog, range(n))

    assert found == pytest.approx(family.relationship()[dog] / 2, abs=1e-12)


@given(families())
def test_the_matrix_is_the_tabular_one(family: Family) -> None:
    pedigree = family.pedigree

    found = relationship(pedigree, inbreeding(pedigree))

    assert found == pytest.approx(family.relationship(), abs=1e-12)


@given(families())
def test_the_sparse_inverse_undoes_the_tabular_matrix(family: Family) -> None:
    pedigree = family.pedigree

    inverse = relationship_inverse(pedigree, inbreeding(pedigree)).toarray()

    assert inverse @ family.relationship() == pytest.approx(np.eye(len(pedigree)), abs=1e-9)
    assert np.array_equal(inverse, inverse.T)


def test_a_breed_of_thousands_has_the_kinships_of_the_plain_way() -> None:
    breed = made_up(4_000)
    pedigree = Pedigree.of(breed.sire, breed.dam)
    found = inbreeding(pedigree)
    dam = int(np.flatnonzero(~breed.is_male)[-3])
    males = np.flatnonzero(breed.is_male)[-200:]

    kinships = kinship_with(pedigree, found, dam, males)

    sire, dams, known = breed.sire.tolist(), breed.dam.tolist(), found.tolist()
    variance = plain.mendelian_variances(sire, dams, known)
    expected = [plain.kinship(sire, dams, known, variance, dam, male) for male in males.tolist()]
    assert kinships == pytest.approx(expected, abs=1e-12)
    assert kinships.max() > 0.1


def test_others_may_be_asked_twice_and_in_any_order() -> None:
    pedigree = Pedigree.of([-1, -1, 0, 0], [-1, -1, 1, 1])

    found = kinship_with(pedigree, inbreeding(pedigree), 2, [3, 0, 3, 2])

    assert found.tolist() == [0.25, 0.25, 0.25, 0.5]


def test_kinship_with_nobody_is_empty() -> None:
    pedigree = Pedigree.of([-1], [-1])

    assert kinship_with(pedigree, np.zeros(1), 0, []).shape == (0,)


def test_a_dog_is_its_own_kin_by_half_and_its_inbreeding() -> None:
    pedigree = Pedigree.of([-1, -1, 0, 0, 2], [-1, -1, 1, 1, 3])

    assert kinship(pedigree, inbreeding(pedigree), 4, 4) == 0.625


@pytest.mark.parametrize("place", [-1, 2])
def test_a_place_outside_the_pedigree_is_refused(place: int) -> None:
    pedigree = Pedigree.of([-1, -1], [-1, -1])

    with pytest.raises(ValueError, match="from 0 to 1"):
        kinship(pedigree, np.zeros(2), 0, place)
    with pytest.raises(ValueError, match="from 0 to 1"):
        kinship_with(pedigree, np.zeros(2), place, [0])


def test_inbreeding_of_another_pedigree_is_refused() -> None:
    pedigree = Pedigree.of([-1, -1], [-1, -1])

    with pytest.raises(ValueError, match="2 dogs, but inbreeding of"):
        kinship(pedigree, np.zeros(3), 0, 1)
    with pytest.raises(ValueError, match="2 dogs, but inbreeding of"):
        relationship(pedigree, np.zeros(3))
    with pytest.raises(ValueError, match="2 dogs, but inbreeding of"):
        relationship_inverse(pedigree, np.zeros(3))


def test_parents_inbred_completely_leave_no_inverse() -> None:
    pedigree = Pedigree.of([-1, -1, 0], [-1, -1, 1])

    with pytest.raises(ValueError, match="the dog at place 2 are inbred completely"):
        relationship_inverse(pedigree, np.array([1.0, 1.0, 1.0]))
