"""The distribution as plain upright columns with their counts, for the details of a page.

The heap is the picture for everyone; this one is for those who want the numbers in
it. The dog's own column is hatched, outlined and named, never coloured good or bad.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

from registry.charts.axis import Scale, axis
from registry.charts.frame import (
    OTHER,
    OWN,
    PLOT,
    TooFewDogsError,
    framed,
    kept_inside,
    shortened,
    text_width,
)
from registry.science.dots import Column
from registry.science.scale import Better
from registry.science.standing import FEWEST_TO_COMPARE

_MOST_COLUMNS = 9  # so that a count of five figures fits above a column
_TALLEST = 120.0
_HEAD = 38.0
_WIDEST = 0.14 * PLOT
_COUNT_SIZE = 10
_NAME_SIZE = 13.5


@dataclass(frozen=True)
class ColumnLabels:
    """The words of the columns; ``count`` words a number of dogs, ``value`` a step."""

    title: str
    description: str
    value: Callable[[int], str]
    count: Callable[[int], str]
    own: str = ""


def columns(
    table: Sequence[Column], *, labels: ColumnLabels, ident: str, better: Better, font: str = ""
) -> str:
    """Draw the columns of a heap's table, neighbours joined until at most nine are left.

    The better end is on the left. Raises TooFewDogsError under 20 dogs.
    """
    if sum(column.dogs for column in table) < FEWEST_TO_COMPARE:
        raise TooFewDogsError(f"columns need {FEWEST_TO_COMPARE} dogs")
    joined = _joined(table)
    scale = Scale(joined[0].low_step, joined[-1].high_step, better == "higher")
    base = _HEAD + _TALLEST
    body = [_hatching(ident)]
    body += [_column(column, joined, scale, labels, ident) for column in joined]
    body.append(axis(scale, base, value=labels.value))
    return framed(
        "".join(body),
        title=labels.title,
        description=labels.description,
        ident=ident,
        height=base + 26,
        font=font,
    )


def _joined(table: Sequence[Column]) -> list[Column]:
    """Return equally wide columns, each of so many neighbours, starting on round steps."""
    size = -(-len(table) // _MOST_COLUMNS)
    width = size * (table[0].high_step - table[0].low_step + 1)
    first = table[0].low_step // width * width
    last = table[-1].high_step
    return [
        Column(
            low_step=start,
            high_step=start + width - 1,
            dogs=sum(c.dogs for c in table if start <= c.low_step < start + width),
            has_own=any(c.has_own for c in table if start <= c.low_step < start + width),
        )
        for start in range(first, last + 1, width)
    ]


def _column(
    column: Column, joined: Sequence[Column], scale: Scale, labels: ColumnLabels, ident: str
) -> str:
    slot = PLOT / len(joined)
    width = min(slot - 2, _WIDEST)
    height = _TALLEST * column.dogs / max(other.dogs for other in joined)
    middle = scale.x((column.low_step + column.high_step) / 2)
    base = _HEAD + _TALLEST
    fill, pen = (f"url(#{escape(ident)}-h)", OWN) if column.has_own else ("none", OTHER)
    role = "column-own" if column.has_own else "column"
    bar = (
        f'<path class="{role}" fill="{fill}" stroke="{pen}"'
        f' stroke-width="{2 if column.has_own else 1.1}"'
        f' d="M{middle - width / 2:.1f} {base:g}v-{height:.1f}h{width:.1f}v{height:.1f}"/>'
        f'<text class="axis" x="{middle:.1f}" y="{base - height - 4:.1f}" text-anchor="middle"'
        f' fill="currentColor" font-size="{_COUNT_SIZE}">{escape(labels.count(column.dogs))}</text>'
    )
    if not column.has_own or not labels.own:
        return bar
    return bar + _flag(middle, base - height - 4 - _COUNT_SIZE, labels.own)


def _flag(x: float, y: float, name: str) -> str:
    """Draw the dog's name above all columns, and a line down to its own."""
    text = shortened(name, PLOT * 0.7, _NAME_SIZE)
    at, anchor = kept_inside(x, text_width(text, _NAME_SIZE))
    line = f'<path class="heap-flag" stroke="{OWN}" d="M{x:.1f} {y:.1f}V18"/>' if y > 20 else ""
    return (
        f'{line}<text class="heap-name" x="{at:.1f}" y="13" text-anchor="{anchor}"'
        f' fill="{OWN}" font-size="{_NAME_SIZE}" font-weight="600">{escape(text)}</text>'
    )


def _hatching(ident: str) -> str:
    return (
        f'<defs><pattern id="{escape(ident)}-h" width="6" height="6" patternUnits="userSpaceOnUse"'
        f' patternTransform="rotate(45)"><path class="heap-flag" d="M0 0v6" stroke="{OWN}"'
        ' stroke-width="2.4"/></pattern></defs>'
    )
