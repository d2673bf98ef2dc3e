"""The inbreeding coefficient of every dog, exactly, and the variance that its parents leave open.

A pedigree in, one number a dog out. Kinships of chosen dogs and the relationship matrix are in
``kinship``.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from registry.science.pedigree import Pedigree

Numbers = NDArray[np.float64]

_BLOCK = 64
"""Sires gone through together."""


def inbreeding(pedigree: Pedigree) -> Numbers:
    """Return Wright's coefficient of inbreeding of every dog, (n,), in the caller's order.

    It is the kinship of the parents: 0 with an unknown parent. Founders are taken as unrelated.
    Source of the way: Colleau (2002), Genet Sel Evol 34:409-421 (x = T D T' e).
    """
    n = len(pedigree)
    found = np.zeros(n + 1)
    known = np.flatnonzero((pedigree.sire >= 0) & (pedigree.dam >= 0))
    levels = pedigree.level[pedigree.sire[known]]
    for level in range(int(levels.max(initial=-1)) + 1):
        pups = known[levels == level]
        sires, column = np.unique(pedigree.sire[pups], return_inverse=True)
        for first in range(0, len(sires), _BLOCK):
            block = sires[first : first + _BLOCK]
            is_here = (column >= first) & (column < first + len(block))
            x = _relationships(pedigree, found[:n], block)
            found[pups[is_here]] = x[pedigree.dam[pups[is_here]], column[is_here] - first] / 2
    return found[:n]


def mendelian_variance(pedigree: Pedigree, inbreeding: Numbers) -> Numbers:
    """Return the Mendelian sampling variance of every dog as a share of the additive variance.

    ½ − ¼(F of sire + F of dam); ¾ − ¼F with one known parent, 1 with none. Source: Quaas (1976),
    Biometrics 32:949-953; an unknown parent as F = −1: Meuwissen & Luo (1992), Genet Sel Evol
    24:305-313.
    """
    if inbreeding.shape != pedigree.sire.shape:
        raise ValueError(f"{len(pedigree)} dogs, but inbreeding of {inbreeding.shape}")
    padded = np.append(inbreeding, -1.0)
    variance: Numbers = 0.5 - 0.25 * (padded[pedigree.sire] + padded[pedigree.dam])
    return variance


def _relationships(pedigree: Pedigree, inbreeding: Numbers, dogs: NDArray[np.int64]) -> Numbers:
    """Return the relationships (n + 1, k) of all dogs with the k dogs."""
    n = len(pedigree)
    sire, dam = pedigree.sire, pedigree.dam
    x = np.zeros((n + 1, len(dogs)))
    x[dogs, np.arange(len(dogs))] = 1.0
    ends = np.concatenate([[0], np.cumsum(np.bincount(pedigree.level))])
    levels = [pedigree.order[low:high] for low, high in pairwise(ends)]
    for level in reversed(levels):
        here = level[x[level].any(axis=1)]
        np.add.at(x, sire[here], 0.5 * x[here])
        np.add.at(x, dam[here], 0.5 * x[here])
    x[n] = 0.0
    x[:n] *= mendelian_variance(pedigree, inbreeding)[:, None]
    for level in levels:
        x[level] += 0.5 * (x[sire[level]] + x[dam[level]])
    return x
