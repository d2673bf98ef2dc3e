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

import numpy as np
from threadpoolctl import threadpool_limits

from registry.science.mixed_model import NO_LITTER, Numbers, Records, Variances
from registry.science.pedigree import Pedigree
from registry.science.reduced_equations import ReducedEquations, reduced_equations
from registry.science.reliabilities import Reliabilities, exact

__all__ = ["Records", "Solution", "Variances", "breeding_values"]


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
    level_mean: Numbers
    """(r,): the fixed part of every record."""
    method: str
    """How the reliabilities were reckoned: "exact" or "approximate"."""
    iterations: int
    """Of the conjugate gradients; 0 for a direct solution."""
    residual: float
    """What the equations leave: |right − matrix · solution| / |right|."""


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
        solution, reliabilities = exact(system, inbreeding, records, variances)
        return _recovered(system, solution, reliabilities, records)


def _recovered(
    system: ReducedEquations, solution: Numbers, reliabilities: Reliabilities, records: Records
) -> Solution:
    """Return the whole solution from that of the fixed effects and the parents."""
    dogs, p = system.dogs, len(system.fixed)
    b, parents = solution[:p], np.append(solution[p:], 0.0)
    litter = system.litter_right - system.litter_fixed @ b - system.litter_parents @ parents[:-1]
    litter /= system.litter_diagonal
    fixed_part = system.fixed.times(b)
    of_parents = 0.5 * (parents[dogs.sire] + parents[dogs.dam])
    value = np.where(dogs.number < dogs.parents, parents[dogs.number], of_parents)
    left = records.value - system.middle - fixed_part - value[records.dog]
    if len(litter):
        left -= np.append(litter, 0.0)[records.litter]
    value[records.dog] += (1.0 - system.weight) * left
    named, slope = system.fixed.named(b)
    if system.fixed.names:
        carrier = system.fixed.names[0]
        named[carrier][system.fixed.levels[0]] += system.middle
    gap = system.right - system.times(solution)
    return Solution(
        value=value,
        reliability=reliabilities.reliability,
        error_variance=reliabilities.error_variance,
        fixed=named,
        age=slope,
        litter=np.append(litter, np.zeros(records.litter.max(initial=NO_LITTER) + 1 - len(litter))),
        level_mean=fixed_part + system.middle,
        method=reliabilities.method,
        iterations=0,
        residual=_length(gap) / (_length(system.right) or 1.0),
    )


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
