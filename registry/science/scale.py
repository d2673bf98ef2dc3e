"""A trait's scale: between a value and its whole number of steps.

A trait has a resolution (0.01 of an index, 0.5 of a degree, 1 grade), and what is stored, counted
and compared is the whole number of such steps: value = step × resolution. This module converts in
both directions, in decimals, so that no binary rounding can move a dog by a step. What a trait is,
and which values are plausible, does not belong here.
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Context, Decimal
from typing import Literal

Better = Literal["lower", "higher"]
Side = Literal["left", "right"]

# An own context: a caller's thread may have set another precision or rounding.
_EXACT = Context(prec=40)


class ScaleProblem(ValueError):
    """A value that does not fit the trait's scale; ``code`` says how, the message how to fix it."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def nearest_step(value: Decimal, resolution: Decimal) -> int:
    """Return the whole number of steps nearest to the value; halves go away from zero."""
    _check(value, resolution)
    return int(_EXACT.divide(value, resolution).to_integral_value(ROUND_HALF_UP))


def exact_step(value: Decimal, resolution: Decimal) -> int:
    """Return the value as a whole number of steps.

    Raises ScaleProblem (code ``between_steps``) when the value lies between two steps: a value
    somebody wrote down is never silently rounded.
    """
    step = nearest_step(value, resolution)
    if value_of(step, resolution) != value:
        low = value_of(step if value_of(step, resolution) < value else step - 1, resolution)
        high = _EXACT.add(low, resolution)
        raise ScaleProblem(
            "between_steps",
            f"{value} is finer than this measure is recorded. Enter {low} or {high}.",
        )
    return step


def value_of(step: int, resolution: Decimal) -> Decimal:
    """Return step × resolution, exactly."""
    return _EXACT.multiply(Decimal(step), resolution)


def worse_of(left: int | None, right: int | None, better: Better) -> int:
    """Return the step of the side that speaks for the dog: the worse one, or the only one.

    That the worse hip or elbow speaks for the dog is common practice, no source.
    """
    known = [step for step in (left, right) if step is not None]
    if not known:
        raise ValueError("neither side has a value")
    return max(known) if better == "lower" else min(known)


def _check(value: Decimal, resolution: Decimal) -> None:
    if not resolution.is_finite() or resolution <= 0:
        raise ValueError("a resolution must be greater than zero")
    if not value.is_finite():
        raise ScaleProblem("not_a_number", "Enter a number, for example 0.35.")
    if abs(value) >= Decimal("1e9"):
        raise ScaleProblem("too_large", "This number is too large. Check the decimal point.")
