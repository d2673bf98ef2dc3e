"""The arithmetic of the heap of circles: which circle stands in which column and row.

A quantile dot plot: one circle a dog while there are few, else fifty circles that each stand for
about n / 50 dogs; the dog the page is about is one of them, exactly once. A histogram in, plain
whole numbers out; drawing, colours and words are in the charts. The idea: Kay et al. (2016), CHI
'16:5092-5103, and Fernandes et al. (2018), CHI '18.

How the circles are dealt out: among better, equal and worse in proportion to the dogs (largest
remainders), but none that has dogs goes without. The own dog is one of the equals. Within each part
the circles lie at evenly spaced quantiles, at values that dogs really have.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from registry.science.distribution import Histogram
from registry.science.scale import Better

Role = Literal["better", "same", "own", "worse", "dog"]
Rows = list[tuple[int, int]]  # (step, dogs), lowest step first

MOST_SINGLE_DOGS = 60
CIRCLES = 50
MOST_COLUMNS = 24
_NICE = (1, 2, 5)


class Circle(NamedTuple):
    """One circle: its column from the left, its row from the base line, and what it stands for.

    Role ``dog`` is used when the heap is about no dog in particular.
    """

    column: int
    row: int
    role: Role
    step: int


class Column(NamedTuple):
    """One row of the table of numbers: the dogs with low_step to high_step, both included."""

    low_step: int
    high_step: int
    dogs: int
    has_own: bool


@dataclass(frozen=True)
class Heap:
    """Circles in columns of equal width from a base line.

    ``columns`` covers every dog and the own one, also where no circle is drawn. ``rows`` is the
    height of the tallest column in circles. ``better + same + worse`` plus the own circle are all
    circles; ``dogs_per_circle`` is 1.0 when each circle is one dog.
    """

    circles: tuple[Circle, ...]
    columns: tuple[Column, ...]
    column_width: int
    rows: int
    n: int
    dogs_per_circle: float
    better: int
    same: int
    worse: int

    @property
    def column_edges(self) -> tuple[int, ...]:
        """The steps at which the columns begin, and where the last one ends."""
        return (*(column.low_step for column in self.columns), self.columns[-1].high_step + 1)


def heap(
    histogram: Histogram,
    own_step: int | None,
    better: Better,
    *,
    own_is_counted: bool = True,
    span: tuple[int, int] | None = None,
) -> Heap:
    """Return the heap of circles for the dogs of the histogram.

    ``own_step`` is the dog the heap is about, or None. ``own_is_counted`` says that it is one of
    the dogs in the histogram; otherwise its circle is drawn besides them. ``span`` (lowest, highest
    step) widens the scale: two heaps given the same span that covers both share their columns.
    Raises ValueError without dogs, and when a counted own dog is not in the histogram.
    """
    if not histogram.n:
        raise ValueError("a heap needs a dog")
    if own_step is not None and own_is_counted and not histogram.at(own_step):
        raise ValueError("the own dog is not among the counted dogs")
    placed = _placed(histogram, own_step, better, own_is_counted=own_is_counted)
    ends = [histogram.first_step, histogram.last_step, *(span or ())]
    if own_step is not None:
        ends.append(own_step)
    return _heap(placed, histogram, own_step, ends, edge=0)


def parted(
    steps: Sequence[int], edge: int, better: Better, *, span: tuple[int, int] | None = None
) -> Heap:
    """Return a heap about no dog in particular, one circle a step given, parted at an edge.

    Circles with a step below ``edge`` and those from it on are better and worse, or the other way
    about. A column begins exactly at the edge, so that none holds both. ``span`` (lowest, highest
    step) widens the scale: heaps with one edge and one span that covers all share their columns.
    Raises ValueError without a step, and for more than are drawn one by one.
    """
    if not 0 < len(steps) <= MOST_SINGLE_DOGS:
        raise ValueError(f"a parted heap has 1 to {MOST_SINGLE_DOGS} circles")
    below: Role = "better" if better == "lower" else "worse"
    above: Role = "worse" if better == "lower" else "better"
    placed: list[tuple[int, Role]] = [(step, below if step < edge else above) for step in steps]
    ends = [*steps, edge - 1, edge, *(span or ())]
    return _heap(placed, Histogram.of_steps(steps), None, ends, edge=edge)


def around(steps: Sequence[int], middle: int, better: Better, *, span: tuple[int, int]) -> Heap:
    """Return a heap of grades, one circle a step given: better than a middle, the same, or worse.

    Every grade of the span has a column of its own. Raises ValueError without a step, for more than
    are drawn one by one, and for more grades than there are columns.
    """
    if not 0 < len(steps) <= MOST_SINGLE_DOGS:
        raise ValueError(f"a heap of grades has 1 to {MOST_SINGLE_DOGS} circles")
    if span[1] - span[0] >= MOST_COLUMNS:
        raise ValueError(f"a heap of grades has at most {MOST_COLUMNS} of them")
    below: Role = "better" if better == "lower" else "worse"
    above: Role = "worse" if better == "lower" else "better"
    placed: list[tuple[int, Role]] = [
        (step, "same" if step == middle else below if step < middle else above) for step in steps
    ]
    return _heap(placed, Histogram.of_steps(steps), None, [*steps, *span], edge=0)


def _heap(
    placed: list[tuple[int, Role]],
    histogram: Histogram,
    own_step: int | None,
    ends: list[int],
    *,
    edge: int,
) -> Heap:
    """Return the placed circles in columns that cover the ends; one begins at the edge."""
    columns, width = _columns(histogram, own_step, min(ends), max(ends), edge)
    circles = _stacked(placed, columns[0].low_step, width)
    roles = [circle.role for circle in circles]
    return Heap(
        circles=circles,
        columns=columns,
        column_width=width,
        rows=max(circle.row for circle in circles) + 1,
        n=histogram.n,
        dogs_per_circle=histogram.n / CIRCLES if histogram.n > MOST_SINGLE_DOGS else 1.0,
        better=roles.count("better"),
        same=roles.count("same"),
        worse=roles.count("worse"),
    )


def _placed(
    histogram: Histogram, own_step: int | None, better: Better, *, own_is_counted: bool
) -> list[tuple[int, Role]]:
    """Return (step, role) of every circle, the own one last."""
    parts = _parts(histogram, own_step, better)
    sizes = [sum(dogs for _, dogs in rows) for _, rows in parts]
    is_besides = own_step is not None and not own_is_counted
    circles = sizes
    if sum(sizes) > MOST_SINGLE_DOGS:
        circles = _dealt(sizes, CIRCLES - 1 if is_besides else CIRCLES)
    placed: list[tuple[int, Role]] = [
        (step, role)
        for (role, rows), size, number in zip(parts, sizes, circles, strict=True)
        for step in _spaced(rows, size, number)
    ]
    if own_step is None:
        return placed
    if own_is_counted:
        # One of the equals' circles is its own.
        placed.remove((own_step, "same"))
    return [*placed, (own_step, "own")]


def _parts(histogram: Histogram, own_step: int | None, better: Better) -> list[tuple[Role, Rows]]:
    """Return the dogs parted by how they compare with the own one, which is among its equals."""
    rows = histogram.rows()
    if own_step is None:
        return [("dog", rows)]
    lower = [row for row in rows if row[0] < own_step]
    equal = [row for row in rows if row[0] == own_step]
    higher = [row for row in rows if row[0] > own_step]
    if better == "lower":
        return [("better", lower), ("same", equal), ("worse", higher)]
    return [("worse", lower), ("same", equal), ("better", higher)]


def _dealt(sizes: list[int], circles: int) -> list[int]:
    """Return how many circles each part gets: by largest remainders, but one for every part.

    To be drawn as the best of all would be untrue where one dog is better.
    """
    total = sum(sizes)
    dealt = [size * circles // total for size in sizes]
    by_remainder = sorted(range(len(sizes)), key=lambda at: -(sizes[at] * circles % total))
    for at in by_remainder[: circles - sum(dealt)]:
        dealt[at] += 1
    for at, size in enumerate(sizes):
        if size and not dealt[at]:
            dealt[dealt.index(max(dealt))] -= 1
            dealt[at] = 1
    return dealt


def _spaced(rows: Rows, dogs: int, circles: int) -> list[int]:
    """Return the steps at the middle of each of so many equal shares of the dogs."""
    steps: list[int] = []
    following = iter(rows)
    up_to, step = 0, 0
    for at in range(circles):
        # The dog in the middle of share number `at`, counted from 0 in the order of the steps.
        place = (2 * at + 1) * dogs // (2 * circles)
        while up_to <= place:
            step, count = next(following)
            up_to += count
        steps.append(step)
    return steps


def _columns(
    histogram: Histogram, own_step: int | None, low: int, high: int, edge: int
) -> tuple[tuple[Column, ...], int]:
    """Return the columns, and their common width: the least nice number of steps that is enough."""
    width = _nice_width(high - low + 1)
    first = edge + (low - edge) // width * width
    dogs = [0] * ((high - first) // width + 1)
    for step, count in histogram.rows():
        dogs[(step - first) // width] += count
    own = -1 if own_step is None else (own_step - first) // width
    columns = tuple(
        Column(first + at * width, first + (at + 1) * width - 1, count, at == own)
        for at, count in enumerate(dogs)
    )
    return columns, width


def _nice_width(steps: int) -> int:
    size = 1
    while True:
        for nice in _NICE:
            if nice * size * MOST_COLUMNS >= steps:
                return nice * size
        size *= 10


def _stacked(placed: list[tuple[int, Role]], first: int, width: int) -> tuple[Circle, ...]:
    """Return the circles stacked from the base, lower steps first, the own one on top."""
    heights: dict[int, int] = {}
    circles = []
    for step, role in sorted(placed, key=lambda circle: (circle[1] == "own", circle[0])):
        column = (step - first) // width
        row = heights.get(column, 0)
        heights[column] = row + 1
        circles.append(Circle(column, row, role, step))
    return tuple(circles)
