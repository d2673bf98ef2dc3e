"""Selection against published tables and worked numbers: intensities, responses, open halves."""

from __future__ import annotations

import numpy as np
import pytest

from registry.science.inbreeding import mendelian_variance
from registry.science.litter import forecast
from registry.science.mixed_model import Variances
from registry.science.pedigree import Pedigree
from registry.science.selection import (
    intensity,
    intensity_of,
    response,
    response_of_both,
    truncation_point,
)
from tests.published.cases import topic

CASES = topic("selection")
INFINITE = CASES["intensity-infinite"]
FINITE = CASES["intensity-finite"]
MENDELIAN = CASES["mendelian-variance"]
LEFT_OPEN = list(zip(MENDELIAN["inputs"]["cases"], MENDELIAN["expected"]["fraction"], strict=True))


@pytest.mark.parametrize("share", INFINITE["expected"]["i"])
def test_the_intensity_of_many_dogs_is_that_of_the_tables(share: str) -> None:
    # Falconer & Mackay (1996), appendix table A; reproduced with scipy. Published: 0.798 for a
    # half, 1.400 for a fifth, 1.755 for a tenth, 2.063 for a twentieth, 2.665 for a hundredth.
    assert intensity(float(share)) == pytest.approx(INFINITE["expected"]["i"][share], abs=1e-5)


@pytest.mark.parametrize("share", INFINITE["expected"]["x"])
def test_the_truncation_point_is_that_of_the_tables(share: str) -> None:
    point = truncation_point(float(share))

    assert point == pytest.approx(INFINITE["expected"]["x"][share], abs=1e-5)


def test_the_response_is_heritability_times_the_selection_differential() -> None:
    # Falconer & Mackay (1996), ch. 11, on Clayton, Morris & Robertson (1957), J Genet 55:131-151:
    # the heritability as in the abstract, the four means from memory.
    inputs, expected = CASES["breeders-equation"]["inputs"], CASES["breeders-equation"]["expected"]
    differential = inputs["selected_parents"] - inputs["base"]

    change = response(intensity=differential, heritability=inputs["h2"], sd=1.0)

    assert change == pytest.approx(expected["R"], abs=1e-9)
    assert inputs["base"] + change == pytest.approx(expected["expected_progeny"], abs=1e-9)
    # What was seen, from memory too: near, as theory promises no more.
    assert inputs["base"] + change == pytest.approx(expected["observed_progeny"], abs=0.2)


def test_the_response_is_intensity_times_heritability_times_the_spread_of_records() -> None:
    inputs, expected = (
        CASES["response-intensity"]["inputs"],
        CASES["response-intensity"]["expected"],
    )

    change = response(
        intensity=intensity(inputs["p"]), heritability=inputs["h2"], sd=inputs["sigma_p"]
    )

    assert change == pytest.approx(expected["R"], abs=1e-6)


def test_both_sexes_count_by_halves_and_a_year_is_a_part_of_a_generation() -> None:
    # Falconer & Mackay (1996), ch. 11; closed form.
    inputs, expected = CASES["two-sex-response"]["inputs"], CASES["two-sex-response"]["expected"]

    found = response_of_both(
        sires=intensity(inputs["p_male"]),
        dams=intensity(inputs["p_female"]),
        heritability=inputs["h2"],
        sd=inputs["sigma_p"],
        generation_years=inputs["L_years"],
    )

    assert found.per_generation == pytest.approx(expected["R"], abs=1e-6)
    assert found.per_year == pytest.approx(expected["per_year"], abs=1e-6)


@pytest.mark.parametrize(("parents", "share"), LEFT_OPEN)
def test_what_parents_leave_open_is_half_less_their_inbreeding(
    parents: list[float | str | None], share: float
) -> None:
    # Mrode (2014), section 2.3 (formula seen); Foulley & Chevalet (1981).
    sire, dam = (_inbreeding(parent) for parent in parents)
    pedigree = Pedigree.of([-1, -1, -1 if sire is None else 0], [-1, -1, -1 if dam is None else 1])

    left_open = mendelian_variance(pedigree, np.array([sire or 0.0, dam or 0.0, 0.0]))

    assert left_open[2] == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize(("parents", "share"), LEFT_OPEN[:4])
def test_a_forecast_holds_the_same_share_of_the_additive_variance(
    parents: list[float], share: float
) -> None:
    found = forecast(
        sire_value=0.0,
        dam_value=0.0,
        sire_error_variance=0.0,
        dam_error_variance=0.0,
        sire_inbreeding=parents[0],
        dam_inbreeding=parents[1],
        kinship=0.0,
        variances=Variances(additive=2.0, litter=0.0, residual=1.0),
        base=0.0,
        better="lower",
    )

    assert found.mendelian_variance == pytest.approx(2.0 * share, abs=1e-12)


@pytest.mark.parametrize("kept", FINITE["expected"]["exact"])
def test_the_intensity_of_few_dogs_is_the_mean_of_the_best_order_statistics(kept: str) -> None:
    # Falconer & Mackay (1996), appendix table B; reproduced by another numerical integration. The
    # best of ten dogs lies 1.539 above all, not 1.755 as the best tenth of many.
    best, tested = (int(number) for number in kept.split("/"))

    assert intensity_of(best, tested) == pytest.approx(FINITE["expected"]["exact"][kept], abs=1e-5)


@pytest.mark.parametrize("kept", FINITE["expected"]["burrows"])
def test_burrows_approximation_says_nearly_the_same(kept: str) -> None:
    # Burrows (1972), Biometrics 28:1091-1100: i − (n − s)/(2 s (n + 1) i); the second opinion.
    best, tested = (int(number) for number in kept.split("/"))
    many = intensity(best / tested)
    burrows = many - (tested - best) / (2 * best * (tested + 1) * many)

    assert burrows == pytest.approx(FINITE["expected"]["burrows"][kept], abs=1e-5)
    assert intensity_of(best, tested) == pytest.approx(burrows, abs=0.06 / best / tested**0.5)


def _inbreeding(parent: float | str | None) -> float | None:
    """The case's "known 0.2" is a parent with that inbreeding."""
    if isinstance(parent, str):
        return float(parent.removeprefix("known "))
    return parent
