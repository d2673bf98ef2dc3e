"""Breeding values of a trait with ordered grades: the animal model of a liability behind them.

Grades have no distances, so they are not reckoned with as numbers. Behind each lies a liability
that nobody measures, and thresholds part it: a dog has grade k where its liability lies between two
of them. The liability is a fixed part + breeding value + litter + a residual of variance 1; its
unit is that residual's standard deviation, and it rises from the first grade to the last.

The values are those of highest posterior probability at given variances. They are found by solving
the animal model's own equations again and again, for working records: with η a record's expected
liability, and v and w the slope of its log probability and the expected curvature, the record is
η + v/w with weight w. Between two solutions the thresholds take a step of their own. Sources:
Gianola & Foulley (1983), Genet Sel Evol 15:201-224; Dempster & Lerner (1950), Genetics 35:212-236.

Two things are approximate. The error variances are those of the last equations, as if the posterior
were normal. And classes of the fixed effects in which hardly any dog left the usual grade are
joined, since the likelihood would send their effects to infinity.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg
from scipy.special import ndtr, ndtri
from threadpoolctl import threadpool_limits

from registry.science.breeding_values import (
    Solution,
    breeding_values,
    is_exact,
    recovered_litters,
    recovered_values,
    solution_by_iteration,
)
from registry.science.mixed_model import Codes, Numbers, Records, Variances
from registry.science.pedigree import Pedigree
from registry.science.reduced_equations import ReducedEquations, reduced_equations

FEWEST_OF_A_CLASS = 5
"""Dogs of the usual grade, and dogs of other grades, that a class of a fixed effect must have to
stand for itself (our choice)."""
MOST_STEPS = 60
_STILL = 1e-6
"""The largest change of an expected liability at which the solution stands."""
_LEAST_PROBABILITY = 1e-12


class OneGradeError(ValueError):
    """All records have the same grade: they say nothing of what lies behind it."""


@dataclass(frozen=True, eq=False)
class ThresholdSolution:
    """Breeding values on the liability, and the thresholds between the grades that occur."""

    solution: Solution
    """``level_mean`` and all else on the scale of the liability."""
    thresholds: Numbers
    """Ascending, one less than grades that occur."""
    steps: int
    has_converged: bool


def threshold_values(
    pedigree: Pedigree, inbreeding: Numbers, records: Records, variances: Variances
) -> ThresholdSolution:
    """Return the breeding values on the liability, from records whose values are grades' places.

    ``variances`` are those of the liability, its residual variance 1. Raises OneGradeError for
    records of one grade alone, and ValueError for another residual variance. Runs its linear
    algebra on one thread, so that a run can be repeated bit for bit.
    """
    if variances.residual != 1.0:
        raise ValueError("the residual variance of the liability is its unit: it must be 1")
    occurring, grade = np.unique(records.value, return_inverse=True)
    if len(occurring) < 2:
        raise OneGradeError("all records have the same grade")
    records = replace(records, fixed=joined_classes(records.fixed, grade))
    with threadpool_limits(limits=1, user_api="blas"):
        at = _Point.first(grade)
        has_converged, steps = False, 0
        while not has_converged and steps < MOST_STEPS:
            steps += 1
            working = at.working(records)
            system = reduced_equations(pedigree, inbreeding, working, variances)
            expected = _expected(system, working, len(pedigree))
            following = at.moved(expected, is_level_free=bool(records.fixed))
            has_converged = bool(np.abs(following.expected - at.expected).max() < _STILL)
            at = following
    solution = breeding_values(pedigree, inbreeding, at.working(records), variances)
    return ThresholdSolution(solution, at.thresholds, steps, has_converged)


def liability_variances(heritability: float, litter_share: float) -> Variances:
    """Return the variances of a liability with these shares of its total, its residual 1.

    Raises ValueError for shares that leave no residual.
    """
    left = 1.0 - heritability - litter_share
    if not (heritability >= 0 and litter_share >= 0 and left > 0):
        raise ValueError(
            f"a heritability of {heritability} and a litter share of {litter_share} leave no"
            " residual: both are shares of one variance and add up to less than 1"
        )
    return Variances(additive=heritability / left, litter=litter_share / left, residual=1.0)


def observed_part(shares: ArrayLike) -> float:
    """Return which part of a share of the liability's variance is seen in the grades' places.

    (Σ φ(t))² / Var(place), over the thresholds t of grades with these shares. It turns a
    heritability on the liability into that of the places taken as numbers, to the first order.
    For two grades it is φ²/(p(1 − p)). Source: Dempster & Lerner (1950), Genetics 35:212-236; for
    more than two grades Gianola (1979), Genetics 93:1051-1056, with the places as scores. Raises
    OneGradeError where one grade has all.
    """
    part = np.asarray(shares, dtype=np.float64)
    place = np.arange(len(part))
    variance = float(part @ place**2 - (part @ place) ** 2)
    if not variance > 0:
        raise OneGradeError("one grade has all the dogs")
    inner = np.cumsum(part)[:-1]
    inner = inner[(inner > 0) & (inner < 1)]
    return float(_density(ndtri(inner)).sum() ** 2) / variance


def joined_classes(fixed: Mapping[str, Codes], grade: Codes) -> dict[str, Codes]:
    """Return the class effects with classes joined that have too few dogs of one kind or other.

    A kind is the most frequent grade, or all others. The classes of "year" join the years after
    them; those of another effect become one, and where that is too small still, it joins the
    effect's largest.
    """
    is_usual = grade == np.bincount(grade).argmax()
    return {
        name: (_neighbours if name == "year" else _rest)(codes, is_usual)
        for name, codes in fixed.items()
    }


def _neighbours(codes: Codes, is_usual: NDArray[np.bool_]) -> Codes:
    kinds = _kinds(codes, is_usual)
    group = np.zeros(len(kinds), dtype=np.int64)
    number, gathered = 0, np.zeros(2, dtype=np.int64)
    for level, dogs in enumerate(kinds):
        if gathered.min() >= FEWEST_OF_A_CLASS:
            number, gathered = number + 1, np.zeros(2, dtype=np.int64)
        group[level] = number
        gathered = gathered + dogs
    if number and gathered.min() < FEWEST_OF_A_CLASS:
        group[group == number] = number - 1
    return group[codes]


def _rest(codes: Codes, is_usual: NDArray[np.bool_]) -> Codes:
    kinds = _kinds(codes, is_usual)
    is_small = kinds.min(axis=1) < FEWEST_OF_A_CLASS
    if not is_small.any():
        return codes
    group = np.arange(len(kinds))
    group[is_small] = len(kinds)
    if kinds[is_small].sum(axis=0).min() < FEWEST_OF_A_CLASS and not is_small.all():
        group[is_small] = int(np.where(is_small, -1, kinds.sum(axis=1)).argmax())
    return np.unique(group[codes], return_inverse=True)[1]


def _kinds(codes: Codes, is_usual: NDArray[np.bool_]) -> Codes:
    """Return how many dogs of both kinds each class has, (classes, 2)."""
    length = int(codes.max(initial=-1)) + 1
    return np.stack(
        [np.bincount(codes[kind], minlength=length) for kind in (is_usual, ~is_usual)], axis=1
    )


@dataclass(frozen=True, eq=False)
class _Point:
    """Where the search stands: expected liabilities, (r,), and thresholds."""

    grade: Codes
    expected: Numbers
    thresholds: Numbers

    @classmethod
    def first(cls, grade: Codes) -> _Point:
        shares = np.bincount(grade) / len(grade)
        return cls(grade, np.zeros(len(grade)), ndtri(np.cumsum(shares)[:-1]))

    def working(self, records: Records) -> Records:
        """Return the records of the liability that the grades amount to here."""
        density, probability = self._grades()
        falls = density[:, :-1] - density[:, 1:]
        rows = np.arange(len(self.grade))
        slope = falls[rows, self.grade] / probability[rows, self.grade]
        weight = np.maximum((falls**2 / probability).sum(axis=1), _LEAST_PROBABILITY)
        return replace(records, value=self.expected + slope / weight, weight=weight)

    def moved(self, expected: Numbers, *, is_level_free: bool) -> _Point:
        """Return the point with these liabilities, and the thresholds one step on for them.

        Where the fixed effects hold a level of their own, it and the thresholds may move together
        without any effect: the first threshold is kept at 0.
        """
        here = replace(self, expected=expected)
        slope, bend = here.threshold_terms()
        step = linalg.solve(bend, slope, assume_a="pos")
        while len(step) > 1 and (np.diff(self.thresholds + step) <= 0).any():
            step = step / 2
        thresholds = self.thresholds + step
        level = thresholds[0] if is_level_free else 0.0
        return replace(here, expected=expected - level, thresholds=thresholds - level)

    def threshold_terms(self) -> tuple[Numbers, Numbers]:
        """Return the slope of the log likelihood by the thresholds, and its negative curvature.

        The curvature that is there, not the expected one: where a grade has few dogs the two
        differ, and steps by the other need not settle.
        """
        density, probability = self._grades()
        distance = self.thresholds[None, :] - self.expected[:, None]
        count = len(self.thresholds)
        slope, bend = np.zeros(count), np.zeros((count, count))
        own = 1.0 / probability[np.arange(len(self.grade)), self.grade]
        for at in range(count):
            for is_there, sign in ((self.grade == at, 1.0), (self.grade == at + 1, -1.0)):
                ratio = density[is_there, at + 1] * own[is_there]
                slope[at] += sign * ratio.sum()
                bend[at, at] += (ratio**2 + sign * distance[is_there, at] * ratio).sum()
            if at:
                is_between = self.grade == at
                both = density[is_between, at] * density[is_between, at + 1]
                bend[at - 1, at] = bend[at, at - 1] = -(both * own[is_between] ** 2).sum()
        return slope, bend

    def _grades(self) -> tuple[Numbers, Numbers]:
        """Return the density at each grade's two ends, and each grade's probability."""
        ends = self.thresholds[None, :] - self.expected[:, None]
        nothing, all_ = np.zeros((len(ends), 1)), np.ones((len(ends), 1))
        density = np.hstack([nothing, _density(ends), nothing])
        below = np.hstack([nothing, ndtr(ends), all_])
        return density, np.maximum(np.diff(below, axis=1), _LEAST_PROBABILITY)


def _expected(system: ReducedEquations, working: Records, dogs: int) -> Numbers:
    """Return the expected liability of each record, from the equations' solution."""
    if is_exact(dogs, len(system)):
        factor = linalg.cho_factor(system.dense(), lower=True, overwrite_a=True)
        solution = linalg.cho_solve(factor, system.right)
    else:
        solution = solution_by_iteration(system).solution
    litter = recovered_litters(system, solution)
    value = recovered_values(system, working, solution, litter)
    fixed = system.fixed.rows @ solution[: len(system.fixed)] + system.middle
    # NO_LITTER, -1, takes the zero at the end.
    return np.asarray(fixed + value[working.dog] + np.append(litter, 0.0)[working.litter])


def _density(at: Numbers) -> Numbers:
    return np.asarray(np.exp(-(at**2) / 2) / np.sqrt(2 * np.pi))
