"""Conjugate gradients: the solution of a large symmetric system from products with its matrix."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from registry.science.mixed_model import Numbers

MOST_ITERATIONS = 10_000


class NotSolvedError(ArithmeticError):
    """The iterations do not come to an end: the system is close to singular."""


class Solved(NamedTuple):
    """A solution and what it leaves: the largest |right − matrix · solution| / |right|."""

    solution: Numbers
    iterations: int
    residual: float


def conjugate_gradients(
    times: Callable[[Numbers], Numbers], diagonal: Numbers, right: Numbers, *, tolerance: float
) -> Solved:
    """Return the solution of a positive definite system to a relative residual of ``tolerance``.

    ``right`` is (n,), or (n, k) for k systems of one matrix, solved side by side. Preconditioned by
    the diagonal, started from zero. Raises NotSolvedError. Source: Hestenes & Stiefel (1952), J Res
    NBS 49:409-436.
    """
    solution, left = np.zeros_like(right), right.copy()
    scale = diagonal if right.ndim == 1 else diagonal[:, None]
    whole = np.sqrt(_dot(right, right))
    if not whole.any():
        return Solved(solution, 0, 0.0)
    whole = np.where(whole > 0, whole, 1.0)
    direction = left / scale
    descent, most = _dot(left, direction), 1.0
    for iteration in range(1, MOST_ITERATIONS + 1):
        turned = times(direction)
        step = _ratio(descent, _dot(direction, turned))
        solution += step * direction
        turned *= step
        left -= turned
        most = float((np.sqrt(_dot(left, left)) / whole).max())
        if most <= tolerance:
            return Solved(solution, iteration, most)
        np.divide(left, scale, out=turned)
        former, descent = descent, _dot(left, turned)
        direction *= _ratio(descent, former)
        direction += turned
    raise NotSolvedError(
        f"{MOST_ITERATIONS} iterations left {most:.1e} of the equations' right side"
    )


def _dot(one: Numbers, other: Numbers) -> Numbers:
    """Return the product of two vectors, or of each column with the same one of the other."""
    return np.asarray(np.einsum("i...,i...->...", one, other))


def _ratio(one: Numbers, other: Numbers) -> Numbers:
    """Return one over the other; 0 for a column that is solved to the last digit."""
    return np.asarray(np.divide(one, other, out=np.zeros_like(one), where=other > 0))
