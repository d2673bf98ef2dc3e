"""How long a breed's breeding values take, how much memory, and how near the reliabilities are.

Measured is the equations' building, their solution to 1e-8 and the values of all dogs and litters.
The reference solves the whole system, with an equation for every dog and litter, in the same way.
Six dogs of ten have a record; effects are sex, 300 clinics, the year, the age and the litter.
"""

from __future__ import annotations

import resource
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from threadpoolctl import threadpool_limits

from registry.science.approximate_reliabilities import approximate_error_variances
from registry.science.breeding_values import (
    TOLERANCE,
    breeding_values,
    recovered_litters,
    recovered_values,
    solution_by_iteration,
)
from registry.science.conjugate_gradients import conjugate_gradients
from registry.science.fixed_effects import FixedEffects
from registry.science.inbreeding import inbreeding
from registry.science.kinship import relationship_inverse
from registry.science.mixed_model import Equations, RandomEffect, Records, Variances, equations
from registry.science.pedigree import Pedigree
from registry.science.reduced_equations import ReducedEquations, reduced_equations
from registry.science.reliabilities import error_variances, error_variances_of
from tests.bench.pedigrees import made_up
from tests.bench.rounds import QUICK, Row, Turns, in_turns, readable, row_of, take_turns

SMALL, MIDDLE, LARGE = (3_000, 11_000, 30_000) if QUICK else (10_000, 100_000, 1_000_000)
ROUNDS = 2 if QUICK else 5
_VARIANCES = Variances(additive=0.0045, litter=0.0010, residual=0.0045)
_CLINICS, _RECORDED = 300, 0.6
_SAMPLE = 20 if QUICK else 40
"""Dogs whose exact reliability is reckoned in a breed too large for the inverse."""
_ALL = 3_000 if QUICK else 20_000
"""Dogs of the breed in which the exact reliability of every dog is reckoned."""


@dataclass(frozen=True)
class _Breed:
    pedigree: Pedigree
    inbreeding: NDArray[np.float64]
    records: Records

    @cached_property
    def mean(self) -> float:
        return float(self.records.value.mean())


def run() -> list[Row]:
    """Return the rows: against the whole system, by size, memory, reliabilities."""
    with threadpool_limits(limits=1, user_api="blas"):
        # The first of all: afterwards the reference's own peak hides it.
        large = _made_up(LARGE)
        breeding_values(large.pedigree, large.inbreeding, large.records, _VARIANCES)
        memory = _memory_row()
        against = _against_whole(large)
        middle = _made_up(MIDDLE)
        return [
            *against,
            *_by_size([_made_up(SMALL), middle, large]),
            memory,
            _errors_of_all(_made_up(_ALL)),
            *(_errors_of_sample(breed) for breed in (middle, large)),
        ]


def _made_up(dogs: int) -> _Breed:
    drawn = made_up(dogs)
    random = np.random.default_rng(dogs)
    dog = np.flatnonzero(random.random(dogs) < _RECORDED)
    clinic = random.integers(0, _CLINICS, len(dog))
    pedigree = Pedigree.of(drawn.sire, drawn.dam)
    fixed = {
        "sex": drawn.is_male[dog].astype(np.int64),
        "clinic": clinic,
        "year": drawn.cohort[dog],
    }
    value = 0.4 + 0.1 * random.standard_normal(len(dog)) + 0.03 * (clinic % 3)
    records = Records(dog, value, fixed, random.uniform(0.4, 3.0, len(dog)), drawn.litter[dog])
    # So that no round has to number the parents.
    assert len(pedigree.stock_number) == dogs + 1
    return _Breed(pedigree, inbreeding(pedigree), records)


def _reduced(breed: _Breed) -> NDArray[np.float64]:
    system = reduced_equations(breed.pedigree, breed.inbreeding, breed.records, _VARIANCES)
    solution = solution_by_iteration(system).solution
    litter = recovered_litters(system, solution)
    return recovered_values(system, breed.records, solution, litter)


def _whole(breed: _Breed) -> NDArray[np.float64]:
    system = _whole_system(breed)
    solved = conjugate_gradients(
        system.matrix.__matmul__, system.matrix.diagonal(), system.right, tolerance=TOLERANCE
    )
    return system.parts(solved.solution)[1]


def _whole_system(breed: _Breed) -> Equations:
    records, r = breed.records, len(breed.records)
    row = np.flatnonzero(records.litter >= 0)
    litter = records.litter[row]
    dogs = sparse.csr_array(
        (np.ones(r), records.dog, np.arange(r + 1)), shape=(r, len(breed.pedigree))
    )
    litters = sparse.csr_array((np.ones(len(row)), (row, litter)), shape=(r, int(litter.max()) + 1))
    inverse = relationship_inverse(breed.pedigree, breed.inbreeding)
    return equations(
        fixed=FixedEffects.of(records.fixed, records.age).rows,
        random=[
            RandomEffect(dogs, _VARIANCES.additive, inverse),
            RandomEffect(litters, _VARIANCES.litter),
        ],
        residual=_VARIANCES.residual,
        # As our own equations do, which brings the start nearer.
        value=records.value - breed.mean,
    )


def _against_whole(breed: _Breed) -> list[Row]:
    ours, whole = _reduced(breed), _whole(breed)
    apart = float(np.abs(ours - whole).max() / np.sqrt(_VARIANCES.additive))
    turns = in_turns(lambda: _whole(breed), lambda: _reduced(breed), rounds=ROUNDS, warm=0)
    n = f"{LARGE:,} dogs, {len(breed.records):,} records"
    return [
        turns.row(
            what="breeding values: build, solve, all dogs' values",
            against="the whole system by the same solver (time of it over time of ours)",
            goal=">= 4",
            n=f"{n}, {ROUNDS} rounds",
            detail="both to a relative residual of 1e-8",
        ),
        {
            "what": "breeding values: largest difference, in additive standard deviations",
            "against": "the whole system",
            "ratio": apart,
            "goal": "<= 1e-5",
            "n": n,
            "detail": "",
        },
    ]


def _by_size(breeds: list[_Breed]) -> list[Row]:
    seconds = take_turns([partial(_reduced, breed) for breed in breeds], rounds=ROUNDS)
    rows = []
    for smaller, larger in ((0, 1), (1, 2)):
        few, many = len(breeds[smaller].pedigree), len(breeds[larger].pedigree)
        a_dog = Turns(
            [time / many for time in seconds[larger]], [time / few for time in seconds[smaller]]
        )
        rows.append(
            row_of(
                a_dog.ratios,
                what=f"breeding values of {many:,} dogs, time a dog",
                against=f"of {few:,} dogs, time a dog",
                goal="<= 2",
                n=f"{ROUNDS} rounds",
                detail=(
                    f"{readable(float(np.median(seconds[larger])))} against"
                    f" {readable(float(np.median(seconds[smaller])))} in all"
                ),
            )
        )
    return rows


def _memory_row() -> Row:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "what": "peak memory of breeding values with their reliabilities",
        "against": "1 GiB",
        "ratio": peak / 1024,
        "goal": "<= 1",
        "n": f"{LARGE:,} dogs",
        "detail": f"{peak:.0f} MiB for the whole process, the pedigree's making included",
    }


def _errors_of_all(breed: _Breed) -> Row:
    system = reduced_equations(breed.pedigree, breed.inbreeding, breed.records, _VARIANCES)
    _solution, (exact, _fixed) = error_variances(system, breed.records, _VARIANCES.residual)
    return _error_row(breed, system, np.arange(len(breed.pedigree)), exact, "every dog")


def _errors_of_sample(breed: _Breed) -> Row:
    """Half of the sample are parents."""
    random = np.random.default_rng(5)
    is_parent = breed.pedigree.stock_number[:-1] < len(breed.pedigree.stock)
    places = np.concatenate(
        [
            random.choice(np.flatnonzero(group), _SAMPLE // 2, replace=False)
            for group in (is_parent, ~is_parent)
        ]
    )
    system = reduced_equations(breed.pedigree, breed.inbreeding, breed.records, _VARIANCES)
    exact = np.concatenate(
        [
            error_variances_of(system, breed.records, _VARIANCES.residual, few)
            for few in np.split(places, 4)
        ]
    )
    drawn = f"{len(places)} dogs drawn, half of them parents"
    return _error_row(breed, system, places, exact, drawn)


def _error_row(
    breed: _Breed,
    system: ReducedEquations,
    places: NDArray[np.int64],
    exact: NDArray[np.float64],
    which: str,
) -> Row:
    found = approximate_error_variances(system, breed.inbreeding, breed.records, _VARIANCES).values
    own = (1.0 + breed.inbreeding[places]) * _VARIANCES.additive
    wrong = (exact - found[places]) / own
    return {
        "what": "approximate reliabilities, mean error",
        "against": "exact, by the inverse of the equations",
        "ratio": float(np.abs(wrong).mean()),
        "goal": "<= 0.01",
        "n": f"{len(breed.pedigree):,} dogs, {which}",
        "detail": (
            f"largest {np.abs(wrong).max():.3g}, {wrong.mean():+.3g} in the mean; exact ones are"
            f" {np.mean(1.0 - exact / own):.3g} in the mean"
        ),
    }
