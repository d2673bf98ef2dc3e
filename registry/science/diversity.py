"""How much of a pedigree is known, and how large the breed effectively is.

A pedigree and its inbreeding in; shares, generations and the effective population size out. The
inbreeding itself is in ``inbreeding``; the trend over years in ``trend``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.science.pedigree import Pedigree
from registry.science.stock import Numbers, Places


def completeness(pedigree: Pedigree, generations: int) -> Numbers:
    """Return the share of every dog's ancestors that are known, (n,), up to so many generations.

    One generation has two places for ancestors, two have six, five have 62; a dog that stands in
    several places counts in each.
    """
    if generations < 1:
        raise ValueError("completeness needs one generation or more")
    known = np.ones(len(pedigree))
    total = np.zeros(len(pedigree))
    for _generation in range(generations):
        padded = np.append(known, 0.0)
        known = padded[pedigree.sire] + padded[pedigree.dam]
        total += known
    return total / (2.0 ** (generations + 1) - 2)


def equivalent_generations(pedigree: Pedigree, stand_ins: int = 0) -> Numbers:
    """Return every dog's equivalent complete generations of known ancestors, (n,).

    The last ``stand_ins`` places stand for missing parents: those are no generation, but as far
    from the founders as the parents that they are drawn from.

    The sum of ½ᵍ over all known ancestors, each g generations back. Source: Maignel, Boichard &
    Verrier (1996), Interbull Bulletin 14:49-54.
    """
    known = np.full(len(pedigree) + 1, -1.0)  # so that an unknown parent adds nothing
    ends = np.cumsum(np.bincount(pedigree.level))
    for here in np.split(pedigree.order, ends):
        parents = known[pedigree.sire[here]] + known[pedigree.dam[here]]
        known[here] = 0.5 * parents + (here < len(pedigree) - stand_ins)
    return known[:-1]


LEAST_GENERATIONS = 2.0
"""Below this the rate's root turns into a power, and one near relation tells too much."""


@dataclass(frozen=True)
class EffectiveSize:
    """The size of an ideal population whose inbreeding would rise as fast, and what it rests on.

    ``size`` is infinite where no dog is inbred, and its standard error then too. ``rate`` is the
    mean rise a generation; ``dogs`` are those with ``LEAST_GENERATIONS`` of ancestors or more.
    """

    size: float
    size_error: float
    rate: float
    rate_error: float
    dogs: int
    matings: int
    generations: float
    """Mean equivalent complete generations of these dogs."""


def effective_size(
    pedigree: Pedigree,
    inbreeding: Numbers,
    dogs: NDArray[np.bool_] | Places | None = None,
    *,
    stand_ins: int = 0,
) -> EffectiveSize | None:
    """Return the effective population size by the rate of inbreeding of some dogs, or None.

    ``dogs`` (a mask or places; default: all) are best those of a birth year or a few. Each dog's
    rate is 1 − (1 − F)^(1/(t − 1)) with its equivalent generations t, the size 1/(2 × mean rate),
    and its standard error 2 × size² × that of the mean. Source: Gutiérrez, Cervantes & Goyache
    (2009), J Anim Breed Genet 126:327-332; Gutiérrez et al. (2008), Genet Sel Evol 40:359-378.

    Littermates share one rate, so the error of the mean takes each mating as one observation. It
    takes half-sibs as independent, and holds nothing of the chance in the breed's history: it is
    too small rather than too large. None: dogs with ``LEAST_GENERATIONS`` of ancestors come from
    fewer than two matings.
    """
    if inbreeding.shape != (len(pedigree),):
        raise ValueError(f"{len(pedigree)} dogs, but inbreeding of {inbreeding.shape}")
    chosen = np.arange(len(pedigree)) if dogs is None else np.arange(len(pedigree))[dogs]
    generations = equivalent_generations(pedigree, stand_ins)[chosen]
    is_told = generations >= LEAST_GENERATIONS
    chosen, generations = chosen[is_told], generations[is_told]
    with np.errstate(divide="ignore"):  # a dog inbred completely rises by 1
        rates = -np.expm1(np.log1p(-inbreeding[chosen]) / (generations - 1))
    pairs = np.column_stack([pedigree.sire[chosen], pedigree.dam[chosen]])
    matings, mating = np.unique(pairs, axis=0, return_inverse=True)
    if len(matings) < 2:
        return None
    rate = float(rates.mean())
    sums = np.bincount(mating, rates - rate)
    variance = float(sums @ sums) / len(chosen) ** 2 * len(matings) / (len(matings) - 1)
    size = 1 / (2 * rate) if rate > 0 else math.inf
    return EffectiveSize(
        size=size,
        size_error=2 * size**2 * math.sqrt(variance) if rate > 0 else math.inf,
        rate=rate,
        rate_error=math.sqrt(variance),
        dogs=len(chosen),
        matings=len(matings),
        generations=float(generations.mean()),
    )
