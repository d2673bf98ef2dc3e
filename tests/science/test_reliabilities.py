"""Reliabilities: of chosen dogs as of all, and the approximate ones against the exact ones."""

from dataclasses import replace

import numpy as np
import pytest

from registry.science import approximate_reliabilities
from registry.science import breeding_values as module
from registry.science.mixed_model import Records, Variances
from registry.science.pedigree import Pedigree
from registry.science.reduced_equations import reduced_equations
from registry.science.reliabilities import error_variances_of
from tests.science.breeds import VARIANCES, Breed, make_breed


@pytest.mark.parametrize("most_numbers", [4_000_000, 60_000], ids=["every clinic", "few columns"])
@pytest.mark.parametrize(
    "variances",
    [VARIANCES, replace(VARIANCES, litter=0.0), Variances(0.003, 0.003, 0.004)],
    ids=["usual", "no litters", "large litters"],
)
def test_approximate_reliabilities_are_near_the_exact_ones(
    monkeypatch: pytest.MonkeyPatch, variances: Variances, most_numbers: int
) -> None:
    breed = make_breed(6000, seed=2, clinics=60)
    exact = breed.solved(variances)
    monkeypatch.setattr(module, "EXACT_DOGS", 0)
    monkeypatch.setattr(module, "EXACT_EQUATIONS", 0)
    monkeypatch.setattr(approximate_reliabilities, "_NUMBERS", most_numbers)

    approximate = breed.solved(variances)

    wrong = np.abs(approximate.reliability - exact.reliability)
    is_parent = breed.pedigree.stock_number[:-1] < len(breed.pedigree.stock)
    assert exact.reliability.std() > 0.05
    assert wrong[is_parent].mean() <= 0.01
    assert wrong[~is_parent].mean() <= 0.01
    assert wrong.max() <= 0.1


def test_approximate_reliabilities_are_exact_where_no_dogs_are_related_by_two_ways(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Two founders, their litter of four, one of which has a litter of three by another founder.
    pedigree = Pedigree.of([-1, -1, 0, 0, 0, 0, -1, 6, 6, 6], [-1, -1, 1, 1, 1, 1, -1, 3, 3, 3])
    records = Records(
        dog=np.array([0, 2, 3, 4, 6, 7, 8]),
        value=np.array([0.3, 0.5, 0.4, 0.2, 0.6, 0.4, 0.5]),
        fixed={"all": np.zeros(7, dtype=np.int64)},
        age=np.ones(7),
        litter=np.array([-1, 0, 0, 0, -1, 1, 1]),
    )
    breed = Breed(pedigree, np.zeros(10), records)
    exact = breed.solved()
    monkeypatch.setattr(module, "EXACT_DOGS", 0)
    monkeypatch.setattr(module, "EXACT_EQUATIONS", 0)

    found = breed.solved()

    assert found.method == "approximate"
    assert found.reliability == pytest.approx(exact.reliability, abs=1e-4)


def test_a_large_breed_without_records_has_no_reliabilities(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    breed = make_breed(500)
    none = np.empty(0, dtype=np.int64)
    monkeypatch.setattr(module, "EXACT_DOGS", 0)
    monkeypatch.setattr(module, "EXACT_EQUATIONS", 0)

    found = breed._replace(records=Records(none, np.empty(0), {}, np.empty(0), none)).solved()

    assert not found.value.any()
    assert found.reliability.max() < 1e-3


def test_error_variances_of_a_few_dogs_are_those_of_all() -> None:
    breed = make_breed(800)
    system = reduced_equations(*breed, VARIANCES)
    places = np.arange(0, 800, 23)

    few = error_variances_of(system, breed.records, VARIANCES.residual, places)

    assert few == pytest.approx(breed.solved().error_variance[places], rel=1e-7)
