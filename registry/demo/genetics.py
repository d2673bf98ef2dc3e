"""How joints run in families: the additive infinitesimal model of the invented breeds.

Four latent qualities of a dog, each scaled so that a dog's value (the mean of both sides, as one
examination finds it) has a standard deviation of 1 in the unselected base: laxity of the hips,
congruence of the hips, and the liabilities to faults of the elbows and of the hips' form, whose
thresholds make the grades. A founder's additive values are normal; a puppy's are the mean of its
parents' plus a random Mendelian part. Pure numbers: which dogs exist is ``population``, what a
clinic reads off a film is ``measures``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LAXITY, CONGRUENCE, ELBOW, FORM = 0, 1, 2, 3
QUALITIES = 4

Values = NDArray[np.float64]

# Shares of the variance of a dog's value. The heritability of the index is of the size published
# for the mean of both hips (0.53 +- 0.36: Tikekar et al. 2018, N Z Vet J 66:319-324), the others
# are choices of this invention.
HERITABILITY = np.array([0.50, 0.40, 0.30, 0.30])
LITTER_SHARE = np.array([0.05, 0.05, 0.05, 0.05])
# What lasts of one side beside its dog; a mean of two sides carries half of it.
SIDE_VARIANCE = np.array([0.14, 0.14, 0.20, 0.14])
# What one examination adds, to both sides alike (how the dog lies, how deep it sleeps) and to each
# by itself (how it is read). Another examination of the same dog finds its value again with an
# intraclass correlation of 0.89, that of one side with 0.86: inventions, of a size that is met.
DAY_VARIANCE = np.array([0.06, 0.06, 0.05, 0.06])
READING_VARIANCE = np.array([0.10, 0.10, 0.10, 0.10])

_GENETIC_CORRELATION = np.array(
    [[1.0, -0.6, 0.2, 0.5], [-0.6, 1.0, -0.3, -0.7], [0.2, -0.3, 1.0, 0.2], [0.5, -0.7, 0.2, 1.0]]
)
_ENVIRONMENT_CORRELATION = np.array(
    [[1.0, -0.4, 0.0, 0.3], [-0.4, 1.0, 0.0, -0.5], [0.0, 0.0, 1.0, 0.0], [0.3, -0.5, 0.0, 1.0]]
)


@dataclass(frozen=True, slots=True)
class GeneticModel:
    """Covariances of the qualities, each of shape (4, 4)."""

    additive: Values
    litter: Values
    environment: Values

    @classmethod
    def shipped(cls) -> GeneticModel:
        """The model of the invented club."""
        of_sides = (SIDE_VARIANCE + READING_VARIANCE) / 2
        environment = 1 - HERITABILITY - LITTER_SHARE - DAY_VARIANCE - of_sides
        return cls(
            additive=_covariance(HERITABILITY, _GENETIC_CORRELATION),
            litter=_covariance(LITTER_SHARE, np.eye(QUALITIES)),
            environment=_covariance(environment, _ENVIRONMENT_CORRELATION),
        )

    def founders(self, n: int, rng: np.random.Generator) -> Values:
        """Additive values of unrelated, unselected dogs; shape (n, 4)."""
        return _draw(self.additive, n, rng)

    def puppies(
        self,
        sire: Values,
        dam: Values,
        sire_inbreeding: float,
        dam_inbreeding: float,
        n: int,
        rng: np.random.Generator,
    ) -> Values:
        """Additive values of one litter; parents' of shape (4,), the result of shape (n, 4).

        The Mendelian part has the covariance 1/2 (1 - (F_sire + F_dam) / 2) of the base's: an
        inbred parent has less left to pass on differently (Bulmer 1971, Am Nat 105:201-211;
        Henderson 1976, from memory).
        """
        left = (1 - (sire_inbreeding + dam_inbreeding) / 2) / 2
        middle: Values = (sire + dam) / 2
        return middle + _draw(self.additive * left, n, rng)

    def upbringing(self, n: int, rng: np.random.Generator, *, shared: bool) -> Values:
        """What a litter has in common besides genes (shape (n, 4)), or what is one dog's own."""
        return _draw(self.litter if shared else self.environment, n, rng)


class Kinship:
    """The coefficients of kinship of a growing population, by the tabular method.

    Kinship of two dogs is the chance that one gene drawn from each is the same by descent; a dog's
    inbreeding is the kinship of its parents (Malecot 1948; the recursion of Emik & Terrill 1949,
    from memory).
    """

    def __init__(self, capacity: int) -> None:
        self._table = np.zeros((capacity, capacity))
        self._size = 0

    def add(self, sire: int, dam: int) -> int:
        """Add a dog and return its place; -1 for a parent means unknown and unrelated."""
        at = self._size
        row = np.zeros(at)
        for parent in (sire, dam):
            if parent >= 0:
                row += self._table[parent, :at] / 2
        self._table[at, :at] = self._table[:at, at] = row
        self._table[at, at] = (1 + self.between(sire, dam)) / 2
        self._size = at + 1
        return at

    def between(self, one: int, other: int) -> float:
        """The kinship of two dogs; 0 when one of them is unknown (-1)."""
        return float(self._table[one, other]) if one >= 0 and other >= 0 else 0.0

    def inbreeding(self, dog: int) -> float:
        """The dog's coefficient of inbreeding, 0 to 1."""
        return 2 * float(self._table[dog, dog]) - 1


def _covariance(variances: Values, correlation: Values) -> Values:
    sd = np.sqrt(variances)
    covariance: Values = correlation * np.outer(sd, sd)
    return covariance


def _draw(covariance: Values, n: int, rng: np.random.Generator) -> Values:
    root = np.linalg.cholesky(covariance)
    drawn: Values = rng.standard_normal((n, QUALITIES)) @ root.T
    return drawn
