"""Kinships of chosen dogs, and the relationship matrix of a pedigree and its inverse.

A pedigree and its inbreeding in, numbers or a matrix out, all in the caller's order. The
coefficient of kinship of two dogs is the chance that a gene drawn from each is the same by descent;
their puppies' inbreeding; half their numerator relationship.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from registry.science.inbreeding import mendelian_variance
from registry.science.pedigree import Pedigree, Places, Stock

Numbers = NDArray[np.float64]


def kinship(pedigree: Pedigree, inbreeding: Numbers, one: int, other: int) -> float:
    """Return the coefficient of kinship of two dogs; of a dog with itself it is ½(1 + F)."""
    return float(kinship_with(pedigree, inbreeding, one, [other])[0])


def kinship_with(pedigree: Pedigree, inbreeding: Numbers, dog: int, others: ArrayLike) -> Numbers:
    """Return the coefficients of kinship of one dog with each of the m others, (m,).

    One product of the relationship matrix with a vector, without the matrix. Source: Colleau
    (2002), Genet Sel Evol 34:409-421. Raises ValueError for a place out of range.
    """
    asked = np.asarray(others, dtype=np.int64)
    _check(pedigree, inbreeding, np.append(asked, dog))
    stock = pedigree.stock
    x = np.zeros(len(stock) + 1)
    number = stock.number[dog]
    if number < len(stock):
        x[number] = 1.0
    else:
        x[stock.number[pedigree.sire[dog]]] += 0.5
        x[stock.number[pedigree.dam[dog]]] += 0.5
    x[-1] = 0.0
    _back(stock, x)
    x[:-1] *= mendelian_variance(pedigree, inbreeding)[stock.places]
    _forth(stock, x)
    numbers = stock.number[asked]
    parents = x[stock.number[pedigree.sire[asked]]] + x[stock.number[pedigree.dam[asked]]]
    related = np.where(numbers < len(stock), x[numbers], 0.5 * parents)
    return np.where(asked == dog, 1.0 + inbreeding[dog], related) / 2


def relationship(pedigree: Pedigree, inbreeding: Numbers) -> Numbers:
    """Return the numerator relationship matrix, (n, n) dense: for small pedigrees.

    The tabular method, a level at a time. Source: Henderson (1976), Biometrics 32:69-83.
    """
    _check(pedigree, inbreeding, np.empty(0, dtype=np.int64))
    n = len(pedigree)
    table = np.zeros((n + 1, n + 1))
    sizes = np.bincount(pedigree.level, minlength=1)
    for high, size in zip(np.cumsum(sizes), sizes, strict=True):
        older, here = pedigree.order[: high - size], pedigree.order[high - size : high]
        sire, dam = pedigree.sire[here], pedigree.dam[here]
        rows = 0.5 * (table[np.ix_(sire, older)] + table[np.ix_(dam, older)])
        table[np.ix_(here, older)] = rows
        table[np.ix_(older, here)] = rows.T
        among = 0.5 * (table[np.ix_(sire, here)] + table[np.ix_(dam, here)])
        among[np.arange(size), np.arange(size)] = 1.0 + inbreeding[here]
        table[np.ix_(here, here)] = among
    return table[:n, :n]


def relationship_inverse(pedigree: Pedigree, inbreeding: Numbers) -> sparse.csr_array:
    """Return the inverse of the numerator relationship matrix, sparse (n, n), exactly symmetric.

    (I − P)′ D⁻¹ (I − P), where P halves the parents and D holds the Mendelian variances. Source:
    Henderson (1976), Biometrics 32:69-83; with inbreeding Quaas (1976), Biometrics 32:949-953.
    """
    n = len(pedigree)
    dogs = np.arange(n)
    has_sire, has_dam = pedigree.sire >= 0, pedigree.dam >= 0
    rows = np.concatenate([dogs, dogs[has_sire], dogs[has_dam]])
    columns = np.concatenate([dogs, pedigree.sire[has_sire], pedigree.dam[has_dam]])
    values = np.full(len(rows), -0.5)
    values[:n] = 1.0
    own = sparse.csr_array((values, (rows, columns)), shape=(n, n))
    weights = sparse.diags_array(1.0 / mendelian_variance(pedigree, inbreeding))
    return sparse.csr_array(own.T @ (weights @ own))


def _back(stock: Stock, x: Numbers) -> None:
    """Hand every dog's number on to its parents by halves, youngest first: x becomes T′x."""
    for level in reversed(stock.levels[1:]):
        here = np.flatnonzero(x[level]) + level.start
        half = 0.5 * x[here]
        np.add.at(x, stock.sire[here], half)
        np.add.at(x, stock.dam[here], half)
    x[-1] = 0.0


def _forth(stock: Stock, x: Numbers) -> None:
    """Add to every dog's number the mean of its parents', founders first: x becomes T x."""
    for level in stock.levels[1:]:
        x[level] += 0.5 * (x[stock.sire[level]] + x[stock.dam[level]])


def _check(pedigree: Pedigree, inbreeding: Numbers, places: Places) -> None:
    n = len(pedigree)
    if inbreeding.shape != (n,):
        raise ValueError(f"{n} dogs, but inbreeding of {inbreeding.shape}")
    if places.size and not (places.min() >= 0 and places.max() < n):
        raise ValueError(f"a dog's place must be from 0 to {n - 1}")
