"""The inbreeding coefficient of every dog, exactly, and the variance that its parents leave open.

A pedigree in, one number a dog out. Kinships of chosen dogs and the relationship matrix are in
``kinship``.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from registry.science.pedigree import Pedigree
from registry.science.stock import Numbers, Places, variance_left_open

_SIRES = 48
"""How many sires are gone through together; it costs that many numbers for each ancestor."""


def inbreeding(pedigree: Pedigree) -> Numbers:
    """Return Wright's coefficient of inbreeding of every dog, (n,), in the caller's order.

    It is the kinship of the parents, 0 with an unknown one; founders are taken as unrelated. So
    littermates share it, and each mating is reckoned once.

    A block of sires is multiplied by the relationship matrix, which gives their kinships with all
    their mates; only the ancestors of both take part. The Mendelian variances in that product need
    the inbreeding of the parents of the sires' ancestors, whose own sires stand two levels above:
    so blocks go from the oldest level on, and none spans more than two.
    """
    stock = pedigree.stock
    matings = _matings(pedigree)
    found = np.zeros(len(matings.sire) + 1)
    for block in _blocks(matings.sire, pedigree.level[stock.places]):
        sires, column = np.unique(matings.sire[block], return_inverse=True)
        dams = matings.dam[block]
        family, number = stock.above(np.concatenate([sires, dams]))
        units = np.zeros((len(family) + 1, len(sires)))
        units[number[sires], np.arange(len(sires))] = 1.0
        known = found[matings.of_dog[family.places]]
        found[block] = 0.5 * family.relationships(units, known)[number[dams], column]
    return found[matings.of_dog]


def mendelian_variance(pedigree: Pedigree, inbreeding: Numbers) -> Numbers:
    """Return the Mendelian sampling variance of every dog, (n,), a share of the additive variance.

    ½ − ¼(F of sire + F of dam); ¾ − ¼F with one known parent, 1 with none; times the pedigree's
    factor.
    """
    if inbreeding.shape != (len(pedigree),):
        raise ValueError(f"{len(pedigree)} dogs, but inbreeding of {inbreeding.shape}")
    variance = variance_left_open(pedigree.sire, pedigree.dam, inbreeding)
    return variance if pedigree.factor is None else pedigree.factor * variance


class _Matings(NamedTuple):
    """Each pair of parents once, by the sire's number in the stock.

    ``of_dog`` (n,) is the mating a dog comes from; their count where a parent is unknown.
    """

    sire: Places
    dam: Places
    of_dog: Places


def _matings(pedigree: Pedigree) -> _Matings:
    number, m = pedigree.stock_number, len(pedigree.stock)
    known = np.flatnonzero((pedigree.sire >= 0) & (pedigree.dam >= 0))
    pairs = number[pedigree.sire[known]] * m + number[pedigree.dam[known]]
    pairs, mating = np.unique(pairs, return_inverse=True)
    of_dog = np.full(len(pedigree), len(pairs), dtype=np.int64)
    of_dog[known] = mating
    sire, dam = np.divmod(pairs, max(m, 1))
    return _Matings(sire, dam, of_dog)


def _blocks(sire: Places, level: Places) -> Iterator[slice]:
    """Yield the matings of up to so many sires of two levels at a time, oldest level first."""
    starts = np.flatnonzero(np.diff(sire, prepend=-1))
    levels = level[sire[starts]]
    ends = np.append(starts, len(sire))
    first = 0
    while first < len(starts):
        last = min(first + _SIRES, int(np.searchsorted(levels, levels[first] + 2)))
        yield slice(int(ends[first]), int(ends[last]))
        first = last
