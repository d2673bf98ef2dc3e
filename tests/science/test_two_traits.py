"""Two traits together: against the textbook's dense formulas, and each trait alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import linalg

from registry.science.animal_design import AnimalDesign
from registry.science.animal_equations import COMPONENTS, Component
from registry.science.breeding_values import breeding_values
from registry.science.kinship import relationship
from registry.science.mixed_model import Records, Variances
from registry.science.restricted_likelihood import LikelihoodPoint
from registry.science.two_traits import Covariances, breeding_values_of_two
from tests.science.simulated import Breed, Truth, breed
from tests.science.test_variances import by_contrasts

Numbers = NDArray[np.float64]

G = np.array([[0.5, -0.3], [-0.3, 0.4]])
C = np.array([[0.08, 0.02], [0.02, 0.05]])
E = np.array([[0.45, -0.15], [-0.15, 0.55]])
COVARIANCES = Covariances(G, C, E)


def some() -> tuple[Breed, Records, Records]:
    """About 170 dogs, a third with both records, a third with one, a third with none."""
    bred = breed(Truth.of(G, C, E), seed=1, years=5, litters_a_year=6, founders=16)
    return bred, bred.records(trait=0, tested=0.6), bred.records(trait=1, tested=0.5)


def dense(
    bred: Breed, first: Records, second: Records
) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """Return y, X, V, and the covariances (2, n, N) of all dogs' values with the records."""
    a = relationship(bred.pedigree, bred.inbreeding)
    dog = np.concatenate([first.dog, second.dog])
    trait = np.repeat([0, 1], [len(first), len(second)])
    litter = np.concatenate([first.litter, second.litter])
    v = (
        G[np.ix_(trait, trait)] * a[np.ix_(dog, dog)]
        + C[np.ix_(trait, trait)] * (litter[:, None] == litter)
        + E[np.ix_(trait, trait)] * (dog[:, None] == dog)
    )
    x = linalg.block_diag(*(_columns(records) for records in (first, second)))
    covariance = np.stack([a[:, dog] * G[which][trait] for which in (0, 1)])
    return np.concatenate([first.value, second.value]), x, v, covariance


def test_values_and_error_variances_are_those_of_the_dense_formulas() -> None:
    # Best linear unbiased prediction: Cov(a, y) P y, and Var(a) − Cov(a, y) P Cov(y, a).
    bred, first, second = some()
    y, x, v, covariance = dense(bred, first, second)
    inverse = np.linalg.inv(v)
    p = inverse - inverse @ x @ np.linalg.pinv(x.T @ inverse @ x) @ x.T @ inverse

    solutions = breeding_values_of_two(bred.pedigree, bred.inbreeding, first, second, COVARIANCES)

    assert np.any(bred.inbreeding > 0)
    for trait, solution in enumerate(solutions):
        own = G[trait, trait] * (1 + bred.inbreeding)
        error = own - np.einsum("ij,jk,ik->i", covariance[trait], p, covariance[trait])
        assert solution.value == pytest.approx(covariance[trait] @ p @ y, abs=1e-9)
        assert solution.error_variance == pytest.approx(error, abs=1e-9)
        assert solution.reliability == pytest.approx(1 - error / own, abs=1e-9)
        assert solution.method == "exact"


def test_the_fixed_parts_are_those_of_generalised_least_squares() -> None:
    bred, first, second = some()
    y, x, v, _ = dense(bred, first, second)
    b = np.linalg.lstsq(
        linalg.solve_triangular(r := np.linalg.cholesky(v), x, lower=True),
        linalg.solve_triangular(r, y, lower=True),
        rcond=None,
    )[0]

    one, other = breeding_values_of_two(bred.pedigree, bred.inbreeding, first, second, COVARIANCES)

    assert np.concatenate([one.level_mean, other.level_mean]) == pytest.approx(x @ b, abs=1e-8)


def test_the_restricted_likelihood_is_the_density_of_error_contrasts() -> None:
    bred, first, second = some()
    y, _, v, _ = dense(bred, first, second)
    design = AnimalDesign.of_recorded(bred.pedigree, bred.inbreeding, [first, second])

    found = LikelihoodPoint(design, COVARIANCES).log_likelihood

    x = design.effects[:, : design.fixed].toarray()
    assert found == pytest.approx(by_contrasts(y, x, v), abs=1e-7)


@pytest.mark.parametrize("component", COMPONENTS)
@pytest.mark.parametrize("element", [(0, 0), (0, 1), (1, 1)])
def test_the_scores_are_the_slopes_of_the_likelihood(
    component: Component, element: tuple[int, int]
) -> None:
    bred, first, second = some()
    design = AnimalDesign.of_recorded(bred.pedigree, bred.inbreeding, [first, second])
    move = np.zeros((2, 2))
    move[element] = move[element[::-1]] = 1e-5

    score = LikelihoodPoint(design, COVARIANCES).scores[component]

    matrix = COVARIANCES.of(component)
    up, down = (
        LikelihoodPoint(design, replace(COVARIANCES, **{component: matrix + sign * move}))
        for sign in (1, -1)
    )
    slope = (up.log_likelihood - down.log_likelihood) / 2
    assert float(np.sum(score * move)) == pytest.approx(slope, rel=1e-4, abs=1e-9)


def test_traits_without_covariance_are_as_if_alone() -> None:
    bred, first, second = some()
    apart = Covariances(*(np.diag(np.diag(part)) for part in (G, C, E)))

    together = breeding_values_of_two(bred.pedigree, bred.inbreeding, first, second, apart)

    for trait, records in enumerate((first, second)):
        variances = Variances(*(float(part[trait, trait]) for part in (G, C, E)))
        alone = breeding_values(bred.pedigree, bred.inbreeding, records, variances)
        assert together[trait].value == pytest.approx(alone.value, abs=1e-9)
        assert together[trait].reliability == pytest.approx(alone.reliability, abs=1e-9)
        assert together[trait].litter == pytest.approx(alone.litter, abs=1e-9)
        for name, levels in alone.fixed.items():
            assert together[trait].fixed[name] == pytest.approx(levels, abs=1e-8)


def test_a_record_of_one_trait_speaks_for_the_other() -> None:
    bred, first, second = some()
    variances = Variances(*(float(part[1, 1]) for part in (G, C, E)))
    alone = breeding_values(bred.pedigree, bred.inbreeding, second, variances)

    _, other = breeding_values_of_two(bred.pedigree, bred.inbreeding, first, second, COVARIANCES)

    only_first = np.setdiff1d(first.dog, second.dog)
    assert np.all(other.reliability[only_first] > alone.reliability[only_first] + 0.02)


def test_the_truth_is_as_far_off_as_the_error_variance_says() -> None:
    # One breed of some 1,700 dogs: the mean squared error against the mean error variance, and
    # the slope of the true on the predicted values, which is 1 for a prediction without bias.
    bred = breed(Truth.of(G, C, E), seed=6, years=8, litters_a_year=35, founders=100)
    first, second = bred.records(trait=0, tested=0.6), bred.records(trait=1, tested=0.4)

    solutions = breeding_values_of_two(bred.pedigree, bred.inbreeding, first, second, COVARIANCES)

    for trait, solution in enumerate(solutions):
        truth = bred.value[:, trait]
        squared = np.mean((truth - solution.value) ** 2)
        assert squared == pytest.approx(solution.error_variance.mean(), rel=0.15)
        slope = np.polynomial.polynomial.polyfit(solution.value, truth, 1)[1]
        assert slope == pytest.approx(1, abs=0.12)


def test_a_large_breed_has_the_same_values_and_nearly_the_same_reliabilities(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bred = breed(Truth.of(G, C, E), seed=2, years=8, litters_a_year=15)
    first, second = bred.records(trait=0, tested=0.6), bred.records(trait=1, tested=0.5)
    exact = breeding_values_of_two(bred.pedigree, bred.inbreeding, first, second, COVARIANCES)
    monkeypatch.setattr("registry.science.two_traits.MOST_EXACT", 0)

    found = breeding_values_of_two(bred.pedigree, bred.inbreeding, first, second, COVARIANCES)

    for trait in (0, 1):
        gap = found[trait].reliability - exact[trait].reliability
        assert found[trait].method == "approximate"
        assert found[trait].iterations > 0
        assert found[trait].value == pytest.approx(exact[trait].value, abs=1e-6)
        assert np.abs(gap).mean() < 0.015


def test_two_litters_of_one_dog_are_refused() -> None:
    bred, first, second = some()
    moved = replace(second, litter=second.litter + 1)

    with pytest.raises(ValueError, match="litter differs"):
        breeding_values_of_two(bred.pedigree, bred.inbreeding, first, moved, COVARIANCES)


def test_a_second_record_of_a_dog_is_refused() -> None:
    bred, first, second = some()
    dog = first.dog.copy()
    dog[1] = dog[0]

    with pytest.raises(ValueError, match="two records of one trait"):
        breeding_values_of_two(
            bred.pedigree, bred.inbreeding, replace(first, dog=dog), second, COVARIANCES
        )


def test_a_record_of_a_dog_outside_the_pedigree_is_refused() -> None:
    bred, first, second = some()

    with pytest.raises(ValueError, match=f"from 0 to {len(bred.born) - 1}"):
        breeding_values_of_two(
            bred.pedigree,
            bred.inbreeding,
            first,
            replace(second, dog=second.dog + len(bred.born)),
            COVARIANCES,
        )


def _columns(records: Records) -> Numbers:
    """Return all levels of all effects, and the age; they depend on each other."""
    columns = [np.equal.outer(codes, np.unique(codes)) for codes in records.fixed.values()]
    return np.column_stack([*columns, records.age]).astype(float)
