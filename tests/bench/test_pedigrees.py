"""The pedigrees made up for measurements look like those of dogs, and the plain way is right."""

import numpy as np
import pytest

from tests.bench import plain
from tests.bench.pedigrees import made_up
from tests.published.cases import topic


def test_a_made_up_breed_is_like_a_breed_of_dogs() -> None:
    breed = made_up(20_000)

    parents = np.unique(np.concatenate([breed.sire, breed.dam]))[1:]
    litters = np.bincount(breed.litter[breed.litter >= 0])
    pups = np.sort(np.bincount(breed.sire[breed.sire >= 0]))[::-1]
    assert 0.06 < len(parents) / 20_000 < 0.1
    assert 5.5 < litters.mean() < 6.5
    assert pups[0] > 5 * pups[pups > 0].mean()
    assert breed.is_male[breed.sire[breed.sire >= 0]].all()
    assert not breed.is_male[breed.dam[breed.dam >= 0]].any()
    ages = breed.cohort - breed.cohort[breed.sire]
    assert set(ages[breed.sire >= 0]) == {1, 2, 3}


def test_a_made_up_breed_is_the_same_for_the_same_seed() -> None:
    assert np.array_equal(made_up(5_000, seed=4).sire, made_up(5_000, seed=4).sire)
    assert not np.array_equal(made_up(5_000, seed=4).sire, made_up(5_000, seed=5).sire)


def test_shuffling_keeps_every_dogs_parents() -> None:
    breed = made_up(2_000)
    order = np.random.default_rng(9).permutation(2_000)

    shuffled = breed.shuffled(9)

    for parent in ("sire", "dam"):
        before, after = getattr(breed, parent)[order], getattr(shuffled, parent)
        assert np.array_equal(after >= 0, before >= 0)
        assert np.array_equal(order[after[after >= 0]], before[before >= 0])


def test_the_plain_way_finds_the_published_values() -> None:
    # Mrode (2014), Table 2.1; the animals are named 1 to 6, parents first.
    case = topic("pedigree")["mrode-2.1-A"]
    rows = case["inputs"]["pedigree_id_sire_dam"]
    sire = [int(row[1] or 0) - 1 for row in rows]
    dam = [int(row[2] or 0) - 1 for row in rows]

    found = plain.inbreeding(sire, dam)

    assert found == pytest.approx(list(case["expected"]["F"].values()), abs=1e-12)
    variance = plain.mendelian_variances(sire, dam, found)
    assert variance == pytest.approx(case["expected"]["D"], abs=1e-12)
    # Twice the kinship of animals 5 and 6.
    kinship = plain.kinship(sire, dam, found, variance, 4, 5)
    assert 2 * kinship == pytest.approx(case["expected"]["A"][4][5], abs=1e-12)
