"""Two measured traits of a breed together: each record also speaks for the other trait.

A dog may have a record of one trait, of both or of none. The breeding values of both traits are
solved at once with given covariances; where those come from is ``covariances``. Exact up to
MOST_EXACT equations; above, the values come from conjugate gradients (the same equations, to 1e-8)
and the reliabilities from an approximation that ``_combined`` describes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse
from threadpoolctl import threadpool_limits

from registry.science.animal_design import AnimalDesign
from registry.science.animal_equations import AnimalEquations, Covariances, sum_by
from registry.science.breeding_values import Solution, breeding_values
from registry.science.conjugate_gradients import conjugate_gradients
from registry.science.inbreeding import mendelian_variance
from registry.science.mixed_model import NO_LITTER, Records, Variances
from registry.science.pedigree import Pedigree

__all__ = ["Covariances", "breeding_values_of_two"]

Numbers = NDArray[np.float64]

MOST_EXACT = 5000
"""Equations (two for each parent, and the fixed effects) up to which reliabilities are exact."""
_ROWS = 2048
"""Dogs reckoned at once, so that the work needs little memory beside the inverse."""
_TOLERANCE = 1e-8
_LEAST = 1e-6


@dataclass(frozen=True, eq=False)
class _Solved:
    """The solution of the equations, and how it was got."""

    theta: Numbers
    inverse: Numbers | None
    iterations: int
    residual: float


def breeding_values_of_two(
    pedigree: Pedigree,
    inbreeding: Numbers,
    first: Records,
    second: Records,
    covariances: Covariances,
) -> tuple[Solution, Solution]:
    """Return every dog's breeding values and reliabilities of both traits.

    The litters of both records have the same codes; a dog without a known litter is one of its own.
    Raises ValueError for records that contradict each other and for covariances that are none.
    Source of the equations: Henderson & Quaas (1976), J Anim Sci 43:1188-1197.
    """
    traits = (first, second)
    with threadpool_limits(limits=1, user_api="blas"):
        design = AnimalDesign.of(pedigree, inbreeding, traits)
        equations = AnimalEquations(design, covariances)
        solved = _solve(equations)
        py = equations.by_dog(equations.projected(solved.theta))
        value = _values(pedigree, equations, solved.theta, py)
        if solved.inverse is None:
            error = _combined(pedigree, inbreeding, traits, covariances)
        else:
            error = _error_variances(pedigree, inbreeding, equations, solved.inverse)
    litter = sum_by(design.litter, py, design.litters) @ covariances.litter
    own = (1.0 + inbreeding)[:, None] * np.diag(covariances.additive)
    reliability = np.clip(1.0 - error / own, 0.0, 1.0)
    one, other = (
        _solution(
            equations,
            solved,
            trait,
            records,
            value=value[:, trait],
            reliability=reliability[:, trait],
            error_variance=error[:, trait],
            litter=litter[:, trait],
        )
        for trait, records in enumerate(traits)
    )
    return one, other


def _solve(equations: AnimalEquations) -> _Solved:
    """Solve by the dense inverse, or above MOST_EXACT by conjugate gradients."""
    right = equations.right()
    if len(right) > MOST_EXACT:
        found = conjugate_gradients(
            equations.times, equations.nearly_diagonal(), right, tolerance=_TOLERANCE
        )
        return _Solved(found.solution, None, found.iterations, found.residual)
    design = equations.design
    matrix = equations.records_part().toarray()
    prior = sparse.kron(equations.additive_inverse, design.relationship_inverse)
    matrix[design.fixed :, design.fixed :] += prior.toarray()
    inverse = linalg.inv(matrix, overwrite_a=True, check_finite=False, assume_a="pos")
    theta = inverse @ right
    gap = float(np.linalg.norm(right - equations.times(theta)))
    return _Solved(theta, inverse, 0, gap / (float(np.linalg.norm(right)) or 1.0))


def _values(pedigree: Pedigree, equations: AnimalEquations, theta: Numbers, py: Numbers) -> Numbers:
    """Return the breeding values (n, t): the parents' from the equations, the others' from those.

    A dog without offspring is the mean of its parents and its own part, d G P y.
    """
    design = equations.design
    n = len(pedigree)
    value = np.zeros((n + 1, design.traits))
    value[design.parents] = theta[design.fixed :].reshape(design.traits, -1).T
    childless = _childless(design, n)
    value[childless] = 0.5 * (value[pedigree.sire[childless]] + value[pedigree.dam[childless]])
    own = design.mendelian[:, None] * (py @ equations.covariances.additive)
    value[design.dogs] += own
    return value[:n]


def _childless(design: AnimalDesign, n: int) -> NDArray[np.int64]:
    is_parent = np.zeros(n, dtype=bool)
    is_parent[design.parents] = True
    return np.flatnonzero(~is_parent)


def _error_variances(
    pedigree: Pedigree, inbreeding: Numbers, equations: AnimalEquations, inverse: Numbers
) -> Numbers:
    """Return the error variances (n, t), exactly.

    A parent's stand in the inverse. With θ given, a childless dog's value of trait s is v θ +
    something known + an independent error: v = z − d Σ_u G_su q_u, where z takes the mean of its
    parents and q_u is its row of R⁻¹(X, T); the error's variance is d G_ss − d² (G R⁻¹ G)_ss.
    """
    design, g = equations.design, equations.covariances.additive
    n, t, p, b = len(pedigree), design.traits, len(design.parents), design.fixed
    d = mendelian_variance(pedigree, inbreeding)
    alone = d[:, None] * np.diag(g)
    own = g @ equations.own_blocks() @ g
    alone[design.dogs] -= design.mendelian[:, None] ** 2 * np.diagonal(own, axis1=1, axis2=2)
    row = np.full(n, -1)
    row[design.dogs] = np.arange(len(design.dogs))
    rows = [equations.rows_of(trait) for trait in range(t)]
    error = np.empty((n, t))
    for trait in range(t):
        first = b + trait * p
        error[design.parents, trait] = np.diag(inverse)[first : first + p]
    childless = _childless(design, n)
    for start in range(0, len(childless), _ROWS):
        dogs = childless[start : start + _ROWS]
        has = np.flatnonzero(row[dogs] >= 0)
        for trait in range(t):
            v = _parent_means(pedigree, design, dogs, b + trait * p, len(inverse))
            for other in range(t):
                weight = d[dogs[has]] * g[trait, other]
                gone = (np.ones(len(has)), (has, np.arange(len(has))))
                put = sparse.csr_array(gone, shape=(len(dogs), len(has)))
                v = v - put @ (sparse.diags_array(weight) @ rows[other][row[dogs[has]]])
            error[dogs, trait] = alone[dogs, trait] + v.multiply(v @ inverse).sum(axis=1)
    return error


def _parent_means(
    pedigree: Pedigree, design: AnimalDesign, dogs: NDArray[np.int64], first: int, size: int
) -> sparse.csr_array:
    """Return z of dogs without offspring, (k, size): ½ at each known parent's unknown."""
    number = np.full(len(pedigree) + 1, -1)
    number[design.parents] = np.arange(len(design.parents))
    rows, columns = [], []
    for parent in (pedigree.sire[dogs], pedigree.dam[dogs]):
        known = np.flatnonzero(parent >= 0)
        rows.append(known)
        columns.append(first + number[parent[known]])
    at = (np.concatenate(rows), np.concatenate(columns))
    return sparse.csr_array((np.full(len(at[0]), 0.5), at), shape=(len(dogs), size))


def _combined(
    pedigree: Pedigree,
    inbreeding: Numbers,
    traits: tuple[Records, Records],
    covariances: Covariances,
) -> Numbers:
    """Return approximate error variances (n, 2) from those of each trait by itself.

    What is known of a dog from one trait's records alone, reliability r, is as good as one record
    of the dog itself with error variance (1 + F) G (1 − r)/r. The two are put together by a
    selection index. Their errors correlate, as far as the same dogs have both, as litter, residual
    and half of the genes do: what relatives tell is blurred by their own Mendelian half. In
    simulated breeds of 1,000 to 4,400 dogs the reliabilities were off by 0.013 or less in the mean.
    """
    g = covariances.additive
    alone = [
        breeding_values(pedigree, inbreeding, records, _of_one(covariances, trait)).reliability
        for trait, records in enumerate(traits)
    ]
    known = np.clip(np.stack(alone, axis=1), _LEAST, 1.0 - _LEAST)
    own = (1.0 + inbreeding)[:, None] * np.diag(g)
    noise = own * (1.0 - known) / known
    rest = covariances.litter + covariances.residual + 0.5 * g
    both = len(np.intersect1d(traits[0].dog, traits[1].dog))
    overlap = both / np.sqrt(len(traits[0]) * len(traits[1]))
    correlation = overlap * rest[0, 1] / np.sqrt(rest[0, 0] * rest[1, 1])
    spread = (1.0 + inbreeding)[:, None, None] * g
    seen = spread.copy()
    seen[:, 0, 0] += noise[:, 0]
    seen[:, 1, 1] += noise[:, 1]
    seen[:, 0, 1] += correlation * np.sqrt(noise[:, 0] * noise[:, 1])
    seen[:, 1, 0] = seen[:, 0, 1]
    error = spread - spread @ np.linalg.solve(seen, spread)
    variances: Numbers = np.diagonal(error, axis1=1, axis2=2).copy()
    return variances


def _of_one(covariances: Covariances, trait: int) -> Variances:
    return Variances(
        additive=float(covariances.additive[trait, trait]),
        litter=float(covariances.litter[trait, trait]),
        residual=float(covariances.residual[trait, trait]),
    )


def _solution(
    equations: AnimalEquations,
    solved: _Solved,
    trait: int,
    records: Records,
    *,
    value: Numbers,
    reliability: Numbers,
    error_variance: Numbers,
    litter: Numbers,
) -> Solution:
    """Return the solution of one trait from the dogs' values and the litters' effects, (L,)."""
    design = equations.design
    ends = np.cumsum([0, *(len(columns) for columns in design.columns)])
    b = solved.theta[ends[trait] : ends[trait + 1]]
    columns = design.columns[trait]
    named, slope = columns.named(b)
    by_code = np.zeros(int(records.litter.max(initial=NO_LITTER)) + 1)
    known = records.litter >= 0
    at = np.searchsorted(design.dogs, records.dog[known])
    by_code[records.litter[known]] = litter[design.litter[at]]
    return Solution(
        value=value,
        reliability=reliability,
        error_variance=error_variance,
        fixed=named,
        age=slope,
        litter=by_code,
        level_mean=columns.rows @ b,
        method="approximate" if solved.inverse is None else "exact",
        iterations=solved.iterations,
        residual=solved.residual,
    )
