"""Breeding values and reliabilities against worked examples in print.

Numbers of the animal model: Mrode (2014), Linear Models for the Prediction of Animal Breeding
Values, 3rd ed., CABI; the page is in each case's source. Where a solution is printed with three
digits, the case holds more, reckoned by another route (see its ``verified_by``).
"""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse

from registry.science.breeding_values import Solution, breeding_values
from registry.science.fixed_effects import FixedEffects
from registry.science.inbreeding import inbreeding
from registry.science.kinship import relationship_inverse
from registry.science.mixed_model import Equations, RandomEffect, Records, Variances, equations
from registry.science.pedigree import Pedigree
from tests.published.cases import topic

CASES = topic("blup_reml")
Codes = NDArray[np.int64]


def codes(*names: Any) -> Codes:
    """Numbers for names, in the names' order."""
    return np.unique(np.array(names), return_inverse=True)[1].astype(np.int64)


def pedigree_of(rows: list[list[str | None]]) -> Pedigree:
    """The animals are numbered from 1 in order."""
    sire, dam = ([int(row[column] or 0) - 1 for row in rows] for column in (1, 2))
    return Pedigree.of(sire, dam)


def incidence(level: Codes, levels: int) -> sparse.csr_array:
    r = len(level)
    return sparse.csr_array((np.ones(r), (np.arange(r), level)), shape=(r, levels))


def solved(rows: list[list[str | None]], records: Records, variances: Variances) -> Solution:
    pedigree = pedigree_of(rows)
    return breeding_values(pedigree, inbreeding(pedigree), records, variances)


def weaning_gains() -> Solution:
    given = CASES["mrode-3.1-blup"]["inputs"]
    rows = given["records_id_sex_wwg"]
    records = Records(
        dog=np.array([int(animal) - 1 for animal, _sex, _gain in rows]),
        value=np.array([gain for _animal, _sex, gain in rows]),
        fixed={"sex": codes(*(sex for _animal, sex, _gain in rows))},
        age=np.full(len(rows), 0.5),
        litter=np.full(len(rows), -1),
    )
    variances = Variances(given["var_a"], 0.0, given["var_e"])
    return solved(given["pedigree_id_sire_dam"], records, variances)


def piglets() -> Solution:
    given = CASES["mrode-4.2-litter"]["inputs"]
    rows = given["records_id_sex_dam_y"]
    records = Records(
        dog=np.array([int(animal) - 1 for animal, *_rest in rows]),
        value=np.array([weight for *_rest, weight in rows]),
        fixed={"sex": codes(*(row[1] for row in rows))},
        age=np.full(len(rows), 0.1),
        litter=codes(*(row[2] for row in rows)),
    )
    variances = Variances(given["var_a"], given["var_c"], given["var_e"])
    return solved(given["pedigree_id_sire_dam"], records, variances)


def test_five_records_of_eight_animals() -> None:
    # Mrode (2014), example 3.1, p. 37-40; confirmed.
    case = CASES["mrode-3.1-blup"]

    found = weaning_gains()

    full = case["expected"]["full"]
    assert found.value == pytest.approx(list(full["ebv"].values()), abs=case["tolerance"]["full"])
    assert found.value == pytest.approx(list(case["expected"]["ebv"].values()), abs=0.001)
    assert found.fixed["sex"] == pytest.approx([full["F"], full["M"]], abs=1e-6)


def test_reliabilities_of_eight_animals() -> None:
    # Mrode (2014), section 3.3.3, p. 44-46; reproduced, in part seen.
    case = CASES["mrode-3.1-reliability"]
    expected = case["expected"]

    found = weaning_gains()

    reliabilities = list(expected["reliability"].values())
    assert found.reliability == pytest.approx(reliabilities, abs=case["tolerance"]["reliability"])
    errors = list(expected["sep"].values())
    assert np.sqrt(found.error_variance) == pytest.approx(errors, abs=case["tolerance"]["sep"])
    assert found.method == "exact"


def test_piglets_of_three_litters() -> None:
    # Mrode (2014), example 4.2, p. 67-69; confirmed.
    case = CASES["mrode-4.2-litter"]
    full = case["expected"]["full"]

    found = piglets()

    within = case["tolerance"]["full"]
    assert found.value == pytest.approx(list(full["ebv"].values()), abs=within)
    assert found.litter == pytest.approx(list(full["common"].values()), abs=within)
    assert found.fixed["sex"] == pytest.approx([full["F"], full["M"]], abs=within)
    assert found.reliability == pytest.approx(list(full["reliability"].values()), abs=within)


def test_sires_by_their_offsprings_records() -> None:
    # Mrode (2014), example 3.2, p. 46-48; confirmed.
    case = CASES["mrode-3.2-sire"]
    given, full = case["inputs"], case["expected"]["full"]
    names = [sire for sire, _its_sire in given["sires"]]
    sires = [-1 if sire is None else names.index(sire) for _name, sire in given["sires"]]
    pedigree = Pedigree.of(sires, [-1] * len(sires))
    rows = given["records_sire_sex_y"]
    sire_of_record = np.array([names.index(sire) for sire, _sex, _y in rows])
    related = RandomEffect(
        incidence(sire_of_record, len(names)),
        given["var_s"],
        relationship_inverse(pedigree, inbreeding(pedigree)),
    )

    found = equations(
        fixed=incidence(codes(*(sex for _sire, sex, _y in rows)), 2),
        random=[related],
        residual=given["var_e"],
        value=np.array([y for *_rest, y in rows]),
    )

    sexes, values = found.solved()
    within = case["tolerance"]["full"]
    assert sexes == pytest.approx([full["F"], full["M"]], abs=within)
    assert values == pytest.approx([full["sires"][name] for name in names], abs=within)
    reliability = 1.0 - found.error_variances()[1] / given["var_s"]
    assert reliability == pytest.approx([full["reliability"][name] for name in names], abs=within)


def test_cows_with_two_records_each() -> None:
    # Mrode (2014), example 4.1, p. 62-64; confirmed. Herd-year-seasons 1 and 3 are set to zero.
    case = CASES["mrode-4.1-repeatability"]
    given, full = case["inputs"], case["expected"]["full"]
    pedigree = pedigree_of(given["pedigree_id_sire_dam"])
    own = inbreeding(pedigree)
    rows = given["records_id_parity_hys_fat"]
    cow = np.array([int(row[0]) - 1 for row in rows])
    parity, season = (np.array([row[column] for row in rows]) for column in (1, 2))

    found = equations(
        fixed=np.column_stack([parity == 1, parity == 2, season == 2, season == 4]).astype(float),
        random=[
            RandomEffect(incidence(cow, 8), given["var_a"], relationship_inverse(pedigree, own)),
            RandomEffect(incidence(cow - 3, 5), given["var_pe"]),
        ],
        residual=given["var_e"],
        value=np.array([float(row[3]) for row in rows]),
    )

    fixed, values, permanent = found.solved()
    within = case["tolerance"]["full"]
    assert fixed == pytest.approx(full["fixed"], abs=within)
    assert values == pytest.approx(full["ebv"], abs=within)
    assert permanent == pytest.approx(full["pe"], abs=within)
    reliability = 1.0 - found.error_variances()[1] / ((1.0 + own) * given["var_a"])
    assert reliability == pytest.approx(full["reliability"], abs=within)


def test_other_constraints_leave_every_fixed_part_as_printed() -> None:
    # The same example: its parities and seasons are confounded in part.
    case = CASES["mrode-4.1-repeatability"]
    rows, full = case["inputs"]["records_id_parity_hys_fat"], case["expected"]["full"]["fixed"]
    parity, season = (np.array([row[column] for row in rows]) for column in (1, 2))
    printed = np.column_stack([parity == 1, parity == 2, season == 2, season == 4]) @ full

    effects = FixedEffects.of({"parity": parity, "season": season}, np.ones(len(rows)))

    assert len(effects) == 4
    rest = np.linalg.lstsq(effects.rows.toarray(), printed)[1]
    assert rest == pytest.approx(0.0, abs=1e-12)


def test_a_dog_without_record_or_relatives_stands_at_zero() -> None:
    # From the definition of the best linear unbiased prediction; reproduced.
    case = CASES["blup-shrink-no-info"]
    alone = [["1", None, None], ["2", None, None]]

    found = solved(alone, one_record(case["expected"]["own_record_dev"]), shares(case))

    nothing = case["expected"]["no_info"]
    assert found.value[1] == pytest.approx(nothing["ebv"], abs=case["tolerance"]["all"])
    assert found.reliability[1] == pytest.approx(nothing["reliability"], abs=1e-9)


def test_an_own_record_alone_is_shrunk_by_the_heritability() -> None:
    # From the definition of the best linear unbiased prediction, the mean known; reproduced.
    case = CASES["blup-shrink-no-info"]
    alone = [["1", None, None], ["2", None, None]]

    found = solved(alone, one_record(case["expected"]["own_record_dev"]), shares(case))

    assert found.value[0] == pytest.approx(case["expected"]["ebv"], abs=case["tolerance"]["all"])
    assert found.reliability[0] == pytest.approx(case["expected"]["reliability"], abs=1e-9)


def shares(case: dict[str, Any]) -> Variances:
    heritability = case["inputs"]["h2"]
    return Variances(heritability, 0.0, 1.0 - heritability)


def one_record(deviation: float) -> Records:
    return Records(
        dog=np.array([0]),
        value=np.array([deviation]),
        fixed={},
        age=np.array([0.0]),
        litter=np.array([-1]),
    )


def test_batches_of_dyestuff_as_litters_of_unrelated_dogs() -> None:
    # Davies & Goldsmith (1972); reproduced.
    case = CASES["dyestuff-reml"]
    groups, expected = case["inputs"]["groups"], case["expected"]
    value = np.array([y for batch in groups.values() for y in batch], dtype=float)
    r = len(value)
    records = Records(
        dog=np.arange(r),
        value=value,
        fixed={"all": np.zeros(r, dtype=np.int64)},
        age=np.ones(r),
        litter=np.repeat(np.arange(len(groups)), [len(batch) for batch in groups.values()]),
    )
    variances = Variances(0.0, expected["var_between"], expected["var_within"])
    unrelated = [[str(dog + 1), None, None] for dog in range(r)]

    found = solved(unrelated, records, variances)

    within = case["tolerance"]["blup"]
    assert found.litter == pytest.approx(list(expected["blup"].values()), abs=within)
    assert found.fixed["all"] == pytest.approx([expected["mean"]], abs=1e-9)
    assert not found.value.any()


def test_batches_of_dyestuff_as_sires_of_unrelated_dogs() -> None:
    # The same data as a sire model; reproduced.
    expected = CASES["dyestuff-reml"]["expected"]

    found = batches_of_dyestuff(mean_columns=1)

    (mean,), batches = found.solved()
    assert mean == pytest.approx(expected["mean"])
    assert batches == pytest.approx(list(expected["blup"].values()), abs=0.001)
    assert np.sqrt(found.error_variances()[0]) == pytest.approx([expected["se_mean"]], abs=1e-3)


def test_error_variance_of_a_batch_of_dyestuff_given_the_mean() -> None:
    # The value is the variance given the mean; where the mean is estimated it is larger.
    expected = CASES["dyestuff-reml"]["expected"]

    known, estimated = (batches_of_dyestuff(mean_columns=n).error_variances()[1] for n in (0, 1))

    assert known == pytest.approx([expected["pev"]] * 6, abs=0.01)
    assert (estimated > known).all()


def batches_of_dyestuff(*, mean_columns: int) -> Equations:
    groups = CASES["dyestuff-reml"]["inputs"]["groups"]
    expected = CASES["dyestuff-reml"]["expected"]
    batch = np.repeat(np.arange(len(groups)), [len(values) for values in groups.values()])
    return equations(
        fixed=np.ones((len(batch), mean_columns)),
        random=[RandomEffect(incidence(batch, len(groups)), expected["var_between"])],
        residual=expected["var_within"],
        value=np.array([y for values in groups.values() for y in values], dtype=float),
    )
