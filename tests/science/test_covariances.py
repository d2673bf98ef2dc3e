"""Covariances of two traits: recovered from simulated breeds, and against each trait alone."""

from __future__ import annotations

import numpy as np
import pytest

from registry.science.animal_design import AnimalDesign
from registry.science.covariances import estimate_covariances
from registry.science.mixed_model import Records
from registry.science.reml import maximise
from registry.science.restricted_likelihood import LikelihoodPoint
from registry.science.two_traits import Covariances
from registry.science.variances import TooFewRecordsError, estimate_variances, subset
from tests.science.simulated import Breed, Truth, breed

G = np.array([[0.5, -0.27], [-0.27, 0.4]])
C = np.array([[0.1, 0.0], [0.0, 0.1]])
E = np.array([[0.4, -0.15], [-0.15, 0.5]])
CORRELATION = -0.27 / np.sqrt(0.5 * 0.4)


def bred_with_records(
    seed: int = 3, litters_a_year: int = 13, genes: float = -0.27
) -> tuple[Breed, Records, Records]:
    additive = np.array([[0.5, genes], [genes, 0.4]])
    bred = breed(Truth.of(additive, C, E), seed=seed, years=8, litters_a_year=litters_a_year)
    first = bred.records(trait=0, tested=0.9, seed=seed)
    return bred, first, bred.records(trait=1, tested=0.7, seed=seed)


class TestSimulatedBreeds:
    def test_the_genetic_correlation_is_recovered(self) -> None:
        found = []
        for seed in range(8):
            bred, first, second = bred_with_records(seed)
            found.append(estimate_covariances(bred.pedigree, bred.inbreeding, first, second))

        correlations = np.array([each.genetic_correlation for each in found])
        errors = np.array([each.genetic_correlation_error for each in found])
        held = np.abs(correlations - CORRELATION) <= 1.96 * errors
        assert np.all(correlations < 0)
        assert correlations.mean() == pytest.approx(CORRELATION, abs=0.2)
        assert held.sum() >= 6

    def test_a_larger_breed_shows_all_of_it(self) -> None:
        bred, first, second = bred_with_records(seed=1, litters_a_year=30)

        found = estimate_covariances(bred.pedigree, bred.inbreeding, first, second)

        assert found.has_converged
        assert found.is_sound
        for component, true in (("additive", G), ("litter", C), ("residual", E)):
            gap = getattr(found.covariances, component) - true
            assert np.all(np.abs(gap) <= 3 * getattr(found.errors, component))

    def test_traits_that_share_no_genes(self) -> None:
        bred, first, second = bred_with_records(seed=5, genes=0.0)

        found = estimate_covariances(bred.pedigree, bred.inbreeding, first, second)

        assert abs(found.genetic_correlation) <= 1.96 * found.genetic_correlation_error


def test_without_covariances_the_likelihoods_add_up() -> None:
    bred, first, second = bred_with_records()
    estimates = [
        estimate_variances(bred.pedigree, bred.inbreeding, records) for records in (first, second)
    ]
    apart = Covariances(
        *(
            np.diag([getattr(each.variances, name) for each in estimates])
            for name in ("additive", "litter", "residual")
        )
    )
    design = AnimalDesign.of_recorded(bred.pedigree, bred.inbreeding, [first, second])

    found = LikelihoodPoint(design, apart).log_likelihood

    assert found == pytest.approx(sum(each.log_likelihood for each in estimates), abs=1e-6)


def test_which_trait_is_first_does_not_matter() -> None:
    bred, first, second = bred_with_records()
    start = Covariances(G, C, E)
    turned = Covariances(*(part[::-1, ::-1] for part in (G, C, E)))

    here = maximise(
        AnimalDesign.of_recorded(bred.pedigree, bred.inbreeding, [first, second]), start
    )
    there = maximise(
        AnimalDesign.of_recorded(bred.pedigree, bred.inbreeding, [second, first]), turned
    )

    assert there.log_likelihood == pytest.approx(here.log_likelihood, abs=1e-6)
    assert there.covariances.additive[::-1, ::-1] == pytest.approx(
        here.covariances.additive, abs=1e-4
    )


def test_too_few_dogs_with_both_are_refused() -> None:
    bred, first, second = bred_with_records()
    in_first = first.litter % 2 == 0
    in_second = second.litter % 2 == 1

    with pytest.raises(TooFewRecordsError, match="0 dogs with both"):
        estimate_covariances(
            bred.pedigree, bred.inbreeding, subset(first, in_first), subset(second, in_second)
        )
