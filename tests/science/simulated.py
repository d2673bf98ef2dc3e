"""Invented breeds with known truth: the infinitesimal model along a dog-like pedigree.

Litters of about six, few sires with many litters, parents two to six years old, kin mated at
random. Founders' additive values are normal; a puppy's are the mean of its parents' plus a
Mendelian part of variance ½(1 − (F of sire + F of dam)/2) of the base's; litter mates share a
litter effect; what a record adds are sex, clinic, year and age. One or more traits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from registry.science.inbreeding import inbreeding
from registry.science.mixed_model import Records
from registry.science.pedigree import Pedigree

Numbers = NDArray[np.float64]
Whole = NDArray[np.int64]

SEX_EFFECT, CLINIC_SD, YEAR_SD, AGE_SLOPE = 0.3, 0.3, 0.2, 0.1
"""Of the records' fixed part, in standard deviations of the trait."""


@dataclass(frozen=True)
class Truth:
    """The true (co)variances, each (t, t); numbers are taken as those of one trait."""

    additive: Numbers
    litter: Numbers
    residual: Numbers

    @classmethod
    def of(cls, additive: ArrayLike, litter: ArrayLike, residual: ArrayLike) -> Truth:
        """Return the truth from numbers or matrices."""
        return cls(
            *(np.atleast_2d(np.asarray(part, float)) for part in (additive, litter, residual))
        )

    @property
    def traits(self) -> int:
        return len(self.additive)


@dataclass(frozen=True)
class Breed:
    """A simulated breed: n dogs, oldest first; all arrays by place."""

    truth: Truth
    pedigree: Pedigree
    inbreeding: Numbers
    born: Whole
    """(n,): the year, founders in year 0."""
    is_male: NDArray[np.bool_]
    litter: Whole
    """(n,): -1 for founders."""
    value: Numbers
    """(n, t): the true breeding values."""
    phenotype: Numbers
    """(n, t): breeding value + litter + residual, without fixed effects."""

    def records(
        self,
        *,
        trait: int = 0,
        tested: float = 1.0,
        clinics: int = 6,
        mean: float = 0.0,
        seed: int = 1,
    ) -> Records:
        """Return the records of a random share of all dogs but the founders."""
        rng = np.random.default_rng([seed, trait])
        dog = np.flatnonzero((self.born > 0) & (rng.random(len(self.born)) < tested))
        sd = np.sqrt(np.diag(self.truth.additive + self.truth.litter + self.truth.residual))[trait]
        clinic = rng.integers(clinics, size=len(dog))
        age = rng.uniform(0.4, 3.0, size=len(dog))
        year = self.born[dog]
        fixed_part = (
            SEX_EFFECT * self.is_male[dog]
            + (CLINIC_SD * rng.standard_normal(clinics))[clinic]
            + (YEAR_SD * rng.standard_normal(int(self.born.max()) + 1))[year]
            + AGE_SLOPE * age
        )
        return Records(
            dog=dog,
            value=mean + self.phenotype[dog, trait] + sd * fixed_part,
            fixed={"sex": self.is_male[dog].astype(np.int64), "clinic": clinic, "year": year},
            age=age,
            litter=self.litter[dog],
        )


def breed(
    truth: Truth,
    *,
    seed: int,
    years: int = 8,
    litters_a_year: int = 15,
    founders: int = 40,
    keep: float | None = None,
    keep_lowest: bool = False,
) -> Breed:
    """Return a breed after some years; ``keep`` lets only that best share of each sex breed.

    The best are chosen each year among those of age by their own phenotype of the first trait.
    """
    rng = np.random.default_rng(seed)
    grown = _Grown(truth, founders, rng)
    for year in range(1, years + 1):
        grown.add_year(year, litters_a_year, keep, -1.0 if keep_lowest else 1.0, rng)
    pedigree = Pedigree.of(grown.sire, grown.dam)
    return Breed(
        truth=truth,
        pedigree=pedigree,
        inbreeding=inbreeding(pedigree),
        born=grown.born,
        is_male=grown.is_male,
        litter=grown.litter,
        value=grown.value,
        phenotype=grown.phenotype,
    )


class _Grown:
    """The breed so far."""

    def __init__(self, truth: Truth, founders: int, rng: np.random.Generator) -> None:
        self.truth = truth
        self.sire = np.full(founders, -1)
        self.dam = np.full(founders, -1)
        self.born = np.zeros(founders, dtype=np.int64)
        self.is_male = np.arange(founders) % 2 == 0
        self.litter = np.full(founders, -1)
        self.value = _draw(truth.additive, founders, rng)
        self.phenotype = self.value + _draw(truth.litter + truth.residual, founders, rng)

    def add_year(
        self, year: int, litters: int, keep: float | None, sign: float, rng: np.random.Generator
    ) -> None:
        """Mate dogs of age and add their litters."""
        inbred = inbreeding(Pedigree.of(self.sire, self.dam))
        males, females = (self._parents(year, sex, keep, sign) for sex in (True, False))
        # A few sires have many litters: their shares fall off like 1 / rank.
        shares = 1.0 / np.arange(1, len(males) + 1)
        sires = rng.permutation(males)[
            rng.choice(len(males), size=litters, p=shares / shares.sum())
        ]
        dams = rng.choice(females, size=litters, replace=litters > len(females))
        size = 1 + rng.poisson(5, size=litters)
        sire, dam = np.repeat(sires, size), np.repeat(dams, size)
        n = len(sire)
        left = 0.5 * (1 - (inbred[sire] + inbred[dam]) / 2)
        middle = (self.value[sire] + self.value[dam]) / 2
        value = middle + np.sqrt(left)[:, None] * _draw(self.truth.additive, n, rng)
        shared = np.repeat(_draw(self.truth.litter, litters, rng), size, axis=0)
        number = int(self.litter.max()) + 1 + np.repeat(np.arange(litters), size)
        self.sire, self.dam = np.append(self.sire, sire), np.append(self.dam, dam)
        self.born = np.append(self.born, np.full(n, year))
        self.is_male = np.append(self.is_male, rng.random(n) < 0.5)
        self.litter = np.append(self.litter, number)
        self.value = np.vstack([self.value, value])
        own = _draw(self.truth.residual, n, rng)
        self.phenotype = np.vstack([self.phenotype, value + shared + own])

    def _parents(self, year: int, is_male: bool, keep: float | None, sign: float) -> Whole:
        of_age = (self.born <= max(year - 2, 0)) & (self.born >= year - 6)
        dogs = np.flatnonzero(of_age & (self.is_male == is_male))
        if keep is None:
            return dogs
        best = np.argsort(-sign * self.phenotype[dogs, 0], kind="stable")
        return np.sort(dogs[best[: max(2, round(keep * len(dogs)))]])


def _draw(covariance: Numbers, n: int, rng: np.random.Generator) -> Numbers:
    """Return n draws (n, t); a covariance of zero draws zeros."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn: Numbers = rng.standard_normal((n, len(covariance))) @ root.T
    return drawn
