"""Breeding values of all dogs of a breed for one trait: the animal model, solved.

A record is its fixed part (sex, clinic, year, age) + the dog's breeding value + its litter's effect
+ a residual; the breeding values vary with the pedigree's relationships, inbreeding included. The
best linear unbiased predictions come from the ``reduced_equations``, and how well each is known
from ``reliabilities``. Variances are given; the fixed part is estimated with the rest.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from threadpoolctl import threadpool_limits

from registry.science.approximate_reliabilities import approximate_error_variances
from registry.science.conjugate_gradients import Solved, conjugate_gradients
from registry.science.fixed_effects import FixedEffects
from registry.science.mixed_model import NO_LITTER, Numbers, Records, Variances
from registry.science.pedigree import Pedigree
from registry.science.reduced_equations import ReducedEquations, reduced_equations
from registry.science.reliabilities import error_variances

__all__ = ["Records", "Solution", "Variances", "breeding_values"]

EXACT_DOGS = 10_000
EXACT_EQUATIONS = 2_500
"""A breed of so many dogs, or of so few equations once all dogs without offspring are absorbed, is
solved by the inverse of its equations, and its reliabilities are exact. Above, they are not."""
_ROUGH = 1e-5
"""The same where only a spread hangs on it."""
TOLERANCE = 1e-8
"""Of conjugate gradients: the relative residual at which they end."""


@dataclass(frozen=True, eq=False)
class Solution:
    """Breeding values of the n dogs of the pedigree, in its order, and the rest of the model."""

    value: Numbers
    """(n,): in the trait's unit, as deviations; the dogs without known parents average about 0."""
    reliability: Numbers
    """(n,): squared correlation of true and predicted value, 1 − error variance/own variance."""
    error_variance: Numbers
    """(n,): of the prediction, in the trait's unit squared."""
    fixed: Mapping[str, Numbers]
    """By code; 0 for a code without records or dropped (see ``fixed_effects``)."""
    age: float
    """The slope on age, by year."""
    litter: Numbers
    """By litter code; 0 for a code without records."""
    columns: FixedEffects
    estimate: Numbers
    """(p,): of the fixed part's columns."""
    covariance: Numbers
    """(p, p): the sampling covariances of these estimates."""
    level_mean: Numbers
    """(r,): the fixed part of every record."""
    method: str
    """How the reliabilities were reckoned: "exact" or "approximate"."""
    iterations: int
    """Of the conjugate gradients; 0 for a direct solution."""
    residual: float
    """What the equations leave: |right − matrix · solution| / |right|."""


class _Known(NamedTuple):
    """How well the n dogs' values are known."""

    errors: Numbers
    """(n,): variances of the predictions' errors."""
    fixed: Numbers
    """(p, p): sampling covariances of the fixed effects."""
    own: Numbers
    """(n,): variances of the values before any record is looked at."""
    is_exact: bool

    @property
    def reliability(self) -> Numbers:
        # Without additive variance there is nothing to know.
        unknown = np.divide(self.errors, self.own, out=np.ones_like(self.own), where=self.own > 0)
        return np.clip(1.0 - unknown, 0.0, 1.0)


def breeding_values(
    pedigree: Pedigree, inbreeding: Numbers, records: Records, variances: Variances
) -> Solution:
    """Return every dog's breeding value and its reliability.

    Raises ValueError for a record of a dog that is not in the pedigree and for a second record of
    a dog. Runs its linear algebra on one thread, so that a run can be repeated bit for bit.
    """
    _check(len(pedigree), records)
    with threadpool_limits(limits=1, user_api="blas"):
        system = reduced_equations(pedigree, inbreeding, records, variances)
        is_small = is_exact(len(pedigree), len(system)) or not variances.additive
        if is_small:
            theta, errors = error_variances(system, records, variances.residual)
            solved = Solved(theta, 0, _left(system, theta))
        else:
            solved = solution_by_iteration(system)
            errors = approximate_error_variances(system, inbreeding, records, variances)
        known = _Known(*errors, (1.0 + inbreeding) * variances.additive, is_small)
        return _recovered(system, records, solved, known)


def shift_by_variances(
    pedigree: Pedigree,
    inbreeding: Numbers,
    records: Records,
    variances: Variances,
    heritability_error: float,
) -> Numbers:
    """Return how far every value moves with one standard error of the heritability, (n,).

    Half the difference of the values at one error above and one below, the total and the litter's
    share kept: the derivative that Kackar & Harville (1984, JASA 79:853-862) ask for, for what is
    said of values whose variances are estimates themselves.
    """
    ends = []
    for sign in (1.0, -1.0):
        most = 0.98 * (variances.additive + variances.residual)
        additive = variances.additive + sign * heritability_error * variances.total
        additive = min(max(additive, 0.02 * variances.total), most)
        at = Variances(
            additive=additive,
            litter=variances.litter,
            residual=variances.additive + variances.residual - additive,
        )
        with threadpool_limits(limits=1, user_api="blas"):
            system = reduced_equations(pedigree, inbreeding, records, at)
            found = conjugate_gradients(
                system.times, system.diagonal(), system.right, tolerance=_ROUGH
            ).solution
            litter = recovered_litters(system, found)
            ends.append(recovered_values(system, records, found, litter))
    return np.asarray((ends[0] - ends[1]) / 2)


def is_exact(dogs: int, equations: int) -> bool:
    """Return whether a breed is small enough for the inverse of its equations."""
    return dogs <= EXACT_DOGS or equations <= EXACT_EQUATIONS


def solution_by_iteration(system: ReducedEquations) -> Solved:
    """Return the solution of the equations by conjugate gradients."""
    return conjugate_gradients(system.times, system.diagonal(), system.right, tolerance=TOLERANCE)


def _recovered(
    system: ReducedEquations, records: Records, solved: Solved, known: _Known
) -> Solution:
    """Return the whole solution from that of the equations."""
    litter = recovered_litters(system, solved.solution)
    value = recovered_values(system, records, solved.solution, litter)
    b = solved.solution[: len(system.fixed)]
    named, slope = system.fixed.named(b)
    if system.fixed.names:
        named[system.fixed.names[0]][system.fixed.levels[0]] += system.middle
    empty = int(records.litter.max(initial=NO_LITTER)) + 1 - len(litter)
    return Solution(
        value=value,
        reliability=known.reliability,
        error_variance=known.errors,
        fixed=named,
        age=slope,
        columns=system.fixed,
        estimate=b,
        covariance=known.fixed,
        litter=np.append(litter, np.zeros(empty)),
        level_mean=system.fixed.rows @ b + system.middle,
        method="exact" if known.is_exact else "approximate",
        iterations=solved.iterations,
        residual=solved.residual,
    )


def recovered_litters(system: ReducedEquations, solution: Numbers) -> Numbers:
    """Return the litters' effects, (l,), from the equations' solution."""
    b, parents = np.split(solution, [len(system.fixed)])
    said = system.litter_fixed @ b + system.litter_parents @ parents
    return np.asarray((system.litter_right - said) / system.litter_diagonal)


def recovered_values(
    system: ReducedEquations, records: Records, solution: Numbers, litter: Numbers
) -> Numbers:
    """Return all dogs' breeding values, (n,), from the equations' solution and the litters'."""
    dogs, b = system.dogs, solution[: len(system.fixed)]
    parents = np.append(solution[len(system.fixed) :], 0.0)
    of_parents = 0.5 * (parents[dogs.sire] + parents[dogs.dam])
    value = np.where(dogs.number < dogs.parents, parents[dogs.number], of_parents)
    left = records.value - system.middle - system.fixed.rows @ b - value[records.dog]
    if len(litter):
        left -= np.append(litter, 0.0)[records.litter]
    value[records.dog] += (1.0 - system.weight / records.weights) * left
    return value


def _left(system: ReducedEquations, solution: Numbers) -> float:
    whole = _length(system.right)
    return _length(system.right - system.times(solution)) / whole if whole else 0.0


def _length(numbers: Numbers) -> float:
    return math.sqrt(float((numbers**2).sum()))


def _check(n: int, records: Records) -> None:
    if not len(records):
        return
    if records.dog.min() < 0 or records.dog.max() >= n:
        raise ValueError(f"a record's dog must be from 0 to {n - 1}")
    often = np.bincount(records.dog)
    if often.max() > 1:
        raise ValueError(f"the dog at place {int(often.argmax())} has more than one record")
    if records.litter.min() < NO_LITTER:
        raise ValueError(f"a litter's code is below {NO_LITTER}")
