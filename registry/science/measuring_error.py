"""How far repeated examinations of one dog differ: the within-dog standard deviation.

Values in, a number in the same unit out. Source: Bland JM, Altman DG (1996) Measurement error, BMJ
313:744.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

FEWEST_PAIRS = 30
"""From here on the standard deviation is known to about ± 25 % (chi-squared, 30 degrees)."""


def within_dog_sd(exams: Iterable[Sequence[float]]) -> float:
    """Return the standard deviation within dogs of repeated values, in their unit; each item holds
    two or more values of one dog.

    The squares about each dog's own mean are added up and divided by the degrees of freedom. For
    pairs that is the root of the sum of d² ÷ 2n: what differs between the first and the second
    examination on average is not taken away, as a second examination would differ by it too.

    Raises ValueError without a repeated value.
    """
    squares, degrees = 0.0, 0
    for values in exams:
        mean = sum(values) / len(values)
        squares += sum((value - mean) ** 2 for value in values)
        degrees += len(values) - 1
    if not degrees:
        raise ValueError("a within-dog deviation needs a dog with two values")
    return math.sqrt(squares / degrees)
