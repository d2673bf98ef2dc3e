"""The circle through marked points: where the centre of a femoral head or a socket lies.

The fit is geometric: it makes the sum of squared distances between the points and the circle as
small as possible. Besides the fit, the two measures of ``laxity`` from outlines instead of centres.
This module alone loads scipy's optimizer, which takes half a second: ``laxity`` does not need it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from registry.science.laxity import Point, index_from_centres, norberg_angle_deg

# Points count as lying on a line when their spread across it is below this part of their spread
# along it, or when the fitted radius is more than this many times their spread.
_FLAT = 1e-7
_STRAIGHT = 1e5


class CircleProblem(ValueError):
    """Points that no circle can be laid through."""


@dataclass(frozen=True)
class Circle:
    """A circle, in the unit of the points it was fitted to."""

    centre: Point
    radius: float
    rms_residual: float


def fit_circle(points: Sequence[Point]) -> Circle:
    """Return the circle with the least sum of squared orthogonal distances to the points.

    Three or more points not on one line; raises CircleProblem otherwise. Starts from Taubin's
    algebraic fit and refines it by Levenberg-Marquardt. Sources: Taubin (1991), IEEE PAMI
    13:1115-1138; Chernov (2010), Circular and Linear Regression, ch. 5; Gander, Golub & Strebel
    (1994), BIT 34:558-578.
    """
    marked = np.asarray(points, dtype=float)
    if marked.ndim != 2 or marked.shape[1:] != (2,) or len(marked) < 3:
        raise CircleProblem("A circle needs three points or more.")
    if not np.isfinite(marked).all():
        raise CircleProblem("A point is not a number.")
    middle = marked.mean(axis=0)
    centred = marked - middle
    along, across = np.linalg.svd(centred, compute_uv=False)
    if across <= _FLAT * along:
        raise CircleProblem("The points lie on a straight line: no circle goes through them.")
    # Work at size one: the algebraic fit squares the coordinates.
    spread = float(along) / math.sqrt(len(marked))
    unit = centred / spread
    # The library's own stopping rule leaves only four digits of a short arc's centre.
    close = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15}
    fit = least_squares(_distances, _taubin(unit), _slopes, args=(unit,), method="lm", **close)
    x, y, radius = (float(part) for part in fit.x)
    if not math.isfinite(radius) or abs(radius) > _STRAIGHT:
        raise CircleProblem("The points lie almost on a straight line: no circle fits them.")
    return Circle(
        centre=(x * spread + float(middle[0]), y * spread + float(middle[1])),
        radius=abs(radius) * spread,
        rms_residual=math.sqrt(float(np.mean(fit.fun**2))) * spread,
    )


def index_from_outlines(acetabulum: Sequence[Point], head: Sequence[Point]) -> float:
    """Return hip laxity from points marked along both outlines (three or more each)."""
    socket, ball = fit_circle(acetabulum), fit_circle(head)
    return index_from_centres(socket.centre, ball.centre, ball.radius)


def norberg_from_outlines(
    own_head: Sequence[Point], other_head: Sequence[Point], rim: Point
) -> float:
    """Return the Norberg angle from points marked along both heads' outlines and the own rim."""
    return norberg_angle_deg(fit_circle(own_head).centre, fit_circle(other_head).centre, rim)


def _distances(circle: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    x, y, radius = circle
    return np.asarray(np.hypot(points[:, 0] - x, points[:, 1] - y) - radius)


def _slopes(circle: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how each distance changes with x, y and radius: points down, the three across."""
    away = circle[:2] - points
    length = np.hypot(away[:, 0], away[:, 1])[:, None]
    # A point on the centre pulls in no direction.
    toward = np.divide(away, length, out=np.zeros_like(away), where=length > 0)
    return np.column_stack([toward, np.full(len(points), -1.0)])


def _taubin(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return Taubin's algebraic circle (x, y, radius) through centred points."""
    squares = (points**2).sum(axis=1)
    mean_square = squares.mean()
    scaled = (squares - mean_square) / (2 * math.sqrt(mean_square))
    *_, rows = np.linalg.svd(np.column_stack([scaled, points]), full_matrices=False)
    lead = rows[2, 0] / (2 * math.sqrt(mean_square))
    if lead == 0:
        raise CircleProblem("The points lie on a straight line: no circle goes through them.")
    x, y = -rows[2, 1] / (2 * lead), -rows[2, 2] / (2 * lead)
    return np.array([x, y, math.sqrt(x * x + y * y + mean_square)])
