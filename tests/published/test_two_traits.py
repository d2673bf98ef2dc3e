"""Two traits together, against a worked example in print."""

import numpy as np
import pytest

from registry.science.inbreeding import inbreeding
from registry.science.mixed_model import Records
from registry.science.pedigree import Pedigree
from registry.science.two_traits import Covariances, breeding_values_of_two
from tests.published.cases import topic


def test_two_gains_of_eight_animals() -> None:
    # Mrode (2014), Linear Models for the Prediction of Animal Breeding Values, 3rd ed., CABI,
    # section 5.2.2, table 5.1, p. 73-74; confirmed (G and R from memory).
    case = topic("blup_reml")["mrode-5.1-bivariate"]
    given, expected = case["inputs"], case["expected"]
    parents = [
        [int(animal[column] or 0) - 1 for animal in given["pedigree_id_sire_dam"]]
        for column in (1, 2)
    ]
    pedigree = Pedigree.of(*parents)
    rows = given["records_id_sex_wwg_pwg"]
    weaning, after = (
        Records(
            dog=np.array([int(row[0]) - 1 for row in rows]),
            value=np.array([row[column] for row in rows]),
            fixed={"sex": np.array([int(row[1] == "M") for row in rows])},
            age=np.zeros(len(rows)),
            litter=np.full(len(rows), -1),
        )
        for column in (2, 3)
    )
    g, r = (np.array(given[name], dtype=float) for name in ("G", "R"))

    one, other = breeding_values_of_two(
        pedigree, inbreeding(pedigree), weaning, after, Covariances(g, np.zeros((2, 2)), r)
    )

    within = case["tolerance"]["published"]
    assert one.value == pytest.approx(expected["ebv_wwg"], abs=within)
    assert other.value == pytest.approx(expected["ebv_pwg"], abs=within)
    for sex, number in (("F", 0), ("M", 1)):
        gains = [one.fixed["sex"][number], other.fixed["sex"][number]]
        assert gains == pytest.approx(expected[sex], abs=within)
