"""Henderson's mixed-model equations for records, fixed effects and any number of random effects.

What every model shares: the records of a trait, the variances, and the whole system of equations,
nothing absorbed. The animal model of a breed, which is solved by a smaller system that has the same
solution, is in ``breeding_values``; the estimation of variances is not here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

Numbers = NDArray[np.float64]
Codes = NDArray[np.int64]

NO_LITTER = -1
"""The litter code of a dog whose litter is not known: it has no litter effect."""


@dataclass(frozen=True, eq=False)
class Records:
    """The r records of one trait, at most one a dog, in any order."""

    dog: Codes
    """(r,): the dogs' places in the pedigree."""
    value: Numbers
    """(r,): in the trait's unit."""
    fixed: Mapping[str, Codes]
    """Class effects, such as sex, clinic, year: codes from 0, (r,) each. With none of them the mean
    of the records is taken to be known and zero."""
    age: Numbers
    """(r,): the age when examined, in years."""
    litter: Codes
    """(r,): codes from 0, ``NO_LITTER`` for none."""
    weight: Numbers | None = None
    """(r,): how many times smaller than the residual variance each record's own is; None: 1."""

    def __post_init__(self) -> None:
        """Refuse what cannot be reckoned with: raises ValueError that names the row."""
        for name, row in {
            "dog": self.dog,
            "age": self.age,
            "litter": self.litter,
            **self.fixed,
        }.items():
            if row.shape != self.value.shape or row.ndim != 1:
                raise ValueError(f"{len(self.value)} records, but {name} has shape {row.shape}")
        for name, numbers in (("value", self.value), ("age", self.age)):
            if not np.isfinite(numbers).all():
                first = int(np.flatnonzero(~np.isfinite(numbers))[0])
                raise ValueError(f"the {name} of record {first} is no number; leave the record out")
        for name, codes in self.fixed.items():
            if codes.size and codes.min() < 0:
                raise ValueError(f"the {name} of record {int(codes.argmin())} is below 0")
        if self.weight is not None:
            if self.weight.shape != self.value.shape:
                raise ValueError(f"{len(self)} records, but {len(self.weight)} weights")
            if len(self) and not (self.weight.min() > 0 and np.isfinite(self.weight).all()):
                raise ValueError("a record's weight must be above 0")

    def __len__(self) -> int:
        """Return the number of records."""
        return len(self.value)

    @property
    def weights(self) -> Numbers:
        """The weights, (r,), 1 where none are given."""
        return np.ones(len(self)) if self.weight is None else self.weight


@dataclass(frozen=True)
class Variances:
    """The variances of a record around its fixed part, in the trait's unit squared."""

    additive: float
    litter: float
    residual: float

    def __post_init__(self) -> None:
        """Refuse a model without solution: raises ValueError."""
        if not (self.additive >= 0 and self.litter >= 0 and 0 < self.residual < np.inf):
            raise ValueError(
                f"the additive ({self.additive:g}) and the litter variance ({self.litter:g}) must"
                f" not be negative, and the residual variance ({self.residual:g}) must be above 0"
            )

    @property
    def total(self) -> float:
        """The variance of a record of a dog that is not inbred."""
        return self.additive + self.litter + self.residual

    @property
    def heritability(self) -> float:
        """The additive share of the total."""
        return self.additive / self.total

    @property
    def litter_share(self) -> float:
        """The share of the total that littermates have in common without their genes."""
        return self.litter / self.total


@dataclass(frozen=True, eq=False)
class RandomEffect:
    """A random effect u with Var(u) = variance · G, G⁻¹ given (None: identity)."""

    design: sparse.csr_array
    """(r, k): which of the k levels each record is on."""
    variance: float
    inverse: sparse.csr_array | None = None


@dataclass(frozen=True, eq=False)
class Equations:
    """The mixed-model equations, multiplied by the residual variance."""

    matrix: sparse.csr_array
    right: Numbers
    residual: float
    ends: Codes
    """Where the fixed effects end, and then each random effect."""

    def solved(self) -> list[Numbers]:
        """Return the solutions by a dense factor: of the fixed effects, then of each random one."""
        factor = linalg.cho_factor(self.matrix.toarray(), lower=True)
        return self.parts(linalg.cho_solve(factor, self.right))

    def parts(self, solution: Numbers) -> list[Numbers]:
        """Return a solution in parts: of the fixed effects, then of each random one."""
        return np.split(solution, self.ends[:-1])

    def error_variances(self) -> list[Numbers]:
        """Return the variances of the estimates' errors, in the same parts, by a dense inverse."""
        inverse = linalg.inv(self.matrix.toarray())
        return self.parts(self.residual * np.diag(inverse))


def equations(
    *, fixed: Any, random: Sequence[RandomEffect], residual: float, value: Numbers
) -> Equations:
    """Return the equations of y = X b + Σ Zᵢ uᵢ + e, with X (r, p) of full rank, dense or sparse.

    Source: Henderson (1984), Applications of Linear Models in Animal Breeding, ch. 5.
    """
    designs = [sparse.csr_array(fixed), *(effect.design for effect in random)]
    blocks = [[one.T.tocsr() @ other for other in designs] for one in designs]
    for place, effect in enumerate(random, 1):
        inverse = effect.inverse
        if inverse is None:
            inverse = sparse.eye_array(effect.design.shape[1], format="csr")
        blocks[place][place] = blocks[place][place] + inverse * (residual / effect.variance)
    matrix = sparse.block_array(blocks, format="csr")
    right = np.concatenate([design.T @ value for design in designs])
    return Equations(
        matrix=matrix,
        right=right,
        residual=residual,
        ends=np.cumsum([design.shape[1] for design in designs]),
    )
