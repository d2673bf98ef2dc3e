"""Error variances of all dogs of a large breed, without an inverse: messages between litters.

Two parts are added up. Were the fixed effects known, each parent would gather what its relatives
say in messages along the pedigree: every pair of parents hears from its offspring, each parent from
its pairs, each offspring from its pair. That is exact where no two dogs are related by two ways,
and close to exact in a large breed; the one correction made is for parents related to each other,
whose errors vary together in the measure of their offspring's inbreeding. What the estimated fixed
effects add is exact, given those: it needs a system solved for each of them. The levels of the
largest effect (clinics, mostly) are too many for that: they take their share off the records'
weights, a dog's own level adds its error to what its own record says, and their common mean is one
column.

Source of the idea: Pearl (1988), Probabilistic Reasoning in Intelligent Systems, ch. 4 (messages in
a tree); here between pairs of parents, in numbers that are precisions. Units are those of
``reduced_equations``: variances are in units of the residual one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse

from registry.science.conjugate_gradients import conjugate_gradients
from registry.science.fixed_effects import sums_by
from registry.science.mixed_model import Codes, Numbers, Records, Variances
from registry.science.reduced_equations import ReducedEquations, runs_numbered
from registry.science.reliabilities import dependence

_MOST_SWEEPS = 40
_SETTLED = 1e-5
"""The messages have settled when no parent's variance changes by more than this part."""
_ROWS = 1 << 16
"""Dogs reckoned at once, so that the work needs little memory."""
_NOTHING = 1e-300
"""Stands for no information, where one over it is taken."""


@dataclass(frozen=True, eq=False)
class _Pairs:
    """The f pairs of parents, and the pair of each dog."""

    of_dog: Codes
    """(n,)"""
    of_parent: Codes
    """(m,): the pair each parent is born of."""
    sire: Codes
    dam: Codes
    """(f,): parents' numbers, m for an unknown one."""
    spread: Numbers
    """(f,): the variance of the Mendelian part of their offspring."""
    records: Numbers
    """(f,): what the records of their offspring that are no parents say of the parents' mean."""
    own_record: Numbers
    """(m,): what each parent's own record says."""
    together: Numbers
    """(f,): how the two parents' errors vary together, as a part of the product of the two."""


@dataclass(frozen=True, eq=False)
class _Known:
    """Variances left open by all that is said, were the fixed effects known."""

    parent: Numbers
    """(m,): of each parent's value."""
    mean: Numbers
    """(f,): of each pair's mean."""


def approximate_error_variances(
    system: ReducedEquations, inbreeding: Numbers, records: Records, variances: Variances
) -> Numbers:
    """Return every dog's error variance, (n,), in the trait's unit squared."""
    dogs, fixed = system.dogs, _FixedError(system)
    said = np.maximum(system.group_weight - fixed.of_group(system.group_fixed), 0.0)
    pairs = _pairs(system, said, inbreeding, variances)
    known = _settled(pairs, variances.residual / variances.additive)
    is_parent = dogs.number < dogs.parents
    found = np.empty(len(dogs.number))
    number = dogs.number[is_parent]
    found[is_parent] = known.parent[number] + fixed.of_parents()[number]
    part = _part_of_mean(system, records, variances)
    childless = np.flatnonzero(~is_parent)
    for first in range(0, len(childless), _ROWS):
        places = childless[first : first + _ROWS]
        on = dependence(system, records, places)
        of_mean = part[places] ** 2 * known.mean[pairs.of_dog[places]]
        found[places] = on.alone + of_mean + fixed.of(on.lines)
    return variances.residual * found


def _part_of_mean(system: ReducedEquations, records: Records, variances: Variances) -> Numbers:
    """Return how much of its parents' mean is in the value of a dog without offspring, (n,).

    1 without a record. A record takes k of it away, and gives back what its litter's effect takes
    of the litter's mean.
    """
    part, gain = np.ones(len(system.dogs.number)), 1.0 - system.weight
    kappa = variances.residual / variances.litter if variances.litter else 0.0
    of_litter = np.append(1.0 - kappa / system.litter_diagonal, 0.0)
    has_litter = records.litter >= 0 if len(system.litter_diagonal) else False
    litter = np.where(has_litter, records.litter, -1)
    part[records.dog] = 1.0 - gain + gain * of_litter[litter]
    return part


class _FixedError:
    """What the estimation of the fixed effects adds to the variances: q S⁻¹ q′.

    Over few columns: the levels of the largest effect together, and the other columns alone.
    """

    def __init__(self, system: ReducedEquations) -> None:
        p, self._levels = len(system.fixed), system.fixed.carrier_levels
        few = np.maximum(np.arange(p) - max(self._levels - 1, 0), 0)
        shape = p, int(few.max(initial=-1)) + 1
        self._few = sparse.coo_array((np.ones(p), (np.arange(p), few)), shape=shape).tocsr()
        self._level_weight = np.diag(system.fixed_block)[: self._levels]
        beside = (system.beside @ self._few).toarray()
        block = system.parents_block
        solved = conjugate_gradients(block.__matmul__, block.diagonal(), beside, tolerance=1e-4)
        self._hanging = solved.solution
        left = self._few.T @ system.fixed_block @ self._few - beside.T @ solved.solution
        self._factor = linalg.cholesky((left + left.T) / 2, lower=True) if p else left

    def of_parents(self) -> Numbers:
        """Return what it adds to each parent's variance, (m,)."""
        return self._squared(self._hanging)

    def of(self, lines: sparse.csr_array) -> Numbers:
        """Return what it adds to values that hang on the solution by ``lines``, (j, p + m)."""
        columns = lines.tocsc()
        fixed, parents = np.split(np.arange(columns.shape[1]), [len(self._few.indptr) - 1])
        of_fixed = columns[:, fixed]
        own_level = of_fixed[:, : self._levels].power(2) @ (1.0 / self._level_weight)
        together = (of_fixed @ self._few).toarray() - columns[:, parents] @ self._hanging
        return np.asarray(own_level + self._squared(together))

    def of_group(self, sums: sparse.csr_array) -> Numbers:
        """Return the weight that groups lose to the levels of the largest effect, from Σ w x."""
        return np.asarray(sums[:, : self._levels].power(2) @ (1.0 / self._level_weight))

    def _squared(self, rows: Numbers) -> Numbers:
        if not rows.shape[1]:
            return np.zeros(len(rows))
        turned = linalg.solve_triangular(self._factor, rows.T, lower=True)
        return np.asarray((turned**2).sum(axis=0))


def _pairs(
    system: ReducedEquations, said: Numbers, inbreeding: Numbers, variances: Variances
) -> _Pairs:
    """Return the pairs of parents; ``said`` is what each group's records say."""
    dogs, m = system.dogs, system.dogs.parents
    code, of_dog = runs_numbered(dogs.sire * (m + 1) + dogs.dam)
    sire, dam = np.divmod(code, m + 1)
    is_parent = dogs.number < m
    of_parent, own = np.empty(m, dtype=np.int64), np.empty(m)
    of_parent[dogs.number[is_parent]] = of_dog[is_parent]
    own[dogs.number[is_parent]] = inbreeding[is_parent]
    ratio = variances.additive / variances.residual
    padded = np.append(own, -1.0)
    of_offspring = np.zeros(len(code))
    of_offspring[of_dog] = inbreeding
    # Of founders, the variances are (1 + F)·ratio and the covariance of a pair is 2F′·ratio; both
    # variances shrink by what is known, and the covariance by both.
    prior = (1.0 + padded[sire]) * (1.0 + padded[dam]) * ratio
    together = np.divide(2.0 * of_offspring, prior, out=np.zeros(len(code)), where=prior > 0)
    records = np.zeros(len(code))
    records[np.searchsorted(code, system.pairs)] = said[m:]
    return _Pairs(
        of_dog=of_dog,
        of_parent=of_parent,
        sire=sire,
        dam=dam,
        spread=ratio * (0.5 - 0.25 * (padded[sire] + padded[dam])),
        records=records,
        own_record=said[:m],
        together=together,
    )


def _settled(pairs: _Pairs, prior: float) -> _Known:
    """Return the variances once the messages have settled; ``prior`` is a founder's precision.

    ``above`` is what each parent hears from its own parents and littermates, and ``below`` from its
    record and its offspring. A message to one parent leaves out what it said itself.
    """
    m, f = len(pairs.of_parent), len(pairs.sire)
    has_sire, has_dam = pairs.sire < m, pairs.dam < m
    above, below = np.full(m + 1, prior), np.append(pairs.own_record, 0.0)
    to_sire, to_dam = np.zeros(f), np.zeros(f)
    variance = np.full(m, np.inf)
    for _sweep in range(_MOST_SWEEPS):
        sire = has_sire / (above[pairs.sire] + below[pairs.sire] - to_sire)
        dam = has_dam / (above[pairs.dam] + below[pairs.dam] - to_dam)
        offspring = _inverse(_inverse(below[:m]) + pairs.spread[pairs.of_parent])
        said = pairs.records + sums_by(pairs.of_parent, offspring, f)
        to_sire = 0.25 * has_sire / (_inverse(said) + 0.25 * dam)
        to_dam = 0.25 * has_dam / (_inverse(said) + 0.25 * sire)
        below[:m] = pairs.own_record
        below += sums_by(pairs.sire, to_sire, m + 1) + sums_by(pairs.dam, to_dam, m + 1)
        sire = has_sire / (above[pairs.sire] + below[pairs.sire] - to_sire)
        dam = has_dam / (above[pairs.dam] + below[pairs.dam] - to_dam)
        mean = 0.25 * (sire + dam) + 0.5 * pairs.together * sire * dam
        others = _inverse(mean)[pairs.of_parent] + said[pairs.of_parent] - offspring
        above[:m] = _inverse(_inverse(others) + pairs.spread[pairs.of_parent])
        former, variance = variance, 1.0 / (above[:m] + below[:m])
        if (np.abs(variance - former) <= _SETTLED * variance).all():
            break
    return _Known(variance, _inverse(_inverse(mean) + said))


def _inverse(numbers: Numbers) -> Numbers:
    """Return one over each number; nearly without end for none at all."""
    return 1.0 / np.maximum(numbers, _NOTHING)
