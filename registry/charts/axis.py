"""The axis under a chart: where its ticks stand, and its drawing as SVG.

Positions are whole steps of the trait's scale, widths are units of the drawing.
What a value is called (unit, decimals, grade) is the caller's wording.
"""

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from itertools import count

from registry.charts.frame import EDGE, PLOT, WIDTH, text_width

_LABEL_SIZE = 13.5
_BETWEEN = 18
_FROM_THE_EDGE = 2


@dataclass(frozen=True)
class Scale:
    """Steps ``first`` to ``last`` across the plot, each as wide as the others.

    ``is_reversed`` puts the highest step left, for a trait of which more is better:
    the better end is on the left of every chart.
    """

    first: int
    last: int
    is_reversed: bool = False

    @property
    def unit(self) -> float:
        """Return the width of one step."""
        return PLOT / (self.last - self.first + 1)

    def x(self, step: float) -> float:
        """Return the middle of a step."""
        along = (step - self.first + 0.5) * self.unit
        return EDGE + (PLOT - along if self.is_reversed else along)

    def holds(self, step: float) -> bool:
        """Return whether the step is on the scale."""
        return self.first <= step <= self.last


def tick_steps(scale: Scale, *, least_gap: float) -> list[int]:
    """Return the steps to label: multiples of the least 1, 2 or 5 × 10ⁿ that leaves them room."""
    sizes = (nice * 10**power for power in count() for nice in (1, 2, 5))
    every = next(size for size in sizes if size * scale.unit >= least_gap)
    start = -(-scale.first // every) * every
    return list(range(start, scale.last + 1, every))


def axis(scale: Scale, y: float, *, value: Callable[[int], str]) -> str:
    """Draw base line, ticks, and their values: round numbers at even distances, nothing else.

    A step without a word, such as one beyond the last grade, has no tick either.
    """
    widest = max(text_width(value(end), _LABEL_SIZE) for end in (scale.first, scale.last))
    ticks = [step for step in tick_steps(scale, least_gap=widest + _BETWEEN) if value(step)]
    return (
        f'<g class="axis" fill="none" stroke="currentColor"><path d="M{EDGE} {y:g}h{PLOT}'
        + "".join(f"M{scale.x(step):.1f} {y:g}v4" for step in ticks)
        + '"/></g>'
        + f'<g class="axis" text-anchor="middle" fill="currentColor" font-size="{_LABEL_SIZE}">'
        + "".join(_label(scale.x(step), value(step), y + 17) for step in ticks)
        + "</g>"
    )


def _label(x: float, text: str, y: float) -> str:
    half = text_width(text, _LABEL_SIZE) / 2 + _FROM_THE_EDGE
    middle = min(max(x, half), WIDTH - half)
    return f'<text x="{middle:.1f}" y="{y:g}">{escape(text)}</text>'
