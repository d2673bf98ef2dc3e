"""Breeding values: the reduced equations against the whole ones, and what must hold of any run."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from scipy import sparse
from statsmodels.regression.mixed_linear_model import MixedLM

from registry.science import breeding_values as module
from registry.science.breeding_values import breeding_values
from registry.science.fixed_effects import FixedEffects
from registry.science.inbreeding import inbreeding
from registry.science.kinship import relationship, relationship_inverse
from registry.science.mixed_model import RandomEffect, Records, Variances, equations
from registry.science.pedigree import Pedigree
from tests.science.breeds import VARIANCES, Breed, Numbers, make_breed


class Whole(NamedTuple):
    fixed_part: Numbers
    value: Numbers
    litter: Numbers
    error_variance: Numbers


def whole_system(breed: Breed, variances: Variances = VARIANCES) -> Whole:
    """The same model with an equation for every dog and every litter, by dense algebra."""
    pedigree, own, records = breed
    r, n = len(records), len(pedigree)
    fixed = FixedEffects.of(records.fixed, records.age).rows
    dogs = sparse.csr_array((np.ones(r), (np.arange(r), records.dog)), shape=(r, n))
    known = np.flatnonzero(records.litter >= 0)
    litters = sparse.csr_array(
        (np.ones(len(known)), (known, records.litter[known])), shape=(r, records.litter.max() + 1)
    )
    # Every row times the root of its weight: then all residuals have one variance.
    root = sparse.diags_array(np.sqrt(records.weights))
    random = [RandomEffect(root @ dogs, variances.additive, relationship_inverse(pedigree, own))]
    if variances.litter:
        random.append(RandomEffect(sparse.csr_array(root @ litters), variances.litter))
    found = equations(
        fixed=root @ fixed,
        random=random,
        residual=variances.residual,
        value=root @ records.value,
    )
    b, value, *rest = found.solved()
    litter = rest[0] if rest else np.zeros(litters.shape[1])
    return Whole(fixed @ b, value, litter, found.error_variances()[1])


@pytest.mark.parametrize(
    "variances", [VARIANCES, replace(VARIANCES, litter=0.0), Variances(0.002, 0.006, 0.001)]
)
def test_the_reduced_equations_have_the_whole_systems_solution(variances: Variances) -> None:
    breed = make_breed(700)

    found, whole = breed.solved(variances), whole_system(breed, variances)

    assert np.abs(found.value - whole.value).max() < 1e-8 * 0.1
    assert np.abs(found.litter - whole.litter).max() < 1e-8 * 0.1
    assert np.abs(found.level_mean - whole.fixed_part).max() < 1e-8 * 0.1


def test_the_reduced_equations_give_the_whole_systems_error_variances() -> None:
    breed = make_breed(700)

    found, whole = breed.solved(), whole_system(breed)

    assert found.error_variance == pytest.approx(whole.error_variance, rel=1e-8)
    assert found.method == "exact"


def weighted_breed(dogs: int, *, seed: int = 1) -> Breed:
    breed = make_breed(dogs, seed=seed)
    weight = np.random.default_rng(9).uniform(0.05, 4.0, len(breed.records))
    return breed._replace(records=replace(breed.records, weight=weight))


def test_weighted_records_have_the_whole_systems_solution_and_error_variances() -> None:
    breed = weighted_breed(700)

    found, whole = breed.solved(), whole_system(breed)

    assert np.abs(found.value - whole.value).max() < 1e-8 * 0.1
    assert np.abs(found.litter - whole.litter).max() < 1e-8 * 0.1
    assert np.abs(found.value - whole_system(make_breed(700)).value).max() > 0.01
    assert found.error_variance == pytest.approx(whole.error_variance, rel=1e-8)


def test_a_large_breed_with_weighted_records_is_solved_alike(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    breed = weighted_breed(3000, seed=2)
    exact = breed.solved()
    monkeypatch.setattr(module, "EXACT_DOGS", 0)
    monkeypatch.setattr(module, "EXACT_EQUATIONS", 0)

    approximate = breed.solved()

    assert np.abs(approximate.value - exact.value).max() < 1e-6 * 0.1
    assert np.abs(approximate.reliability - exact.reliability).mean() <= 0.01


@pytest.mark.parametrize("weight", [[1.0, 0.0], [1.0], [1.0, np.inf]])
def test_a_weight_that_is_none_is_refused(weight: list[float]) -> None:
    both = np.zeros(2, dtype=np.int64)

    with pytest.raises(ValueError, match="weight"):
        Records(np.arange(2), np.ones(2), {}, np.ones(2), both, np.array(weight))


def test_the_whole_system_is_that_of_the_dense_relationship_matrix() -> None:
    # Another way to the same predictions: A Z′ V⁻¹ (y − X b), with b by generalised least squares.
    breed = make_breed(120)
    pedigree, own, records = breed
    table = VARIANCES.additive * relationship(pedigree, own)
    same_litter = (records.litter[:, None] == records.litter) & (records.litter >= 0)
    between = table[np.ix_(records.dog, records.dog)] + VARIANCES.litter * same_litter
    between += VARIANCES.residual * np.eye(len(records))
    fixed = FixedEffects.of(records.fixed, records.age).rows.toarray()
    inverse = np.linalg.inv(between)
    b = np.linalg.solve(fixed.T @ inverse @ fixed, fixed.T @ inverse @ records.value)

    found = breed.solved()

    by_hand = table[:, records.dog] @ inverse @ (records.value - fixed @ b)
    assert np.abs(found.value - by_hand).max() < 1e-10


def test_a_large_breed_is_solved_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    breed = make_breed(3000)
    small = breed.solved()
    monkeypatch.setattr(module, "EXACT_DOGS", 0)
    monkeypatch.setattr(module, "EXACT_EQUATIONS", 0)

    large = breed.solved()

    assert np.abs(large.value - small.value).max() < 1e-6 * 0.1
    assert np.abs(large.level_mean - small.level_mean).max() < 1e-6 * 0.1
    assert 0 < large.residual <= 1e-8
    assert (small.method, large.method) == ("exact", "approximate")


def test_a_run_can_be_repeated_bit_for_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    breed = make_breed(2500)
    small = [breed.solved() for _run in range(2)]
    monkeypatch.setattr(module, "EXACT_DOGS", 0)
    monkeypatch.setattr(module, "EXACT_EQUATIONS", 0)
    large = [breed.solved() for _run in range(2)]

    for one, other in (small, large):
        assert one.value.tobytes() == other.value.tobytes()
        assert one.error_variance.tobytes() == other.error_variance.tobytes()


def test_what_is_added_to_every_record_goes_into_the_fixed_part() -> None:
    breed = make_breed(400)
    raised = replace(breed.records, value=breed.records.value + 37.0)

    before, after = breed.solved(), breed._replace(records=raised).solved()

    assert after.value == pytest.approx(before.value, abs=1e-10)
    assert after.level_mean == pytest.approx(before.level_mean + 37.0, abs=1e-10)


def test_what_a_clinic_adds_to_its_records_goes_into_its_effect() -> None:
    breed = make_breed(400)
    at_three = breed.records.fixed["clinic"] == 3
    raised = replace(breed.records, value=breed.records.value + 0.2 * at_three)

    before, after = breed.solved(), breed._replace(records=raised).solved()

    assert after.value == pytest.approx(before.value, abs=1e-10)
    gained = after.fixed["clinic"] - before.fixed["clinic"]
    assert gained == pytest.approx(0.2 * (np.arange(12) == 3), abs=1e-10)


def test_an_age_counted_from_another_day_changes_nothing() -> None:
    breed = make_breed(400)
    older = replace(breed.records, age=breed.records.age + 10.0)

    before, after = breed.solved(), breed._replace(records=older).solved()

    assert after.value == pytest.approx(before.value, abs=1e-10)
    assert after.age == pytest.approx(before.age, abs=1e-10)


def test_a_slope_on_age_is_found() -> None:
    breed = make_breed(400)
    steeper = replace(breed.records, value=breed.records.value + 0.5 * breed.records.age)

    before, after = breed.solved(), breed._replace(records=steeper).solved()

    assert after.age - before.age == pytest.approx(0.5, abs=1e-10)
    assert after.value == pytest.approx(before.value, abs=1e-10)


def test_the_order_of_dogs_and_records_does_not_matter() -> None:
    breed = make_breed(500)
    n, r = 500, len(breed.records)
    random = np.random.default_rng(7)
    dogs, rows = random.permutation(n), random.permutation(r)
    place = np.empty(n + 1, dtype=np.int64)
    place[dogs], place[-1] = np.arange(n), -1
    pedigree = Pedigree.of(place[breed.pedigree.sire[dogs]], place[breed.pedigree.dam[dogs]])
    records = Records(
        dog=place[breed.records.dog[rows]],
        value=breed.records.value[rows],
        fixed={name: codes[rows] for name, codes in breed.records.fixed.items()},
        age=breed.records.age[rows],
        litter=breed.records.litter[rows],
    )

    found, shuffled = breed.solved(), Breed(pedigree, inbreeding(pedigree), records).solved()

    assert shuffled.value == pytest.approx(found.value[dogs], abs=1e-12)
    assert shuffled.reliability == pytest.approx(found.reliability[dogs], abs=1e-10)
    assert shuffled.level_mean == pytest.approx(found.level_mean[rows], abs=1e-12)


def test_an_effect_that_repeats_another_changes_nothing() -> None:
    breed = make_breed(400)
    repeated = {**breed.records.fixed, "examiner": breed.records.fixed["clinic"] // 2}
    doubled = replace(breed.records, fixed=repeated)

    before, after = breed.solved(), breed._replace(records=doubled).solved()

    assert after.value == pytest.approx(before.value, abs=1e-10)
    assert after.reliability == pytest.approx(before.reliability, abs=1e-10)


def test_a_record_alone_at_its_clinic_says_nothing() -> None:
    breed = make_breed(300)
    clinic = breed.records.fixed["clinic"].copy()
    clinic[0] = 12
    alone = breed._replace(
        records=replace(breed.records, fixed={**breed.records.fixed, "clinic": clinic})
    )
    value = alone.records.value.copy()
    value[0] += 5.0

    before = alone.solved()
    after = alone._replace(records=replace(alone.records, value=value)).solved()

    assert after.value == pytest.approx(before.value, abs=1e-10)


def test_an_unrecorded_unrelated_dog_stands_at_zero() -> None:
    breed = make_breed(300)
    pedigree = Pedigree.of(np.append(breed.pedigree.sire, -1), np.append(breed.pedigree.dam, -1))

    found = Breed(pedigree, np.append(breed.inbreeding, 0.0), breed.records).solved()

    assert found.value[-1] == 0.0
    assert found.reliability[-1] == pytest.approx(0.0, abs=1e-12)
    assert found.error_variance[-1] == pytest.approx(VARIANCES.additive)


def test_without_records_every_value_is_zero() -> None:
    breed = make_breed(200)
    none = np.empty(0, dtype=np.int64)
    empty = Records(none, np.empty(0), {"sex": none, "clinic": none}, np.empty(0), none)

    found = breed._replace(records=empty).solved()

    assert not found.value.any()
    assert found.reliability == pytest.approx(np.zeros(200), abs=1e-12)
    own = (1.0 + breed.inbreeding) * VARIANCES.additive
    assert found.error_variance == pytest.approx(own)


def test_one_record_cannot_be_told_from_its_fixed_part() -> None:
    breed = make_breed(200)
    one = Records(
        dog=np.array([5]),
        value=np.array([0.7]),
        fixed={"sex": np.array([1]), "clinic": np.array([4]), "year": np.array([9])},
        age=np.array([1.2]),
        litter=np.array([3]),
    )

    found = breed._replace(records=one).solved()

    assert found.level_mean == pytest.approx([0.7])
    assert found.value == pytest.approx(np.zeros(200), abs=1e-12)
    assert found.reliability == pytest.approx(np.zeros(200), abs=1e-9)


def test_without_additive_variance_every_value_is_zero() -> None:
    breed = make_breed(300)

    found = breed.solved(replace(VARIANCES, additive=0.0))

    assert not found.value.any()
    assert not found.reliability.any()
    assert found.litter.any()


def test_litters_of_unrelated_dogs_are_predicted_as_by_another_program() -> None:
    # statsmodels' MixedLM estimates the variances itself; ours is given what it found.
    random = np.random.default_rng(11)
    litter = np.repeat(np.arange(40), random.integers(1, 9, 40))
    r = len(litter)
    sex = random.integers(0, 2, r)
    age = random.uniform(0.4, 3.0, r)
    value = 105.0 + 0.5 * sex + 0.2 * age + 3.0 * random.standard_normal(40)[litter]
    value += 4.0 * random.standard_normal(r)
    other = MixedLM(value, np.column_stack([np.ones(r), sex, age]), litter).fit(reml=True)
    variances = Variances(0.0, float(other.cov_re[0, 0]), float(other.scale))
    unknown = np.full(r, -1)
    records = Records(np.arange(r), value, {"sex": sex}, age, litter)

    found = breeding_values(Pedigree.of(unknown, unknown), np.zeros(r), records, variances)

    theirs = [float(np.ravel(other.random_effects[each])[0]) for each in range(40)]
    assert found.litter == pytest.approx(theirs, abs=1e-8)
    assert found.age == pytest.approx(other.fe_params[2], abs=1e-8)
    assert found.fixed["sex"][1] - found.fixed["sex"][0] == pytest.approx(other.fe_params[1])


class TestRefusals:
    def test_a_second_record_of_a_dog(self) -> None:
        breed = make_breed(100)
        dog = breed.records.dog.copy()
        dog[1] = dog[0]

        with pytest.raises(ValueError, match=f"place {dog[0]} has more than one record"):
            breed._replace(records=replace(breed.records, dog=dog)).solved()

    def test_a_record_of_a_dog_outside_the_pedigree(self) -> None:
        breed = make_breed(100)
        dog = breed.records.dog.copy()
        dog[0] = 100

        with pytest.raises(ValueError, match="from 0 to 99"):
            breed._replace(records=replace(breed.records, dog=dog)).solved()

    def test_a_record_that_is_no_number(self) -> None:
        records = make_breed(100).records
        value = records.value.copy()
        value[7] = np.nan

        with pytest.raises(ValueError, match="the value of record 7 is no number"):
            replace(records, value=value)

    def test_a_column_of_another_length(self) -> None:
        records = make_breed(100).records

        with pytest.raises(ValueError, match="60 records, but age has shape"):
            replace(records, age=records.age[:-1])

    @pytest.mark.parametrize("wrong", [{"additive": -1.0}, {"litter": -1.0}, {"residual": 0.0}])
    def test_variances_without_a_solution(self, wrong: dict[str, float]) -> None:
        with pytest.raises(ValueError, match="must not be negative"):
            replace(VARIANCES, **wrong)
