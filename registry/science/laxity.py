"""Hip measurements: hip laxity and the Norberg angle, from what was measured on the film.

Lengths or points in, an index or an angle out. Points may be in any unit (pixels, millimetres), the
unit cancels. Finding the centres is in ``circles``, rounding to a step of the trait in ``scale``;
whether a value is plausible for a dog is in ``checks``.
"""

from __future__ import annotations

import math
from decimal import Context, Decimal

from registry.science.scale import nearest_step

Point = tuple[float, float]

_EXACT = Context(prec=28)
# Two circles of one size whose centres are a whole diameter apart no longer overlap: the head would
# lie outside its own socket's outline. Anatomy stops far below, so this only refuses slips.
_HIGHEST_INDEX = 2


class MeasurementProblem(ValueError):
    """Measurements no hip can have; ``code`` says which, the message how to fix them."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def index_from(head_radius_mm: Decimal, displacement_mm: Decimal) -> Decimal:
    """Return hip laxity, unrounded: displacement ÷ radius of the femoral head.

    The displacement is the distance between the centres of femoral head and acetabulum in the same
    view. Raises MeasurementProblem for a radius that is not above zero, a displacement below zero,
    and an index above 2. Source: Smith, Biery & Gregor (1990), JAVMA 196:59-70.
    """
    if not head_radius_mm.is_finite() or head_radius_mm <= 0:
        raise MeasurementProblem(
            "radius", "The radius of the femoral head must be more than 0 mm. Measure it again."
        )
    if not displacement_mm.is_finite() or displacement_mm < 0:
        raise MeasurementProblem(
            "displacement", "The displacement must be 0 mm or more. Enter it without a minus sign."
        )
    index = _EXACT.divide(displacement_mm, head_radius_mm)
    if index > _HIGHEST_INDEX:
        raise MeasurementProblem(
            "impossible",
            "The displacement is more than the whole width of the femoral head. "
            "Check both numbers and the decimal point.",
        )
    return index


def index_step(head_radius_mm: Decimal, displacement_mm: Decimal, resolution: Decimal) -> int:
    """Return hip laxity rounded to whole steps of the resolution."""
    return nearest_step(index_from(head_radius_mm, displacement_mm), resolution)


def index_from_centres(acetabulum: Point, head: Point, head_radius: float) -> float:
    """Return hip laxity from the two centres and the head's radius, all in one unit."""
    if not head_radius > 0:
        raise MeasurementProblem("radius", "The radius of the femoral head must be more than 0.")
    return math.dist(acetabulum, head) / head_radius


def norberg_angle_deg(own_head: Point, other_head: Point, rim: Point) -> float:
    """Return the Norberg angle of one hip in degrees, unsigned, 0 to 180.

    It is the angle at the own femoral head's centre between the line to the other head's centre and
    the line to the craniolateral rim of the own acetabulum. Being unsigned it is the same whether
    the y axis points up, as on paper, or down, as in an image file; a rim marked on the caudal side
    of the line of centres would therefore not be noticed here. Source: the definition as given in
    veterinary dictionaries and atlases.
    """
    to_other = (other_head[0] - own_head[0], other_head[1] - own_head[1])
    to_rim = (rim[0] - own_head[0], rim[1] - own_head[1])
    if to_other == (0, 0) or to_rim == (0, 0):
        raise MeasurementProblem(
            "same_point", "Two of the marked points are the same. Mark them again."
        )
    cross = to_other[0] * to_rim[1] - to_other[1] * to_rim[0]
    dot = to_other[0] * to_rim[0] + to_other[1] * to_rim[1]
    # atan2 keeps its precision near 0 and 180 degrees, where acos loses half the digits.
    return math.degrees(math.atan2(abs(cross), dot))
