"""Kinships of chosen dogs, and the relationship matrix of a pedigree and its inverse.

A pedigree and its inbreeding in, numbers or a matrix out, all in the caller's order. The
coefficient of kinship of two dogs is the chance that a gene drawn from each is the same by descent;
their puppies' inbreeding; half their numerator relationship.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse

from registry.science.inbreeding import mendelian_variance
from registry.science.pedigree import Pedigree
from registry.science.stock import Numbers, Places


def kinship(pedigree: Pedigree, inbreeding: Numbers, one: int, other: int) -> float:
    """Return the coefficient of kinship of two dogs; of a dog with itself it is ½(1 + F)."""
    return float(kinship_with(pedigree, inbreeding, one, [other])[0])


def kinship_with(pedigree: Pedigree, inbreeding: Numbers, dog: int, others: ArrayLike) -> Numbers:
    """Return the coefficients of kinship of one dog with each of the m others, (m,).

    One product of the relationship matrix with a vector, without the matrix (Colleau 2002). The
    first call on a pedigree numbers its parents; later ones find that done. Raises ValueError for a
    place out of range.
    """
    asked = np.asarray(others, dtype=np.int64)
    _check(pedigree, inbreeding, np.append(asked, dog))
    stock, number = pedigree.stock, pedigree.stock_number
    m = len(stock)
    x = np.zeros((m + 1, 1))
    if number[dog] < m:
        x[number[dog]] = 1.0
    else:
        # It is nobody's ancestor: all it shares with others it has from its parents, by halves.
        # The number of an unknown one is passed over.
        x[number[[pedigree.sire[dog], pedigree.dam[dog]]]] = 0.5
    shared = stock.relationships(x, inbreeding[stock.places])[:, 0]
    by_parents = shared[number[pedigree.sire[asked]]] + shared[number[pedigree.dam[asked]]]
    related = np.where(number[asked] < m, shared[number[asked]], 0.5 * by_parents)
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

    A dog with the Mendelian variance d adds 1/d at itself, −½/d between itself and each known
    parent, and ¼/d at and between those. Source: Henderson (1976), Biometrics 32:69-83; with
    inbreeding Quaas (1976), Biometrics 32:949-953. Raises ValueError where d is 0.
    """
    n = len(pedigree)
    variance = mendelian_variance(pedigree, inbreeding)
    if n and variance.min() <= 0:
        place = int(variance.argmin())
        raise ValueError(
            f"the parents of the dog at place {place} are inbred completely: the relationship"
            " matrix has no inverse"
        )
    weight = 1.0 / variance
    dog = np.arange(n, dtype=np.int32)
    sire, dam = pedigree.sire.astype(np.int32), pedigree.dam.astype(np.int32)
    has_sire, has_dam = sire >= 0, dam >= 0
    has_both = has_sire & has_dam
    rows = np.concatenate([dog[has_sire], dog[has_dam], sire[has_both]])
    columns = np.concatenate([sire[has_sire], dam[has_dam], dam[has_both]])
    values = np.concatenate([-weight[has_sire] / 2, -weight[has_dam] / 2, weight[has_both] / 4])
    # Each pair of dogs once, so that both halves of the matrix are the same to the last bit.
    half = sparse.coo_array((values, (rows, columns)), shape=(n, n)).tocsr()
    own = weight.copy()
    own += np.bincount(sire[has_sire], weight[has_sire] / 4, n)
    own += np.bincount(dam[has_dam], weight[has_dam] / 4, n)
    return sparse.csr_array(half + half.T.tocsr() + sparse.diags_array(own, format="csr"))


def _check(pedigree: Pedigree, inbreeding: Numbers, places: Places) -> None:
    n = len(pedigree)
    if inbreeding.shape != (n,):
        raise ValueError(f"{n} dogs, but inbreeding of {inbreeding.shape}")
    if places.size and not (places.min() >= 0 and places.max() < n):
        raise ValueError(f"a dog's place must be from 0 to {n - 1}")
