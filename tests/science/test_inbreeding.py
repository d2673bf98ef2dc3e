"""Inbreeding against the tabular method and the plain way, in any order of rows and any blocks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science import inbreeding as module
from registry.science.inbreeding import inbreeding, mendelian_variance
from registry.science.pedigree import Pedigree
from tests.bench import plain
from tests.bench.pedigrees import made_up
from tests.science.families import Family, families


@given(families())
def test_it_is_what_the_tabular_method_finds(family: Family) -> None:
    found = inbreeding(family.pedigree)

    assert found == pytest.approx(np.diag(family.relationship()) - 1, abs=1e-12)


@given(families(), st.data())
def test_the_order_of_the_rows_changes_nothing(family: Family, data: st.DataObject) -> None:
    places = data.draw(st.permutations(range(len(family.sire))))

    found = inbreeding(family.moved(places).pedigree)

    assert found[places] == pytest.approx(inbreeding(family.pedigree), abs=1e-12)


@pytest.mark.parametrize("cohorts", [6, 15, 40])
def test_a_breed_of_thousands_has_the_values_of_the_plain_way(cohorts: int) -> None:
    breed = made_up(4_000, cohorts=cohorts)

    found = inbreeding(Pedigree.of(breed.sire, breed.dam))

    expected = plain.inbreeding(breed.sire.tolist(), breed.dam.tolist())
    assert found == pytest.approx(expected, abs=1e-12)
    assert found.max() > 0.1


def test_a_shuffled_breed_has_the_same_values_to_the_last_bit() -> None:
    breed = made_up(4_000)
    order = np.random.default_rng(5).permutation(4_000)
    shuffled = breed.shuffled(5)

    found = inbreeding(Pedigree.of(shuffled.sire, shuffled.dam))

    assert np.array_equal(found, inbreeding(Pedigree.of(breed.sire, breed.dam))[order])


@pytest.mark.parametrize("sires", [1, 3, 1000])
def test_how_many_sires_go_together_changes_nothing(
    sires: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    breed = made_up(3_000)
    pedigree = Pedigree.of(breed.sire, breed.dam)
    expected = inbreeding(pedigree)

    monkeypatch.setattr(module, "_SIRES", sires)

    assert np.array_equal(inbreeding(pedigree), expected)


def test_a_dog_with_one_known_parent_is_not_inbred() -> None:
    # Two littermates; a pup of theirs; a pup of that one and nobody known.
    pedigree = Pedigree.of([-1, -1, 0, 0, 2, 4], [-1, -1, 1, 1, 3, -1])

    assert inbreeding(pedigree).tolist() == [0, 0, 0, 0, 0.25, 0]


def test_no_dogs_have_no_inbreeding() -> None:
    assert inbreeding(Pedigree.of([], [])).shape == (0,)
    assert inbreeding(Pedigree.of([-1, -1], [-1, -1])).tolist() == [0, 0]


def test_the_parents_inbreeding_leaves_less_open() -> None:
    # Nobody known; one parent of F = 0.25; two of F = 0.25 and 0.5.
    pedigree = Pedigree.of([-1, -1, 0, 0], [-1, -1, -1, 1])

    variance = mendelian_variance(pedigree, np.array([0.25, 0.5, 0.0, 0.0]))

    assert variance.tolist() == [1.0, 1.0, 0.6875, 0.3125]


def test_inbreeding_of_another_pedigree_is_refused() -> None:
    with pytest.raises(ValueError, match="2 dogs, but inbreeding of"):
        mendelian_variance(Pedigree.of([-1, -1], [-1, -1]), np.zeros(3))
