"""How many digits of a breeding run are told: no more than mean something.

Full precision would be a system of equations, in which two runs before and after some withheld
results could be solved for these. So a dog's or a litter's number has the steps of the trait, a
mean one decimal more, a share two or three decimals, and a spread three digits. This makes such
solving coarser and does not prevent it.
"""

from __future__ import annotations

from math import floor, log10

from registry.queries.public import PublicTrait

_OF_LIABILITIES = 2


def in_steps(value: float, trait: PublicTrait) -> float:
    """A value, or a difference, in the trait's unit, in whole steps of its results; of a graded
    trait a liability, to the hundredth."""
    if trait.grades:
        return _plain(value, _OF_LIABILITIES)
    step = float(trait.resolution)
    return _plain(round(value / step) * step, _decimals(trait))


def mean_in_unit(value: float, trait: PublicTrait) -> float:
    """A mean of many dogs in the trait's unit, to one decimal more than results have."""
    return _plain(value, _OF_LIABILITIES if trait.grades else _decimals(trait) + 1)


def _decimals(trait: PublicTrait) -> int:
    return max(0, -int(trait.resolution.as_tuple().exponent))


def _plain(value: float, digits: int) -> float:
    # Never the negative zero.
    return round(value, digits) + 0.0


def reliability(value: float) -> float:
    """A reliability, to the hundredth."""
    return round(value, 2)


def share(value: float) -> float:
    """Any other share, to the thousandth."""
    return round(value, 3)


def spread(value: float) -> float:
    """A variance or standard error, to three digits that count."""
    return round(value, 2 - floor(log10(abs(value)))) if value else 0.0
