"""Variance components against published numbers.

Dyestuff yields: Davies & Goldsmith (1972), Statistical Methods in Research and Production, 4th ed.;
the expectations were reproduced by two other programs and by analysis of variance. Batches stand
for unrelated sires with five offspring each: the variance between sires is ¼ of the additive one,
that within is the residual and ¾ of the additive one.
"""

import numpy as np
import pytest

from registry.science.animal_design import AnimalDesign
from registry.science.animal_equations import Covariances
from registry.science.inbreeding import inbreeding
from registry.science.mixed_model import Records
from registry.science.pedigree import Pedigree
from registry.science.reml import Maximum, maximise
from registry.science.restricted_likelihood import LikelihoodPoint
from registry.science.variances import estimate_of
from tests.published.cases import topic

CASE = topic("blup_reml")["dyestuff-reml"]
EXPECTED, TOLERANCE = CASE["expected"], CASE["tolerance"]


def design(*, is_mean_known: bool = False) -> AnimalDesign:
    groups = CASE["inputs"]["groups"]
    value = np.array([yield_ for group in groups.values() for yield_ in group], dtype=float)
    n, sires = len(value), len(groups)
    sire = np.concatenate([np.full(sires, -1), np.repeat(np.arange(sires), n // sires)])
    pedigree = Pedigree.of(sire, np.full(n + sires, -1))
    records = Records(
        dog=sires + np.arange(n),
        value=value - EXPECTED["mean"] if is_mean_known else value,
        fixed={} if is_mean_known else {"mean": np.zeros(n, dtype=np.int64)},
        age=np.zeros(n),
        litter=np.full(n, -1),
    )
    return AnimalDesign.of_recorded(pedigree, inbreeding(pedigree), [records])


def free() -> Maximum:
    start = Covariances(*(np.array([[part]]) for part in (2000.0, 0.0, 2000.0)))
    return maximise(design(), start, residual_may_be_negative=True)


def test_the_variances_between_and_within_sires() -> None:
    found = free().covariances

    additive, residual = found.additive[0, 0], found.residual[0, 0]
    within = TOLERANCE["variances"]
    assert additive / 4 == pytest.approx(EXPECTED["var_between"], abs=within)
    assert residual + 0.75 * additive == pytest.approx(EXPECTED["var_within"], abs=within)


def test_the_criterion() -> None:
    assert -2 * free().log_likelihood == pytest.approx(
        EXPECTED["reml_criterion"], abs=TOLERANCE["criterion"]
    )


def test_the_mean_and_its_standard_error() -> None:
    point = LikelihoodPoint(design(), free().covariances)

    assert point.solution[0] == pytest.approx(EXPECTED["mean"], abs=1e-6)
    assert np.sqrt(point.inverse[0, 0]) == pytest.approx(EXPECTED["se_mean"], abs=1e-3)


def test_the_predicted_batches_and_their_error_variance() -> None:
    # The published error variance takes the mean as known.
    covariances = free().covariances
    point = LikelihoodPoint(design(), covariances)
    known = LikelihoodPoint(design(is_mean_known=True), covariances)

    batches = list(EXPECTED["blup"].values())
    assert point.parent_values[:, 0] / 2 == pytest.approx(batches, abs=TOLERANCE["blup"])
    assert np.diag(known.inverse) / 4 == pytest.approx(EXPECTED["pev"], abs=0.005)


def test_a_heritability_above_one_is_reported_and_not_clipped() -> None:
    laid_out = design()
    bounded = maximise(
        laid_out, Covariances(*(np.array([[part]]) for part in (2000.0, 0.0, 2000.0)))
    )

    found = estimate_of(laid_out, bounded, "sires")

    between, within = EXPECTED["var_between"], EXPECTED["var_within"]
    assert found.is_at_bound
    assert found.variances.heritability < 1
    assert found.free_heritability == pytest.approx(4 * between / (between + within), abs=1e-4)
    assert found.free_heritability == pytest.approx(1.674, abs=5e-4)
